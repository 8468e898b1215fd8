"""The runs of one rule of the backtest together: the mean of a figure, and its range."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from spraywindow.season.backtest import RuleResult
from spraywindow.season.maxima import all_made
from spraywindow.season.program import Program
from spraywindow.season.skill import false_go_ratio, missed_go_rate

Figure = Callable[[RuleResult], float]


@dataclass(frozen=True)
class Runs:
    """A rule's runs: one, or several that differ in their random numbers."""

    results: Sequence[RuleResult]

    @property
    def first(self) -> RuleResult:
        """The first run."""
        return self.results[0]

    @property
    def name(self) -> str:
        """The rule, with how many runs where there are several."""
        runs = len(self.results)
        return self.first.name + (f", {runs} runs" if runs > 1 else "")

    def mean(self, figure: Figure) -> float:
        """Mean of a figure over the runs that have it; NaN where none has."""
        known = self._known(figure)
        return float(np.mean(known)) if known else math.nan

    def range(self, figure: Figure) -> tuple[float, float]:
        """Least and greatest of a figure over the runs; NaN where none has it."""
        known = self._known(figure)
        return (min(known), max(known)) if known else (math.nan, math.nan)

    def _known(self, figure: Figure) -> list[float]:
        values = [float(figure(result)) for result in self.results]
        return [value for value in values if not math.isnan(value)]


def runs_of(results: Sequence[RuleResult]) -> list[Runs]:
    """Put the runs of each rule together, in order."""
    by_name: dict[str, list[RuleResult]] = {}
    for result in results:
        by_name.setdefault(result.name, []).append(result)
    return [Runs(tuple(together)) for together in by_name.values()]


def spoiled(hours: int) -> Figure:
    """Share of a rule's rounds that measurable rain followed within so many hours."""
    return lambda result: result.outcomes.share_spoiled(hours, result.made)


def spoiled_of(which: int, hours: int) -> Figure:
    """The same of one material, by its number."""

    def share(result: RuleResult) -> float:
        known = int((result.made & ~result.outcomes.unknown[hours])[:, which].sum())
        rained = int(result.outcomes.rain[hours][:, which].sum())
        return rained / known if known else math.nan

    return share


def finished(program: Program) -> Figure:
    """Winters in which all rounds that the maxima allow were made."""
    return lambda result: int(all_made(program, result.made.sum(axis=0)).sum())


def median_span(program: Program) -> Figure:
    """Days from first to last round, median of the winters that finished."""

    def span(result: RuleResult) -> float:
        spans = result.span_days[all_made(program, result.made.sum(axis=0))]
        return float(np.median(spans)) if spans.size else math.nan

    return span


def false_go(result: RuleResult) -> float:
    """Share of the go days that were none; NaN where that cannot be measured."""
    return math.nan if result.counts is None else false_go_ratio(result.counts)


def missed_go(result: RuleResult) -> float:
    """Share of the usable days that were missed; NaN where that cannot be measured."""
    return math.nan if result.counts is None else missed_go_rate(result.counts)


def winter_rows(result: RuleResult) -> list[Mapping[str, object]]:
    """A rule winter by winter: rounds made, and how many of them rain came after."""
    return [
        {
            "winter": label,
            "rounds": int(result.rounds[column]),
            "spoiled": {
                hours: int(result.outcomes.rain[hours][:, :, column].sum())
                for hours in result.outcomes.rain
            },
        }
        for column, label in enumerate(result.labels)
    ]

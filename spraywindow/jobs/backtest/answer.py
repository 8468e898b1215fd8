"""The backtest of one site: its program, from leaf fall on, through every past winter."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from spraywindow.jobs.season import ended_by, season_leaf_fall
from spraywindow.program import Program, all_made
from spraywindow.site import Site, block_need, season_start
from spraywindow.weather import check_hourly
from spraywindow.winters import (
    ForecastReplay,
    PastWinters,
    RuleResult,
    backtest,
    false_go_ratio,
    missed_go_rate,
    past_season,
)


@dataclass(frozen=True, eq=False)
class SiteBacktest:
    """What came of replaying a site's winters; `need_name` says what ends each season."""

    site: Site
    program: Program
    season: PastWinters
    need_name: str
    results: Sequence[RuleResult]


def replayed(
    site: Site,
    winters: pd.DataFrame,
    now: pd.Timestamp,
    replays: Sequence[ForecastReplay],
    *,
    progress: Callable[[int, int], None] | None = None,
) -> SiteBacktest:
    """Replay the whole program of a site through the winters of a record before `now`.

    The season of the block with the most trees counts. What was done this winter, and the
    stages seen in it, play no part.

    Raises
    ------
    InputError
        If the site file has no leaf fall, the record no past winter before `now`, or a forecast
        does not reach far enough to tell the dry spell wanted.
    """
    today = now.tz_convert(site.place.timezone).date()
    table = check_hourly(ended_by(winters, now, today))
    program = replace(
        site.program,
        entries=tuple(replace(e, done=(), partly_done=()) for e in site.program.entries),
    )
    block = max(site.blocks, key=lambda block: block.trees)
    name, need = block_need(block, site, None)
    # the season after the record, so that no winter of the record is left out as the one at hand
    after = season_start(max(today, table.index[-1].date()) + dt.timedelta(days=366), site)
    season = past_season(
        table, site.place, program, {n: site.material(n) for n in program.materials},
        first=season_leaf_fall(site, after), need=need, setting=site.setting,
        access=site.access, duration_h=site.job_h,
    )  # fmt: skip
    results = backtest(season, table, site.place, program, replays=replays, progress=progress)
    return SiteBacktest(site, program, season, name, results)


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
        return self._counted(self.first.name)

    @property
    def replay(self) -> str:
        """What the rule knew of the coming days, else its name, with how many runs."""
        return self._counted(self.first.replay or self.first.name)

    def _counted(self, words: str) -> str:
        runs = len(self.results)
        return words + (f", {runs} runs" if runs > 1 else "")

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

"""Past winters replayed day by day, by our rule and by others: what each would have done.

Every rule is judged by what no rule defines: rain, frost and heat that came after its rounds.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.place import Place
from spraywindow.program import Program, Terms, all_made, plan_many
from spraywindow.spray import GO, NO_GO, best_of_day
from spraywindow.weather import Array
from spraywindow.winters.evenings import Seen, advised, mornings_told, seen_mornings
from spraywindow.winters.other_rules import (
    AFTER_H,
    CAUSES,
    Outcomes,
    first_dry_day,
    fixed_calendar,
    habit_rows,
    most_effective,
    outcomes_after,
)
from spraywindow.winters.outlook import span_days
from spraywindow.winters.past import PastWinters, within
from spraywindow.winters.replays import ForecastReplay, Foresight
from spraywindow.winters.share import Counts, brier_score, count, false_go_ratio, missed_go_rate


@dataclass(frozen=True, eq=False)
class RuleResult:
    """What a rule did in every winter that it can be judged in.

    Attributes
    ----------
    name : str
        Runs of one rule with other random numbers share it.
    labels : tuple of str
        The winters.
    made : bool array [day, material, winter]
        Its rounds.
    start : int array [day, material, winter]
        Row of the block at which each round begins; -1 without one.
    outcomes : Outcomes
        What came after them.
    counts : Counts or None
        Go and no-go for tomorrow against what turned out; None where the replay cannot be wrong.
        A go is judged at the hours advised, a no-go by whether the day held a slot at all.
    counts_of : tuple of Counts
        The same of each material; empty where the replay cannot be wrong.
    brier : float
        Brier score of the chance that tomorrow holds a slot; NaN likewise.
    replay : str
        What this rule knew of the coming days; empty for the other rules.
    """

    name: str
    labels: tuple[str, ...]
    made: NDArray[np.bool_]
    start: NDArray[np.int64]
    outcomes: Outcomes
    counts: Counts | None = None
    counts_of: tuple[Counts, ...] = ()
    brier: float = float("nan")
    replay: str = ""

    @property
    def rounds(self) -> NDArray[np.int64]:
        """Rounds made per winter."""
        return np.asarray(self.made.sum(axis=(0, 1)))

    @property
    def stand(self) -> NDArray[np.bool_]:
        """Rounds that need not be made again: not washed off; [day, material, winter]."""
        return self.made & ~self.outcomes.lost

    @property
    def span_days(self) -> Array:
        """Days from the first round to the last, both counted, per winter; NaN without one."""
        return span_days(self.made)


def backtest(
    season: PastWinters,
    weather: pd.DataFrame,
    place: Place,
    program: Program,
    *,
    replays: Sequence[ForecastReplay] = (Foresight(),),
    progress: Callable[[int, int], None] | None = None,
) -> list[RuleResult]:
    """Replay every winter of a season's record by our rule and by the others.

    Parameters
    ----------
    season : PastWinters
        From `spraywindow.winters.past.past_season`, without a forecast spliced in.
    weather : DataFrame
        The same checked record.
    place, program
        The site's.
    replays : sequence of ForecastReplay
        Forecasts that our rule acts on, one result each.
    progress : callable, optional
        Told after each winter how many are done, and of how many.

    Returns
    -------
    list of RuleResult
        Ours on each replay: what each evening advises; then a fixed calendar, the first
        dry-looking day, and hindsight for rounds and for effective rounds.

    Raises
    ------
    InputError
        If a forecast does not reach far enough to tell the dry spell wanted.
    """
    mornings = [mornings_told(replay, season.materials) for replay in replays]
    seen = seen_mornings(
        season, weather, place, replays, max(mornings, default=1), progress=progress
    )
    covered = [_covered(season, replay) for replay in replays]
    every = [each for each, which in zip(seen, covered, strict=True) if all(which)]
    results = [
        _ours(season, program, replay, each, every[0] if every else each, number, which)
        for replay, each, number, which in zip(replays, seen, mornings, covered, strict=True)
    ]
    habit = habit_rows(season)
    best = plan_many(
        within(season.chances, season.ending.actual), program, nearness=season.near.actual
    ).made
    for name, made, rows in (
        ("fixed calendar", fixed_calendar(season, program, habit), habit[:, None]),
        ("first dry-looking day", first_dry_day(season, program, habit), habit[:, None]),
        ("hindsight for rounds", best, season.starts),
        ("hindsight for effective rounds", *most_effective(season, program)),
    ):
        start = np.where(made, rows, -1)
        results.append(RuleResult(name, season.labels, made, start, _after(season, made, start)))
    return results


def as_turned_out(season: PastWinters, start: NDArray[np.int64]) -> tuple[Array, Array]:
    """How jobs and days turned out, arrays [day, material, winter].

    Parameters
    ----------
    season : PastWinters
    start : int array [day, material, winter]
        Row of the block at which each job begins; -1 without one.

    Returns
    -------
    held : array
        1 where every hour of the job was within every hard limit, 0 where one surely was not,
        NaN where the record cannot tell (rain within a longer total, missing values).
    good : array
        1 where the day held a slot at all, 0 where it surely held none, NaN likewise.
    """
    block, used = season.block, list(season.used)
    open_hours = block.workable(season.access)
    rows, column = (
        np.maximum(start, 0)[..., None] + np.arange(season.need_h),
        np.array(used, dtype=np.int64),
    )
    rows = np.minimum(rows, len(block.day) - 1)
    held, good = [], []
    for number, verdict in enumerate(season.verdicts):
        maybe = np.where((verdict != NO_GO) & open_hours, 0.0, -np.inf)
        possible = np.isfinite(best_of_day(maybe, block.day, block.days, season.need_h)[0])[:, used]
        none = np.where(possible, np.nan, 0.0)
        good.append(np.where(season.starts[:, number] >= 0, 1.0, none))
        came = verdict[rows[:, number], column[:, None]]  # (day, winter, hour of the job)
        sure = (came == GO).all(axis=-1)
        out = (came == NO_GO).any(axis=-1)
        told = np.where(sure, 1.0, np.where(out, 0.0, np.nan))
        held.append(np.where(start[:, number] >= 0, told, np.nan))
    return np.stack(held, axis=1), np.stack(good, axis=1)


def _ours(
    season: PastWinters,
    program: Program,
    replay: ForecastReplay,
    seen: Seen,
    elsewhere: Seen,
    mornings: int,
    covered: Sequence[bool],
) -> RuleResult:
    """Our rule on one replay; `elsewhere` is what the evenings of winters not covered saw."""
    chances = np.where(covered, seen.chances, elsewhere.chances)[:, :mornings]
    terms = Terms.usual(program, season.materials)
    made, start = advised(season, program, chances, seen.starts, terms)
    which = np.flatnonzero(covered)
    judged = _only(season, which.tolist())
    made, start = made[..., which], start[..., which]
    result = RuleResult(
        f"this rule, {replay.name}", judged.labels, made, start,
        _after(judged, made, start), replay=replay.name,
    )  # fmt: skip
    if not replay.measures:
        return result
    inside = np.arange(len(made))[:, None, None] <= judged.ending.actual
    held, good = (part[..., which] for part in as_turned_out(season, seen.start[:, 0]))
    go = seen.offered[..., which]
    told = np.where(seen.known[:, 0][..., which] & inside, go, np.nan)
    # a go is judged at the hours advised, a no-go by whether the day held a slot at all
    came = np.where(go, held, good)
    return replace(
        result,
        counts=count(told[inside], came[inside]),
        counts_of=tuple(
            count(told[:, each][inside[:, each]], came[:, each][inside[:, each]])
            for each in range(made.shape[1])
        ),
        brier=brier_score(seen.chance[:, 0][..., which][inside], held[inside]),
    )


def _after(season: PastWinters, made: NDArray[np.bool_], start: NDArray[np.int64]) -> Outcomes:
    """What came after the rounds, also of no winter at all."""
    if made.size:
        return outcomes_after(season, made, start)
    none, causes = dict.fromkeys(AFTER_H, made), dict.fromkeys(CAUSES, made)
    return Outcomes(none, none, made, made, made, made, made, causes, made)


def _covered(season: PastWinters, replay: ForecastReplay) -> list[bool]:
    """Whether the replay has forecasts for the whole of each winter's season."""
    block, days = season.block, len(season.chances)
    out = []
    for column, number in enumerate(season.used):
        first = int(block.epoch_h[number] + np.argmax(block.day[:, number] >= 0))
        last = min(float(season.ending.actual[:, column].max()), days - 1.0)
        out.append(replay.covers(first, first + 24 * (int(last) + 1)))
    return out


def _only(season: PastWinters, columns: Sequence[int]) -> PastWinters:
    """The season with some of its winters."""
    picked = list(columns)
    return replace(
        season,
        used=tuple(season.used[column] for column in picked),
        labels=tuple(season.labels[column] for column in picked),
        chances=season.chances[..., picked],
        starts=season.starts[..., picked],
        foreseen=season.foreseen[..., picked],
        ending=replace(
            season.ending,
            actual=season.ending.actual[..., picked],
            forecast=season.ending.forecast[..., picked],
        ),
    )  # fmt: skip


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


def effective_of(which: int) -> Figure:
    """Rounds a winter of one material, by its number, that the wanted dry hours surely followed."""
    return lambda result: per_winter(result, result.outcomes.effective[:, which])


def outside_of(cause: str) -> Figure:
    """Rounds a winter surely outside a hard limit: any, with "limits", or one of `CAUSES`."""

    def rounds(result: RuleResult) -> float:
        came = result.outcomes
        return per_winter(result, came.outside if cause == "limits" else came.outside_for[cause])

    return rounds


def washed(result: RuleResult) -> float:
    """Rounds a winter that were washed off."""
    return per_winter(result, result.outcomes.lost)


def per_winter(result: RuleResult, rounds: NDArray[np.bool_]) -> float:
    """Mean of some of a rule's rounds a winter; NaN without a winter."""
    return int(rounds.sum()) / len(result.labels) if result.labels else math.nan


def finished(program: Program) -> Figure:
    """Winters in which all rounds that the maxima allow were made, none of them washed off."""
    return lambda result: int(all_made(program, result.stand.sum(axis=0)).sum())


def median_span(program: Program) -> Figure:
    """Days from first to last round, median of the winters that finished."""

    def span(result: RuleResult) -> float:
        spans = result.span_days[all_made(program, result.stand.sum(axis=0))]
        return float(np.median(spans)) if spans.size else math.nan

    return span


def false_go(result: RuleResult) -> float:
    """Share of go answers of which an hour advised broke a hard limit; NaN where unmeasured."""
    return math.nan if result.counts is None else false_go_ratio(result.counts)


def false_go_of(which: int) -> Figure:
    """The same of one material, by its number."""
    return lambda result: false_go_ratio(result.counts_of[which]) if result.counts_of else math.nan


def missed_go(result: RuleResult) -> float:
    """Share of the usable days that were missed; NaN where that cannot be measured."""
    return math.nan if result.counts is None else missed_go_rate(result.counts)


@dataclass(frozen=True)
class PairedMean:
    """Mean over the winters of what one rule has more than another, and its standard error."""

    mean: float
    standard_error: float

    @classmethod
    def of(cls, more: Array) -> PairedMean:
        """Of one difference a winter."""
        if not more.size:
            return cls(math.nan, math.nan)
        error = float(more.std(ddof=1) / np.sqrt(more.size)) if more.size > 1 else math.nan
        return cls(float(more.mean()), error)


@dataclass(frozen=True)
class Against:
    """What a rule has more than another a winter, by pairs of the winters that both have."""

    rounds: PairedMean
    effective: PairedMean
    effective_within_limits: PairedMean
    rain_within_24_h: PairedMean

    @classmethod
    def of(cls, runs: Runs, other: Runs) -> Against:
        """A rule's runs against another's; a winter is the mean of its runs."""
        names = [name for name in runs.first.labels if name in other.first.labels]
        mine, theirs = ([each.first.labels.index(name) for name in names] for each in (runs, other))

        def more(rounds: Callable[[RuleResult], NDArray[np.bool_]]) -> PairedMean:
            a, b = (
                np.mean([rounds(run).sum(axis=(0, 1)) for run in each.results], axis=0)[columns]
                for each, columns in ((runs, mine), (other, theirs))
            )
            return PairedMean.of(a - b)

        return cls(
            more(lambda run: run.made),
            more(lambda run: run.outcomes.effective),
            more(lambda run: run.outcomes.within_limits),
            more(lambda run: run.outcomes.rain[AFTER_H[0]]),
        )


@dataclass(frozen=True)
class Spread:
    """A figure of a rule: its mean over the runs that have it, the least and the most; or NaN."""

    mean: float
    low: float
    high: float

    @classmethod
    def of(cls, runs: Runs, figure: Figure) -> Spread:
        """Over the runs of a rule."""
        return cls(runs.mean(figure), *runs.range(figure))

    @property
    def ends(self) -> tuple[float, float]:
        """Least and most, whole numbers where they are."""
        return _whole(self.low), _whole(self.high)


@dataclass(frozen=True)
class Figures:
    """Numbers of a rule; NaN where there is none."""

    rounds: float
    days: float
    finished: float
    days_first_to_last: float
    effective_within_limits: float
    washed_off: float
    frost_within_24_h: float
    heat_within_48_h: float
    false_go: float
    missed_go: float
    brier: float


@dataclass(frozen=True)
class RuleRow:
    """What came of a rule.

    Attributes
    ----------
    figures : mapping of str to Spread
        By the names of `Figures`.
        All rounds, days of work, winters finished, days from first to last round, rounds that
        frost or heat followed; of its forecasts the false and missed go and the Brier score.
    spoiled : mapping of int to Spread
        Share of the rounds that measurable rain followed, by hours.
    by_material : mapping of str to mapping of int to Spread
        The same of each material.
    effective : mapping of str to Spread
        Rounds a winter that the wanted dry hours surely followed, by material.
    outside : mapping of str to Spread
        Rounds a winter that surely had an hour outside a hard limit ("limits"), and for each of
        `CAUSES`.
    against : mapping of str to Against
        What it has more than each of our rows, by their names; empty for ours.
    n, unknown : int or None
        Evenings whose answer for tomorrow was judged, and those that could not tell; None for a
        rule that knows no forecast.
    """

    json_keys: ClassVar = (
        "name", "winters", "runs", "means*", "spoiled=mean_spoiled",
        "spoiled_by_material=mean_by_material", "effective=mean_effective", "outside=mean_outside",
        "false_go_by_material=mean_false_go", "against", "range", "n", "unknown",
    )  # fmt: skip

    name: str
    winters: int
    runs: int
    figures: Mapping[str, Spread]
    spoiled: Mapping[int, Spread]
    by_material: Mapping[str, Mapping[int, Spread]]
    effective: Mapping[str, Spread]
    outside: Mapping[str, Spread]
    false_go: Mapping[str, Spread]
    against: Mapping[str, Against]
    n: int | None
    unknown: int | None

    @property
    def means(self) -> Figures:
        """Means of the figures, whole numbers where they are."""
        return Figures(**{name: _whole(spread.mean) for name, spread in self.figures.items()})

    @property
    def mean_spoiled(self) -> dict[int, float]:
        """Means of `spoiled`."""
        return {hours: spread.mean for hours, spread in self.spoiled.items()}

    @property
    def mean_by_material(self) -> dict[str, dict[int, float]]:
        """Means of `by_material`."""
        return {
            name: {hours: spread.mean for hours, spread in spreads.items()}
            for name, spreads in self.by_material.items()
        }

    @property
    def mean_effective(self) -> dict[str, float]:
        """Means of `effective`."""
        return {name: spread.mean for name, spread in self.effective.items()}

    @property
    def mean_outside(self) -> dict[str, float]:
        """Means of `outside`."""
        return {name: spread.mean for name, spread in self.outside.items()}

    @property
    def mean_false_go(self) -> dict[str, float]:
        """Means of `false_go`."""
        return {name: spread.mean for name, spread in self.false_go.items()}

    @property
    def range(self) -> dict[str, object]:
        """Least and most of every figure, of `spoiled` and of `effective`."""
        ends: dict[str, object] = {name: spread.ends for name, spread in self.figures.items()}
        return ends | {
            "spoiled": {hours: spread.ends for hours, spread in self.spoiled.items()},
            "effective": {name: spread.ends for name, spread in self.effective.items()},
        }


def rule_row(
    runs: Runs, program: Program, materials: Sequence[str], ours: Sequence[Runs]
) -> RuleRow:
    """Work out the figures of a rule's runs, and hold them against those of `ours`."""
    figures: dict[str, Figure] = {
        "rounds": lambda result: int(result.rounds.sum()),
        "days": lambda result: int(result.made.any(axis=1).sum()),
        "finished": finished(program),
        "days_first_to_last": median_span(program),
        "effective_within_limits": lambda result: int(result.outcomes.within_limits.sum()),
        "washed_off": lambda result: int(result.outcomes.lost.sum()),
        "frost_within_24_h": lambda result: int(result.outcomes.frost.sum()),
        "heat_within_48_h": lambda result: int(result.outcomes.heat.sum()),
        "false_go": false_go,
        "missed_go": missed_go,
        "brier": lambda result: result.brier,
    }
    counts = runs.first.counts
    return RuleRow(
        runs.name,
        len(runs.first.labels),
        len(runs.results),
        {name: Spread.of(runs, figure) for name, figure in figures.items()},
        {hours: Spread.of(runs, spoiled(hours)) for hours in AFTER_H},
        {
            name: {hours: Spread.of(runs, spoiled_of(which, hours)) for hours in AFTER_H}
            for which, name in enumerate(materials)
        },
        {name: Spread.of(runs, effective_of(which)) for which, name in enumerate(materials)},
        {cause: Spread.of(runs, outside_of(cause)) for cause in ("limits", *CAUSES)},
        {name: Spread.of(runs, false_go_of(which)) for which, name in enumerate(materials)},
        {each.name: Against.of(runs, each) for each in ours if not runs.first.replay},
        None if counts is None else counts.n,
        None if counts is None else counts.unknown,
    )


def _whole(value: float) -> float:
    """A number as an int where it is whole to four decimals."""
    near = round(value, 4)
    return int(near) if math.isfinite(near) and near.is_integer() else value

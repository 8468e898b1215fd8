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

from spraywindow.errors import InputError
from spraywindow.place import Place
from spraywindow.program import (
    Program,
    Terms,
    all_made,
    decide_evenings,
    plan_many,
    program_moves,
    program_states,
)
from spraywindow.spray import GO, NO_GO, Material, best_of_day
from spraywindow.weather import Array
from spraywindow.winters.as_it_comes import as_it_comes, follow, rounds_of, within
from spraywindow.winters.evenings import Seen, seen_mornings
from spraywindow.winters.other_rules import (
    AFTER_H,
    Outcomes,
    dry_after,
    first_dry_day,
    fixed_calendar,
    habit_rows,
    outcomes_after,
)
from spraywindow.winters.outlook import span_days
from spraywindow.winters.past import PastWinters
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
    brier: float = float("nan")
    replay: str = ""

    @property
    def rounds(self) -> NDArray[np.int64]:
        """Rounds made per winter."""
        return np.asarray(self.made.sum(axis=(0, 1)))

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
        Ours on each replay, then a fixed calendar, the first dry-looking day, the hindsight
        optimum.

    Raises
    ------
    InputError
        If a forecast does not reach far enough to tell the dry spell wanted.
    """
    mornings = [mornings_told(replay, season.materials) for replay in replays]
    starts, good = as_turned_out(season)
    seen = seen_mornings(
        season, weather, place, replays, max(mornings, default=1), progress=progress
    )
    results = [
        _ours(season, program, replay, each, number, good)
        for replay, each, number in zip(replays, seen, mornings, strict=True)
    ]
    habit = habit_rows(season)
    best = plan_many(
        within(season.chances, season.ending.actual), program, nearness=season.near.actual
    ).made
    for name, made, rows in (
        ("fixed calendar", fixed_calendar(season, program, habit), habit[:, None]),
        ("first dry-looking day", first_dry_day(season, program, habit), habit[:, None]),
        ("hindsight optimum", best, starts),
    ):
        start = np.where(made, rows, -1)
        results.append(RuleResult(name, season.labels, made, start, _after(season, made, start)))
    return results


def advised(
    season: PastWinters,
    program: Program,
    chances: Array,
    start: NDArray[np.int64],
    terms: Terms,
) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """What acting on each evening's advice makes of every winter.

    Parameters
    ----------
    season : PastWinters
    program : Program
    chances : array [day, morning, material, winter]
        Chance that a round holds on each of the mornings that the evening before a day knows;
        tomorrow's NaN where nobody would be sent.
    start : int array [day, material, winter]
        Row of the block at which tomorrow's round would begin; -1 without one.
    terms : Terms

    Returns
    -------
    made : bool array [day, material, winter]
        Every round that went out. One that was washed off is owed again.
    start : int array [day, material, winter]
        -1 without one.
    """
    moves = program_moves(program, len(season.chances), terms)
    known = np.where(_free_ahead(season, chances.shape[1]), chances, np.nan)
    coming = decide_evenings(
        known, season.ending.actual, season.ending.forecast, moves, terms, season.near
    )
    lost = _after(season, start >= 0, start).lost
    visits, _ = coming.follow(np.zeros(1, dtype=np.int64), lost)
    made = rounds_of(moves.states, visits[:, 0])
    return made, np.where(made, start, -1)


def most_effective(
    season: PastWinters, program: Program
) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """What hindsight makes where only effective rounds count: made and start, as `advised`."""
    block, used = season.block, list(season.used)
    open_hours = block.workable(season.access)
    chances, starts = [], []
    for which, verdict in enumerate(season.verdicts):
        fits = (verdict == GO) & open_hours & dry_after(season, which)[0]
        best, rows = best_of_day(np.where(fits, 1.0, -np.inf), block.day, block.days, season.need_h)
        chances.append(best[:, used])
        starts.append(rows[:, used])
    usable = np.where(season.free[..., None], np.stack(chances, axis=1), np.nan)
    made = plan_many(
        within(usable, season.ending.actual), program, nearness=season.near.actual
    ).made
    return made, np.where(made, np.stack(starts, axis=1), -1)


def mornings_told(replay: ForecastReplay, materials: Sequence[Material]) -> int:
    """How many mornings, tomorrow first, a forecast tells with the dry spell after each."""
    longest = max(material.dry_spell_h for material in materials)
    mornings = replay.days - int(np.ceil(longest / 24.0))
    if mornings < 1:
        raise InputError(
            f"a forecast of {replay.days} days never tells {longest:g} rain-free hours "
            "after tomorrow's job",
            expected=f"at least {replay.days + 1 - mornings} days",
        )
    return mornings


def as_turned_out(season: PastWinters) -> tuple[NDArray[np.int64], Array]:
    """How each day turned out, arrays [day, material, winter].

    Returns
    -------
    starts : int array
        First row of the day's best job; -1 for none.
    good : array
        1 where the day held a slot, 0 where it surely held none, NaN where the record cannot
        tell: rain within a longer total, missing values.
    """
    block, used = season.block, list(season.used)
    open_hours = block.workable(season.access)
    good = []
    for number, verdict in enumerate(season.verdicts):
        maybe = np.where((verdict != NO_GO) & open_hours, 0.0, -np.inf)
        possible = np.isfinite(best_of_day(maybe, block.day, block.days, season.need_h)[0])[:, used]
        none = np.where(possible, np.nan, 0.0)
        good.append(np.where(season.starts[:, number] >= 0, 1.0, none))
    return season.starts, np.stack(good, axis=1)


def _ours(
    season: PastWinters,
    program: Program,
    replay: ForecastReplay,
    seen: Seen,
    mornings: int,
    good: Array,
) -> RuleResult:
    states = program_states(program, len(season.chances), max(len(season.labels), 1))
    known = np.where(_free_ahead(season, mornings), seen.margin[:, :mornings], np.nan)
    coming = as_it_comes(
        season.foreseen, season.ending.actual, season.ending.forecast, states, mornings,
        forecast_margin=known, near=season.near,
    )  # fmt: skip
    visits, _ = follow(coming, np.zeros(1, dtype=np.int64))
    which = _covered(season, replay)
    judged = _only(season, which)
    made = rounds_of(states, visits[:, 0])[..., which]
    start = np.where(made, seen.start[:, 0][..., which], -1)
    result = RuleResult(
        f"this rule, {replay.name}", judged.labels, made, start,
        _after(judged, made, start), replay=replay.name,
    )  # fmt: skip
    if not replay.measures:
        return result
    inside = np.arange(len(made))[:, None, None] <= judged.ending.actual
    truth = good[..., which][inside]
    chance = seen.chance[:, 0][..., which][inside]
    go = np.isfinite(seen.margin[:, 0][..., which])[inside]
    told = np.where(np.isnan(chance), np.nan, go)  # an evening that could not tell is no no-go
    return replace(result, counts=count(told, truth), brier=brier_score(chance, truth))


def _after(season: PastWinters, made: NDArray[np.bool_], start: NDArray[np.int64]) -> Outcomes:
    """What came after the rounds, also of no winter at all."""
    if made.size:
        return outcomes_after(season, made, start)
    none = dict.fromkeys(AFTER_H, made)
    return Outcomes(none, none, made, made, made, made, made, made)


def _covered(season: PastWinters, replay: ForecastReplay) -> list[int]:
    """The winters whose whole season the replay has forecasts for."""
    block, days = season.block, len(season.chances)
    out = []
    for column, number in enumerate(season.used):
        first = int(block.epoch_h[number] + np.argmax(block.day[:, number] >= 0))
        last = min(float(season.ending.actual[:, column].max()), days - 1.0)
        if replay.covers(first, first + 24 * (int(last) + 1)):
            out.append(column)
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


def _free_ahead(season: PastWinters, mornings: int) -> NDArray[np.bool_]:
    """Days that what is done leaves free, seen from each evening: [day, morning, material, 1]."""
    days = len(season.free)
    ahead = np.minimum(np.arange(days)[:, None] + np.arange(mornings), days - 1)
    return np.asarray(season.free[ahead][..., None])


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
    n, unknown : int or None
        Evenings whose answer for tomorrow was judged, and those that could not tell; None for a
        rule that knows no forecast.
    """

    json_keys: ClassVar = (
        "name", "winters", "runs", "means*", "spoiled=mean_spoiled",
        "spoiled_by_material=mean_by_material", "range", "n", "unknown",
    )  # fmt: skip

    name: str
    winters: int
    runs: int
    figures: Mapping[str, Spread]
    spoiled: Mapping[int, Spread]
    by_material: Mapping[str, Mapping[int, Spread]]
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
    def range(self) -> dict[str, object]:
        """Least and most of every figure, and of `spoiled`."""
        ends: dict[str, object] = {name: spread.ends for name, spread in self.figures.items()}
        return ends | {"spoiled": {hours: spread.ends for hours, spread in self.spoiled.items()}}


def rule_row(runs: Runs, program: Program, materials: Sequence[str]) -> RuleRow:
    """Work out the figures of a rule's runs."""
    figures: dict[str, Figure] = {
        "rounds": lambda result: int(result.rounds.sum()),
        "days": lambda result: int(result.made.any(axis=1).sum()),
        "finished": finished(program),
        "days_first_to_last": median_span(program),
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
        None if counts is None else counts.n,
        None if counts is None else counts.unknown,
    )


def _whole(value: float) -> float:
    """A number as an int where it is whole to four decimals."""
    near = round(value, 4)
    return int(near) if math.isfinite(near) and near.is_integer() else value

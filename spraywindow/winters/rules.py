"""Past winters replayed day by day, by our rule and by others: what each would have done.

Every rule is judged by what no rule defines: rain, frost and heat that came after its rounds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError
from spraywindow.place import Place
from spraywindow.program import Program, plan_many, program_states
from spraywindow.spray import NO_GO, Material
from spraywindow.weather import Array
from spraywindow.winters.as_it_comes import as_it_comes, follow, rounds_of, within
from spraywindow.winters.block import best_of_day
from spraywindow.winters.evenings import Seen, seen_mornings
from spraywindow.winters.other_rules import (
    AFTER_H,
    Outcomes,
    first_dry_day,
    fixed_calendar,
    habit_rows,
    outcomes_after,
)
from spraywindow.winters.outlook import span_days
from spraywindow.winters.past import PastWinters
from spraywindow.winters.replays import ForecastReplay, Foresight
from spraywindow.winters.share import Counts, brier_score, count


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
        within(season.chances, season.ending.turned_out), program, nearness=season.near.turned_out
    ).made
    for name, made, rows in (
        ("fixed calendar", fixed_calendar(season, program, habit), habit[:, None]),
        ("first dry-looking day", first_dry_day(season, program, habit), habit[:, None]),
        ("hindsight optimum", best, starts),
    ):
        start = np.where(made, rows, -1)
        results.append(RuleResult(name, season.labels, made, start, _after(season, made, start)))
    return results


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
        possible = np.isfinite(best_of_day(block, maybe, season.need_h)[0])[:, used]
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
        season.foreseen, season.ending.turned_out, season.ending.then, states, mornings,
        seen=known, near=season.near,
    )  # fmt: skip
    visits, _ = follow(coming, np.zeros(1, dtype=np.int64))
    which = _covered(season, replay)
    judged = _only(season, which)
    made = rounds_of(states, visits[:, 0])[..., which]
    start = np.where(made, seen.start[..., which], -1)
    result = RuleResult(
        f"this rule, {replay.name}", judged.labels, made, start,
        _after(judged, made, start), replay=replay.name,
    )  # fmt: skip
    if not replay.measures:
        return result
    inside = np.arange(len(made))[:, None, None] <= judged.ending.turned_out
    truth = good[..., which][inside]
    chance = seen.chance[..., which][inside]
    go = np.isfinite(seen.margin[:, 0][..., which])[inside]
    told = np.where(np.isnan(chance), np.nan, go)  # an evening that could not tell is no no-go
    return replace(result, counts=count(told, truth), brier=brier_score(chance, truth))


def _after(season: PastWinters, made: NDArray[np.bool_], start: NDArray[np.int64]) -> Outcomes:
    """What came after the rounds, also of no winter at all."""
    if made.size:
        return outcomes_after(season, made, start)
    none = dict.fromkeys(AFTER_H, made)
    return Outcomes(none, none, made, made)


def _covered(season: PastWinters, replay: ForecastReplay) -> list[int]:
    """The winters whose whole season the replay has forecasts for."""
    block, days = season.block, len(season.chances)
    out = []
    for column, number in enumerate(season.used):
        first = int(block.epoch_h[number] + np.argmax(block.day[:, number] >= 0))
        last = min(float(season.ending.turned_out[:, column].max()), days - 1.0)
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
            turned_out=season.ending.turned_out[..., picked],
            then=season.ending.then[..., picked],
        ),
    )  # fmt: skip


def _free_ahead(season: PastWinters, mornings: int) -> NDArray[np.bool_]:
    """Days that what is done leaves free, seen from each evening: [day, morning, material, 1]."""
    days = len(season.free)
    ahead = np.minimum(np.arange(days)[:, None] + np.arange(mornings), days - 1)
    return np.asarray(season.free[ahead][..., None])

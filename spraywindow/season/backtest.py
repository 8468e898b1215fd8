"""Past winters replayed day by day, by our rule and by others: what each would have done.

Every rule is judged by what no rule defines: rain, frost and heat that came after its rounds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.place import Place
from spraywindow.season.coming import KNOWN_MORNINGS, as_it_comes, follow, rounds_of, within
from spraywindow.season.evenings import Seen, seen_mornings
from spraywindow.season.mornings import Block, best_jobs, score_block
from spraywindow.season.outcomes import Outcomes, outcomes_after
from spraywindow.season.past import Season
from spraywindow.season.planner import plan_many
from spraywindow.season.program import Program
from spraywindow.season.replay import Foresight, Replay
from spraywindow.season.skill import Counts, brier_score, count
from spraywindow.season.states import program_states

HABIT_H = 10
"""Clock hour at which the rules that do not look at hours begin; P: late morning."""


@dataclass(frozen=True, eq=False)
class RuleResult:
    """What a rule did in every winter.

    Attributes
    ----------
    name : str
    made : bool array [day, material, winter]
        Its rounds.
    start : int array [day, material, winter]
        Row of the block at which each round begins; -1 without one.
    outcomes : Outcomes
        What came after them.
    counts : Counts or None
        Go and no-go against what turned out; None where the replay cannot be wrong.
    brier : float
        Brier score of the chance that tomorrow holds a slot; NaN likewise.
    """

    name: str
    made: NDArray[np.bool_]
    start: NDArray[np.int64]
    outcomes: Outcomes
    counts: Counts | None = None
    brier: float = float("nan")

    @property
    def rounds(self) -> NDArray[np.int64]:
        """Rounds made per winter."""
        return np.asarray(self.made.sum(axis=(0, 1)))


def backtest(
    season: Season,
    weather: pd.DataFrame,
    place: Place,
    program: Program,
    *,
    replays: Sequence[Replay] = (Foresight(),),
    known_mornings: int = KNOWN_MORNINGS,
    progress: Callable[[str], None] | None = None,
) -> list[RuleResult]:
    """Replay every winter of a season's record by our rule and by the others.

    Parameters
    ----------
    season : Season
        From `spraywindow.season.past.past_season`, without a forecast spliced in.
    weather : DataFrame
        The same checked record.
    place, program
        The site's.
    replays : sequence of Replay
        Forecasts that our rule acts on, one result each.
    known_mornings : int
        How many mornings, tomorrow first, an evening's forecast answers.
    progress : callable, optional
        Told what is under way.

    Returns
    -------
    list of RuleResult
        Ours on each replay, then a fixed calendar, the first dry-looking day, the hindsight
        optimum.
    """
    say = progress or (lambda _: None)
    block = season.block
    starts = truth_starts(season)
    results = []
    for replay in replays:
        say(replay.name)
        seen = seen_mornings(season, weather, place, replay, known_mornings)
        results.append(_ours(season, program, replay, seen, known_mornings))
    say("other rules")
    habit = habit_rows(block)
    for name, made in (
        ("fixed calendar", fixed_calendar(season, program)),
        ("first dry-looking day", first_dry_day(season, program, habit)),
    ):
        rows = np.broadcast_to(habit[:, None, :], (block.days, made.shape[1], habit.shape[1]))
        start = np.where(made, rows[..., list(season.used)], -1)
        results.append(RuleResult(name, made, start, outcomes_after(season, made, start)))
    best = plan_many(within(season.chances, season.ending.turned_out), program).made
    start = np.where(best, starts, -1)
    results.append(
        RuleResult("hindsight optimum", best, start, outcomes_after(season, best, start))
    )
    return results


def truth_starts(season: Season) -> NDArray[np.int64]:
    """First row of each day's best slot as it turned out, [day, material, winter]; -1 for none."""
    rows = [
        best_jobs(season.block, score_block(season.block, each), season.need_h, season.access)[1]
        for each in season.materials
    ]
    return np.stack(rows, axis=1)[..., list(season.used)]


def _ours(
    season: Season, program: Program, replay: Replay, seen: Seen, known_mornings: int
) -> RuleResult:
    winters = len(season.labels)
    states = program_states(program, len(season.chances), max(winters, 1))
    coming = as_it_comes(
        season.chances, season.ending.turned_out, season.ending.then, states, known_mornings,
        seen=np.where(_free_ahead(season, seen.margin.shape[1]), seen.margin, np.nan),
    )  # fmt: skip
    visits, _ = follow(coming, np.zeros(1, dtype=np.int64))
    made = rounds_of(states, visits[:, 0])
    start = np.where(made, seen.start, -1)
    result = RuleResult(
        f"this rule, {replay.name}", made, start, outcomes_after(season, made, start)
    )
    if not replay.measures:
        return result
    inside = np.arange(len(made))[:, None, None] <= season.ending.turned_out
    truly = np.isfinite(season.chances)[inside]
    forecast = np.isfinite(seen.margin[:, 0])[inside]
    return RuleResult(
        result.name, made, start, result.outcomes,
        counts=count(forecast, truly),
        brier=brier_score(seen.chance[inside], truly.astype(float)),
    )  # fmt: skip


def _free_ahead(season: Season, mornings: int) -> NDArray[np.bool_]:
    """Days that what is done leaves free, seen from each evening: [day, morning, material, 1]."""
    days = len(season.free)
    ahead = np.minimum(np.arange(days)[:, None] + np.arange(mornings), days - 1)
    return np.asarray(season.free[ahead][..., None])


def habit_rows(block: Block) -> NDArray[np.int64]:
    """Row of each day's `HABIT_H`, [day, winter]."""
    rows = np.zeros((block.days, block.day.shape[1]), dtype=np.int64)
    at = (np.floor(block.clock_h) == HABIT_H) & (block.day >= 0) & (block.day < block.days)
    hour, winter = np.nonzero(at)
    rows[block.day[hour, winter], winter] = hour
    return rows


def _in_turn(season: Season, program: Program, fits: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Make the rounds in turn, each on the first day that fits and keeps the gaps.

    `fits` is [day, material, winter]. The materials take turns, the one with most rounds left
    first.
    """
    days, _, winters = fits.shape
    entries = program.entries
    left = np.tile([[entry.visits_owed] for entry in entries], (1, winters))
    last = np.full((len(entries), winters), -10_000)
    made = np.zeros(fits.shape, dtype=bool)
    apart = np.array(
        [[program.days_between(a.material, b.material) for b in entries] for a in entries]
    )
    for day in range(days):
        clear = ((day - last)[None] >= apart[..., None]).all(axis=1)
        may = fits[day] & clear & (left > 0) & (day <= season.ending.then[day])
        order = np.where(may, left * len(entries) - np.arange(len(entries))[:, None], -1)
        chosen = order.argmax(axis=0)
        acts = np.flatnonzero(may.any(axis=0))
        made[day, chosen[acts], acts] = True
        left[chosen[acts], acts] -= 1
        last[chosen[acts], acts] = day
    return made


def fixed_calendar(season: Season, program: Program) -> NDArray[np.bool_]:
    """Rounds as early as the gaps allow, whatever the weather."""
    return _in_turn(season, program, np.ones(season.chances.shape, dtype=bool))


def first_dry_day(season: Season, program: Program, habit: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Rounds on the first day without measurable rain in the 24 h from late morning on."""
    ahead = season.block.conditions.rain.ahead(24).high
    dry = np.take_along_axis(ahead, habit, axis=0) < 0.254
    used = dry[:, list(season.used)]
    return _in_turn(season, program, np.broadcast_to(used[:, None, :], season.chances.shape).copy())


def winter_rows(result: RuleResult, labels: Sequence[str]) -> list[Mapping[str, object]]:
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
        for column, label in enumerate(labels)
    ]

"""Rules to hold ours against, and what came after each round; no rule defines that.

The rules: a fixed calendar, and the first day that looks dry. What came: rain within 24, 48 and
72 h, frost and heat; whether the dry hours that each material wants followed, and whether it was
washed off.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spraywindow.program import Program, plan_many
from spraywindow.spray import GO, NO_GO, Material, best_of_day
from spraywindow.weather import MEASURABLE_MM, forward_highest, forward_lowest
from spraywindow.winters.past import PastWinters, within

HABIT_H = 10
"""Clock hour from which the rules that do not look at hours begin; P: late morning."""
LOOKS_AHEAD_H = 24


def habit_rows(season: PastWinters) -> NDArray[np.int64]:
    """Row of each day's first working hour from `HABIT_H` on, [day, winter]; -1 on days off."""
    block = season.block
    used = list(season.used)
    open_hours = block.workable(season.access) & (block.clock_h >= HABIT_H)
    open_hours &= (block.day >= 0) & (block.day < block.days)
    hour, winter = np.nonzero(open_hours)
    rows = np.full((block.days, block.day.shape[1]), len(block.day), dtype=np.int64)
    np.minimum.at(rows, (block.day[hour, winter], winter), hour)
    return np.asarray(np.where(rows == len(block.day), -1, rows)[:, used])


def fixed_calendar(
    season: PastWinters, program: Program, habit: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Rounds as early as the gaps allow, whatever the weather: [day, material, winter].

    `habit` is from `habit_rows`.
    """
    return in_turn(season, program, habit >= 0)


def first_dry_day(
    season: PastWinters, program: Program, habit: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Rounds on the first day without measurable rain in the 24 h from late morning on.

    It knows those hours as they turned out; unknown rain does not look dry.
    """
    ahead = season.block.conditions.rain.ahead(LOOKS_AHEAD_H).high[:, list(season.used)]
    dry = np.take_along_axis(ahead, np.maximum(habit, 0), axis=0) < MEASURABLE_MM
    return in_turn(season, program, dry & (habit >= 0))


def in_turn(season: PastWinters, program: Program, fits: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Make the rounds in turn, each on the first day that fits and keeps the gaps.

    `fits` is [day, winter]. The materials take turns, the one with most rounds left first. The
    end of the season is as it was forecast on the evening before.
    """
    days, materials, winters = season.chances.shape
    entries = program.entries
    left = np.tile(np.array(program.visits_allowed)[:, None], (1, winters))
    last = np.full((materials, winters), -10_000)
    made = np.zeros((days, materials, winters), dtype=bool)
    apart = np.array(
        [[program.days_between(a.material, b.material) for b in entries] for a in entries]
    )
    for day in range(days):
        clear = ((day - last)[None] >= apart[..., None]).all(axis=1)
        may = fits[day] & season.free[day, :, None] & clear & (left > 0)
        may &= day <= season.ending.forecast[day]
        order = np.where(may, left * materials - np.arange(materials)[:, None], -1)
        chosen = order.argmax(axis=0)
        acts = np.flatnonzero(may.any(axis=0))
        made[day, chosen[acts], acts] = True
        left[chosen[acts], acts] -= 1
        last[chosen[acts], acts] = day
    return made


def most_effective(
    season: PastWinters, program: Program
) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """What hindsight makes where only effective rounds count: made and start, as `advised`."""
    block, used = season.block, list(season.used)
    open_hours = block.workable(season.access)
    chances, starts = [], []
    for which, verdict in enumerate(season.verdicts):
        fits = (verdict == GO) & open_hours & dry_after(season, season.materials[which])[0]
        best, rows = best_of_day(np.where(fits, 1.0, -np.inf), block.day, block.days, season.need_h)
        chances.append(best[:, used])
        starts.append(rows[:, used])
    usable = np.where(season.free[..., None], np.stack(chances, axis=1), np.nan)
    made = plan_many(
        within(usable, season.ending.actual), program, nearness=season.near.actual
    ).made
    return made, np.where(made, np.stack(starts, axis=1), -1)


AFTER_H = (24, 48, 72)
CAUSES = {
    "wet_wood": ("hours_dry",),
    "drift": ("wind_at_top", "gust", "inversion", "degrees_off_downwind"),
}
"""Quantities whose hard limits say the same of a round."""
HEAT_C = 32.2
"""Heat that burns fresh oil [degC] (UC IPM: above 90 degF)."""


@dataclass(frozen=True, eq=False)
class Outcomes:
    """What came after each round, arrays [day, material, winter]; False without a round.

    Attributes
    ----------
    rain : mapping of int to bool array
        Hours to whether measurable rain surely fell within them.
    unknown : mapping of int to bool array
        Hours to whether that is not known.
    frost : bool array
        Freezing within 24 h.
    heat : bool array
        `HEAT_C` within 48 h.
    effective : bool array
        The dry hours that the material wants surely followed.
    doubtful : bool array
        Whether they did is not known.
    outside : bool array
        An hour of the job surely was outside a hard limit: rain, wet wood, wind, frost, ...
    outside_for : mapping of str to bool array
        The same for each of `CAUSES` alone.
    lost : bool array
        Measurable rain surely fell before the material was rainfast: the round is owed again.
    """

    rain: Mapping[int, NDArray[np.bool_]]
    unknown: Mapping[int, NDArray[np.bool_]]
    frost: NDArray[np.bool_]
    heat: NDArray[np.bool_]
    effective: NDArray[np.bool_]
    doubtful: NDArray[np.bool_]
    outside: NDArray[np.bool_]
    outside_for: Mapping[str, NDArray[np.bool_]]
    lost: NDArray[np.bool_]

    @property
    def within_limits(self) -> NDArray[np.bool_]:
        """The effective ones of which no hour was surely outside a hard limit."""
        return self.effective & ~self.outside

    def share_spoiled(self, hours: int, made: NDArray[np.bool_]) -> float:
        """Share of the rounds with known weather after which it rained; NaN without any."""
        known = int((made & ~self.unknown[hours]).sum())
        return float(self.rain[hours].sum() / known) if known else float("nan")


def dry_after(
    season: PastWinters, material: Material
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Whether the dry hours that a material wants follow each hour: surely, and perhaps.

    Two arrays [hour, winter] on the rows of the block, by the material's own limits on the rain of
    the hours after, the soft ones too.
    """
    rain = season.block.conditions.rain
    surely = np.ones(season.block.day.shape, dtype=bool)
    perhaps = surely.copy()
    for limit in material.limits:
        if limit.quantity == "rain_ahead" and limit.kind != "caution" and limit.hours:
            total = rain.ahead(int(np.ceil(limit.hours)))
            holds = np.less if limit.bound == "below" else np.less_equal
            surely &= holds(total.high, limit.value)
            perhaps &= holds(total.low, limit.value)
    return surely, perhaps


def outcomes_after(
    season: PastWinters, made: NDArray[np.bool_], start: NDArray[np.int64]
) -> Outcomes:
    """Look what came after the rounds of a rule.

    Parameters
    ----------
    season : PastWinters
    made : bool array [day, material, winter]
    start : int array [day, material, winter]
        Row of the block at which a round begins.
    """
    conditions, used = season.block.conditions, list(season.used)
    column = np.arange(start.shape[2])
    first = np.maximum(start, 0)

    def at(rows: NDArray[Any]) -> NDArray[Any]:
        """Values at the rounds' rows; of other days, of row 0."""
        return np.asarray(rows[:, used][first, column])

    def of_each(rows: Sequence[NDArray[Any]]) -> NDArray[np.bool_]:
        """The same of one array a material."""
        picked = [each[:, used][first[:, which], column] for which, each in enumerate(rows)]
        return np.asarray(made & np.stack(picked, axis=1))

    temp = conditions.temp
    rain, unknown = {}, {}
    for hours in AFTER_H:
        total = conditions.rain.ahead(hours)
        rain[hours] = made & (at(total.low) >= MEASURABLE_MM)
        unknown[hours] = made & ~rain[hours] & (at(total.high) >= MEASURABLE_MM)
    dry = [dry_after(season, material) for material in season.materials]
    effective = of_each([surely for surely, _ in dry])
    return Outcomes(
        rain,
        unknown,
        frost=made & (at(forward_lowest(temp, 24).high) <= 0.0),
        heat=made & (at(forward_highest(temp, 48).low) >= HEAT_C),
        effective=effective,
        doubtful=~effective & of_each([perhaps for _, perhaps in dry]),
        outside=of_each([_any_of(verdict == NO_GO, season.need_h) for verdict in season.verdicts]),
        outside_for={
            cause: of_each([_any_of(rows, season.need_h) for rows in _stopped(season, quantities)])
            for cause, quantities in CAUSES.items()
        },
        lost=washed_off(season, np.where(made, start, -1)),
    )


def washed_off(season: PastWinters, start: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Whether rounds that begin on these rows of the block are washed off; False where it is -1.

    `start` is [day, material, winter].
    """
    rain, used = season.block.conditions.rain, list(season.used)
    rows, column = np.maximum(start, 0), np.arange(start.shape[2])
    gone = [
        (rain.ahead(int(np.ceil(material.rainfast.hours))).low >= MEASURABLE_MM)[:, used][
            rows[:, which], column
        ]
        for which, material in enumerate(season.materials)
    ]
    return np.asarray((start >= 0) & np.stack(gone, axis=1))


def _stopped(season: PastWinters, quantities: Sequence[str]) -> list[NDArray[np.bool_]]:
    """Hours of the block surely outside a hard limit on one of these, one array a material.

    A forecast's uncertainty is in frost alone, so that `ahead_scores` tell it of the record.
    """
    out = []
    for material, scores in zip(season.materials, season.ahead_scores, strict=True):
        stopped = np.zeros(season.block.day.shape, dtype=bool)
        for limit in material.limits:
            if limit.kind == "hard" and limit.quantity in quantities:
                margin = scores.margins.get(limit.name)
                stopped |= False if margin is None else margin < 0.0
        out.append(stopped)
    return out


def _any_of(rows: NDArray[np.bool_], hours: int) -> NDArray[np.bool_]:
    """Whether any of so many rows from each on is True; what lies beyond the last is not."""
    out = rows.copy()
    for more in range(1, hours):
        out[:-more] |= rows[more:]
    return out

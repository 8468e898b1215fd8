"""Past winters decided evening by evening: act tomorrow or wait, by the value of both.

The mornings within the forecast are known by their chances; beyond them stands what the evenings
of the *other* winters were offered.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from spraywindow.program.states import Integers
from spraywindow.program.targets import Nearness
from spraywindow.program.worth import Moves, Terms, Worth, best_of, climate_value, worth

Floats = npt.NDArray[np.float64]
CACHE_CELLS = 40_000
"""States times winters times evenings that are worked on together."""


@dataclass(frozen=True, eq=False)
class Decided:
    """What every evening of every winter decides.

    Attributes
    ----------
    visits : int8 array [day, state, winter]
        Visit chosen in each state, on the evening before each day.
    prizes : float32 array [day, state, winter]
        What it costs to let the day pass instead, in expected effective rounds; 0 without a visit.
    beyond : array [day + 1, state, winter]
        What each state is worth by the other winters.
    """

    moves: Moves
    visits: npt.NDArray[np.int8]
    prizes: npt.NDArray[np.float32]
    beyond: Floats

    def after(self, lost: npt.NDArray[np.bool_]) -> Integers:
        """State on the morning after each day's visit, [day, state, winter].

        `lost` [day, material, winter] is as for `follow`.
        """
        states = np.arange(self.moves.count)[:, None]
        each = zip(self.visits.astype(np.int64), lost, strict=True)
        return np.stack([self.moves.after(visits, states, gone[:, None]) for visits, gone in each])

    def follow(
        self, starts: npt.ArrayLike, lost: npt.NDArray[np.bool_] | None = None
    ) -> tuple[npt.NDArray[np.int8], Integers]:
        """Follow the decisions through every winter from several first days.

        Parameters
        ----------
        starts : int array [start]
            First day on which anything is done.
        lost : bool array [day, material, winter], optional
            Where a round made on a day is washed off and owed again; nowhere without it.

        Returns
        -------
        visits : int8 array [day, start, winter]
            Visit made on each day.
        made : int array [material, start, winter]
            Rounds that need not be made again, by the end.
        """
        days, _, winters = self.visits.shape
        first = np.asarray(starts)
        state = np.zeros((len(first), winters), dtype=np.int64)
        none = len(self.moves.outcomes)
        visits = np.full((days, len(first), winters), none, dtype=np.int8)
        column = np.arange(winters)
        gone = np.zeros((days, len(self.moves.states.materials), winters), bool)
        gone = gone if lost is None else lost
        for day in range(days):
            chosen = self.visits[day, state, column]
            visits[day] = np.where((day >= first)[:, None], chosen, none)
            state = self.moves.after(visits[day], state, gone[day][:, None])
        return visits, self.moves.states.made(self.moves.plain(state))


@dataclass(frozen=True, eq=False)
class OtherWinters:
    """What past winters offered their evenings, and how wrong their ends were forecast.

    Attributes
    ----------
    offers : array [day, material, winter]
        Chance that a round on a day holds, as the evening before saw it; NaN where nobody would
        have been sent.
    last_day_actual : array [material, winter]
        Last usable day as it turned out; nothing after it counts.
    near : array [day, material, winter] or None
        How near each day was to where the rounds belong.
    """

    offers: Floats
    last_day_actual: Floats
    near: Floats | None = None

    @property
    def ends(self) -> Integers:
        """Last usable day of any material, per winter."""
        return _end(self.last_day_actual, len(self.offers))

    def values(self, moves: Moves, terms: Terms, *, leave_each_out: bool = False) -> Floats:
        """What `climate_value` gives of these winters, each moved to end on the last day."""
        days = len(self.offers)
        inside = np.arange(days)[:, None, None] <= self.last_day_actual
        offers = np.where(inside, self.offers, np.nan)
        later = days - 1 - self.ends
        near = None if self.near is None else _later(self.near, later)
        return climate_value(
            _later(offers, later), moves, terms, near, leave_each_out=leave_each_out
        )


def tonight(
    known: Floats,
    last_day: Floats,
    others: OtherWinters,
    last_day_then: Floats,
    moves: Moves,
    terms: Terms,
    nearness: Floats | None = None,
    *,
    day: int = 0,
) -> Worth:
    """Give what acting tomorrow and waiting are worth on one evening of a winter at hand.

    Parameters
    ----------
    known : array [morning, material]
        Chance that a round holds on each of the mornings ahead that a chance is earned for,
        tomorrow first; NaN where there is nothing to be made.
    last_day : array [material]
        Last usable day of this winter as forecast tonight.
    others : OtherWinters
        None of them this winter.
    last_day_then : array [material, winter]
        Last usable day of each of them as forecast on the same evening.
    nearness : array [morning, material], optional
        As forecast tonight.
    day : int
        Tomorrow, counted from the calendars' day 0.

    Returns
    -------
    Worth
        Of one calendar.
    """
    days = len(others.offers)
    last = min(days, day + len(known))
    ahead = np.arange(day, last)[:, None]
    within = np.where(ahead <= last_day, known[: last - day], np.nan)
    end = _end(last_day[:, None], days)
    values = others.values(moves, terms)[None]
    winters = others.offers.shape[2]
    share = np.full((1, winters), 1.0 / max(winters, 1))
    wrong_d = _end(last_day_then, days) - others.ends
    later = _beyond(values, last + days - 1 - end, wrong_d, share)
    later = np.where(end >= last, later, 0.0)
    near = None if nearness is None else nearness[: last - day, :, None]
    return worth(within[..., None], later, moves, terms, near)


def decide_evenings(
    chances: Floats,
    last_day_actual: Floats,
    last_day_forecast: Floats,
    moves: Moves,
    terms: Terms,
    near: Nearness | None = None,
) -> Decided:
    """Decide every evening of every winter.

    Parameters
    ----------
    chances : array [day, morning, material, winter]
        Chance that a round holds on each of the mornings that the evening before a day knows,
        tomorrow first; NaN where there is nothing to be made. Tomorrow's are offers: NaN where
        nobody would be sent. Mornings that no evening has a chance for are beyond those known.
    last_day_actual : array [material, winter]
        Last usable day as it turned out.
    last_day_forecast : array [day, material, winter]
        Last usable day as forecast on the evening before each day.
    near : Nearness, optional
        How near each day is to where the rounds belong.

    Notes
    -----
    Beyond the known mornings stand the other winters, each moved to end on the calendar's last
    day: what is left is counted in days before the end, as this winter's end is forecast then and
    as wrong as each other winter's was forecast on the same day. A season that is forecast to be
    over holds nothing beyond.
    """
    days, _, _, winters = chances.shape
    told = np.flatnonzero(np.isfinite(chances).any(axis=(0, 2, 3)))
    mornings = int(told.max(initial=0)) + 1
    past = OtherWinters(chances[:, 0], last_day_actual, None if near is None else near.actual)
    beyond = past.values(moves, terms, leave_each_out=True)
    by_winter = np.ascontiguousarray(np.moveaxis(beyond, 2, 0))
    share = np.where(np.eye(winters, dtype=bool), 0.0, 1.0 / max(winters - 1, 1))
    visits = np.full((days, moves.count, winters), len(moves.outcomes), dtype=np.int8)
    prizes = np.zeros(visits.shape, dtype=np.float32)
    every = np.arange(moves.count)[:, None]
    ahead = np.arange(days)[:, None] + np.arange(mornings)  # (day, morning)
    inside = ahead[..., None, None] <= np.minimum(last_day_forecast, days - 1)[:, None]
    known = np.where(inside, chances[:, :mornings], np.nan)
    offered = np.flatnonzero(np.isfinite(known[:, 0]).any(axis=(1, 2)))
    # evenings bear on each other only by what is beyond them: as many at once as the cache holds
    together = max(CACHE_CELLS // max(moves.count * winters, 1), 1)
    for begin in range(0, len(offered), together):
        some = offered[begin : begin + together]
        later = np.empty((moves.count, len(some), winters))
        for number, day in enumerate(some):
            after = day + mornings
            ends_then = _end(last_day_forecast[day], days)
            rows, wrong_d = after + days - 1 - ends_then, ends_then - past.ends
            value = _beyond(by_winter, rows, wrong_d, share)
            later[:, number] = np.where(ends_then >= after, value, 0.0)
        side_by_side = (*known.shape[1:3], len(some) * winters)
        nearness = None
        if near is not None:
            each = [near.ahead(day, day + mornings) for day in some]
            nearness = np.stack(each, axis=2).reshape(side_by_side)
        of_visits = worth(
            np.moveaxis(known[some], 0, 2).reshape(side_by_side),
            later.reshape(moves.count, -1),
            moves,
            terms,
            nearness,
        ).of_visits(0, every)
        gained = np.maximum(of_visits[:-1].max(axis=0) - of_visits[-1], 0.0)
        for whole, part in ((visits, best_of(of_visits)), (prizes, gained)):
            whole[some] = np.moveaxis(part.reshape(-1, len(some), winters), 1, 0)
    left = moves.states.left_of_visits(last_day_actual, days)
    visits = np.take_along_axis(left, visits.astype(np.int64), axis=1)
    prizes[visits == len(moves.outcomes)] = 0.0
    return Decided(moves, visits, prizes, beyond)


def _beyond(values: Floats, rows: Integers, wrong_d: Integers, share: Floats) -> Floats:
    """Mean value beyond the known mornings, [state, winter], over how wrong others' ends were.

    `values` is [winter, day + 1, state]; `rows` are each winter's by its own forecast, `wrong_d`
    the days by which each of the others was too late, `share` [winter, other] its part.
    """
    each = np.clip(rows[:, None] + wrong_d, 0, values.shape[1] - 1)  # (winter, other)
    out = np.zeros((values.shape[2], len(rows)))
    for winter, (row, part) in enumerate(zip(each, share, strict=True)):
        if len(row):
            first = row.min()
            spread = np.bincount(row - first, weights=part)
            out[:, winter] = spread @ values[winter, first : first + len(spread)]
    return out


def _end(last: Floats, days: int) -> Integers:
    """Last usable day of any material, per winter; the calendar's own where there is none."""
    whole = np.nan_to_num(np.minimum(last, days - 1), nan=days - 1)
    return np.asarray(np.floor(whole.max(axis=0, initial=-1)), dtype=np.int64)


def _later(values: Floats, by: Integers) -> Floats:
    """Values [day, material, winter] moved so many days later in each winter; NaN before."""
    days, materials, winters = values.shape
    rows = np.arange(days)[:, None] - by  # (day, winter)
    moved = values[np.maximum(rows, 0)[:, None], np.arange(materials)[:, None], np.arange(winters)]
    return np.where(rows[:, None] >= 0, moved, np.nan)

"""The season as it comes: each evening the exact plan on what is known, and only tomorrow acted on.

The mornings within the forecast are known; beyond them stands the mean of the *other* winters.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from spraywindow.program import (
    NEVER,
    Integers,
    Nearness,
    ProgramStates,
    best_values,
    value_to_go,
    visit_gains,
)
from spraywindow.weather import Array
from spraywindow.winters.past import within

KNOWN_MORNINGS = 4
"""Mornings that a week's forecast answers when three dry days are wanted after each; P."""
SPARE_D = 28
"""Nobody waits for a better stage or margin where so many days less would cost a round [d]; P."""


@dataclass(frozen=True, eq=False)
class Policy:
    """What comes of acting on what is known.

    Attributes
    ----------
    policy : int8 array [day, state, winter]
        Visit chosen in each state, decided the evening before.
    value : int array [day + 1, state, winter]
        Best that hindsight could reach from each state.
    """

    policy: NDArray[np.int8]
    value: Integers
    states: ProgramStates


def as_it_comes(
    chances: Array,
    last_day_actual: Array,
    last_day_forecast: Array,
    states: ProgramStates,
    known_mornings: int = KNOWN_MORNINGS,
    forecast_margin: Array | None = None,
    near: Nearness | None = None,
) -> Policy:
    """Decide every evening of every winter.

    Parameters
    ----------
    chances : array [day, material, winter]
        Margin of each day's best slot; NaN for none.
    last_day_actual : array [material, winter]
        Last usable day as it turned out, for hindsight and for the other winters.
    last_day_forecast : array [day, material, winter]
        Last usable day as forecast on the evening before each day.
    states : ProgramStates
        For as many calendars as winters.
    known_mornings : int
        How many mornings, tomorrow first, the forecast answers.
    forecast_margin : array [day, morning, material, winter], optional
        What the evening before each day saw of the mornings ahead, where that can differ from
        what turned out.
    near : Nearness, optional
        How near each day is to where the rounds belong.

    Notes
    -----
    Beyond the known mornings stand the other winters, taken as many days before their mean end
    as are left before this winter's, as forecast then. Of visits that make as many rounds in
    their mean, those count that would with `SPARE_D` days less; of these, nearness, then margins.
    """
    evenings = _Evenings(
        chances, last_day_actual, last_day_forecast, states, known_mornings, forecast_margin, near
    )
    policy = np.full(
        (len(chances), states.count, chances.shape[2]), len(states.visits) - 1, dtype=np.int8
    )  # (day, state, winter); the last visit is none
    may = (states.after >= 0)[..., None]  # (visit, state, 1)
    for day, gains, later, spare in evenings:  # (visit, winter), twice (state, winter)
        policy[day] = _choose(  # of (visit, state, winter)
            gains[:, None, :], may, later[states.after], spare[states.after], states
        )
    left = states.left_of_visits(last_day_actual, len(chances))  # (day, visit, winter)
    policy = np.take_along_axis(left, policy.astype(np.int64), axis=1)
    return Policy(policy, evenings.value, states)


def rounds_as_it_comes(
    chances: Array,
    last_day_actual: Array,
    last_day_forecast: Array,
    states: ProgramStates,
    known_mornings: int = KNOWN_MORNINGS,
    near: Nearness | None = None,
) -> Integers:
    """Rounds made from the first day on, [material, winter]: what `follow` gives, with less work.

    Parameters are those of `as_it_comes`.
    """
    winters = np.arange(chances.shape[2])
    state = np.zeros(len(winters), dtype=np.int64)  # (winter,)
    left = states.left_of_visits(last_day_actual, len(chances))
    visits = np.full((len(chances), len(winters)), len(states.visits) - 1)
    upcoming = 0
    for day, gains, later, spare in _Evenings(
        chances, last_day_actual, last_day_forecast, states, known_mornings, None, near
    ):
        for _ in range(day - upcoming):  # days without any known morning
            state = states.after[-1, state]
        after = states.after[:, state]  # (visit, winter)
        visit = _choose(gains, after >= 0, later[after, winters], spare[after, winters], states)
        visits[day] = left[day, visit, winters]
        state = states.after[visits[day], state]
        upcoming = day + 1
    return states.made(state)


@dataclass(frozen=True, eq=False)
class _Evenings:
    """The evenings before days with a chance: what acting, and waiting, then lead to."""

    chances: Array
    last_day_actual: Array
    last_day_forecast: Array
    states: ProgramStates
    known_mornings: int
    forecast_margin: Array | None
    near: Nearness | None

    @cached_property
    def value(self) -> Integers:
        """Best that hindsight could reach, [day + 1, state, winter]."""
        near = None if self.near is None else self.near.actual
        return value_to_go(within(self.chances, self.last_day_actual), self.states, nearness=near)

    def __iter__(self) -> Iterator[tuple[int, Integers, Integers, Integers]]:
        """Day, gains of its visits [visit, winter], and values after it [state, winter], twice.

        The second time, the other winters end `SPARE_D` days earlier.
        """
        chances, last_forecast, states = self.chances, self.last_day_forecast, self.states
        days, _, winters = chances.shape
        total = self.value.sum(axis=2, dtype=np.int64)  # (day + 1, state)
        copies = max(winters - 1, 1)
        column = np.arange(winters)
        ends = _whole(self.last_day_actual.max(axis=0), days)  # (winter,): of the last material
        usual_end = (ends.sum() - ends) / copies  # of the other winters

        def others(day: Integers) -> Integers:
            """Sum of what the other winters could still reach from a day of each."""
            rows = np.clip(day, 0, days)
            return np.asarray((total[rows] - self.value[rows, :, column]).T)  # (state, winter)

        for day in range(days):
            last = min(days, day + self.known_mornings)
            told = self.forecast_margin
            # (morning, material, winter)
            ahead = chances[day:last] if told is None else told[day, : last - day]
            open_yet = np.arange(day, last)[:, None, None] <= last_forecast[day]
            known = np.where(open_yet, ahead, np.nan)
            if not (known[0] >= 0).any():
                continue
            near = None if self.near is None else self.near.ahead(day, last)
            # (morning, visit, winter)
            gains = visit_gains(known, states, nearness=near, copies=copies)
            # a season that is forecast to be over holds nothing beyond
            goes_on = (last_forecast[day] >= last).any(axis=0)  # (winter,)
            shift = usual_end - _whole(last_forecast[day].max(axis=0), days)
            beyond = last + np.rint(shift).astype(np.int64)
            later, spare = (
                best_values(gains[1:], states, np.where(goes_on, others(rows), 0))[0]
                for rows in (beyond, beyond + SPARE_D)
            )
            yield day, gains[0], later, spare


def _whole(last: Array, days: int) -> Array:
    """Last days within the calendar; the calendar's own where there is none."""
    return np.nan_to_num(np.minimum(last, days - 1), nan=days - 1)


def _choose(
    gains: Integers, may: NDArray[np.bool_], later: Integers, spare: Integers, states: ProgramStates
) -> Integers:
    """The best visit; of equal ones the larger, the earlier. All arrays [visit, ...]."""
    worth = np.where(may, later + gains, NEVER)
    rounds = worth // states.steps[0]
    guarded = np.where(rounds == rounds.max(axis=0), (spare + gains) // states.steps[0], NEVER)
    return np.asarray(np.where(guarded == guarded.max(axis=0), worth, NEVER).argmax(axis=0))


def follow(coming: Policy, starts: Integers) -> tuple[NDArray[np.int8], Integers]:
    """Follow the policy through every winter from several first days.

    Parameters
    ----------
    coming : Policy
    starts : int array [start]
        First day on which anything is done.

    Returns
    -------
    visits : int8 array [day, start, winter]
        Visit made on each day.
    rounds : int array [material, start, winter]
        Rounds made by the end.
    """
    days, _, winters = coming.policy.shape
    state = np.zeros((len(starts), winters), dtype=np.int64)  # (start, winter)
    none = len(coming.states.visits) - 1
    visits = np.full((days, len(starts), winters), none, dtype=np.int8)
    column = np.arange(winters)
    for day in range(days):
        chosen = np.where((day >= starts)[:, None], coming.policy[day, state, column], none)
        visits[day] = chosen
        state = coming.states.after[chosen, state]
    return visits, coming.states.made(state)


def rounds_of(states: ProgramStates, visits: NDArray[np.int8]) -> NDArray[np.bool_]:
    """Turn visits [day, winter] into rounds, bool array [day, material, winter]."""
    holds = np.zeros((len(states.visits), len(states.materials)), dtype=bool)  # (visit, material)
    for number, members in enumerate(states.visits):
        holds[number, list(members)] = True
    return np.moveaxis(holds[visits], 2, 1)  # from (day, winter, material)

"""The season as it comes: each evening the exact plan on what is known, and only tomorrow acted on.

The mornings within the forecast are known; beyond them stands the mean of the *other* winters.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spraywindow.season.states import Integers, ProgramStates
from spraywindow.season.values import NEVER, best_values, value_to_go, visit_gains
from spraywindow.weather.interval import Array

KNOWN_MORNINGS = 4
"""Mornings that a week's forecast answers when three dry days are wanted after each; P."""


@dataclass(frozen=True, eq=False)
class Coming:
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


def within(chances: Array, last: Array) -> Array:
    """Chances [day, material, winter] up to each material's last day [material, winter]."""
    days = np.arange(len(chances))[:, None, None]
    return np.where(days <= last, chances, np.nan)


def as_it_comes(
    chances: Array,
    turned_out: Array,
    then: Array,
    states: ProgramStates,
    known_mornings: int = KNOWN_MORNINGS,
    seen: Array | None = None,
) -> Coming:
    """Decide every evening of every winter.

    Parameters
    ----------
    chances : array [day, material, winter]
        Margin of each day's best slot; NaN for none.
    turned_out : array [material, winter]
        Last usable day as it turned out, for hindsight and for the other winters.
    then : array [day, material, winter]
        Last usable day as forecast on the evening before each day.
    states : ProgramStates
        For as many calendars as winters.
    known_mornings : int
        How many mornings, tomorrow first, the forecast answers.
    seen : array [day, morning, material, winter], optional
        What the evening before each day saw of the mornings ahead, where that can differ from
        what turned out.
    """
    days, _, winters = chances.shape
    value = value_to_go(within(chances, turned_out), states)
    total = value.sum(axis=2, keepdims=True, dtype=np.int64)
    copies = max(winters - 1, 1)
    policy = np.full((days, states.count, winters), len(states.visits) - 1, dtype=np.int8)
    for day in range(days):
        last = min(days, day + known_mornings)
        ahead = chances[day:last] if seen is None else seen[day, : last - day]
        known = np.where(np.arange(day, last)[:, None, None] <= then[day], ahead, np.nan)
        gains = visit_gains(known, states, copies=copies)
        if not (gains[0, :-1] > NEVER).any():
            continue
        # beyond the known mornings: the other winters, while the season is forecast to go on
        goes_on = (then[day] >= last).any(axis=0)
        end = np.where(goes_on, total[last] - value[last], 0)
        later = best_values(gains[1:], states, end)[0]
        worth = np.where(
            (states.after >= 0)[..., None], later[states.after] + gains[0][:, None, :], NEVER
        )
        policy[day] = worth.argmax(axis=0)
    return Coming(policy, value, states)


def follow(coming: Coming, starts: Integers) -> tuple[NDArray[np.int8], Integers]:
    """Follow the policy through every winter from several first days.

    Parameters
    ----------
    coming : Coming
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
    state = np.zeros((len(starts), winters), dtype=np.int64)
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
    holds = np.zeros((len(states.visits), len(states.materials)), dtype=bool)
    for number, members in enumerate(states.visits):
        holds[number, list(members)] = True
    return np.moveaxis(holds[visits], 2, 1)

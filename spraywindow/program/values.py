"""What can still be reached from every state of a program, for many calendars at once.

Dynamic programming backwards over the days: the value of a state on a morning is the best that
can still be made of the days left. A policy that sees only a few mornings ahead needs no
planning of its own beyond them: the value of the state that it would leave is a look-up.

References
----------
.. [1] Bellman, R. (1957). Dynamic Programming. Princeton University Press, chapter III:
   ``V_d(s) = max over visits a of (gain_d(a) + V_d+1(s after a))``.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from spraywindow.errors import InputError
from spraywindow.program.states import (
    MARGIN_STEPS,
    MOST_CELLS,
    NEARNESS_STEPS,
    Integers,
    ProgramStates,
)

NEVER = -(2**62)


def value_to_go(
    chances: npt.ArrayLike,
    states: ProgramStates,
    *,
    nearness: npt.ArrayLike | None = None,
    end: npt.ArrayLike = 0,
    copies: int = 1,
) -> Integers:
    """Give the best that can still be reached from every state on every morning.

    Parameters
    ----------
    chances, nearness : arrays [day, material, calendar]
        As in `plan_many`.
    states : ProgramStates
        From `program_states`.
    end : array [state, calendar] or number
        Value of each state on the morning after the last day.
    copies : int
        How many calendars' values are added up in `end`: a day's gain counts as often.

    Returns
    -------
    array [day + 1, state, calendar]
        Whole numbers that compare, and add up, level by level; `ProgramStates.levels` takes
        them apart. The last row is `end`.
    """
    return best_values(visit_gains(chances, states, nearness=nearness, copies=copies), states, end)


def best_values(gains: Integers, states: ProgramStates, end: npt.ArrayLike = 0) -> Integers:
    """Give what `value_to_go` gives, from the gains that `visit_gains` gives."""
    if (len(gains) + 1) * states.count * gains.shape[2] > MOST_CELLS:
        raise InputError(
            f"too large: {len(gains)} days, {states.count} states, {gains.shape[2]} calendars",
            where="program",
            cure="take fewer calendars at a time",
        )
    values = np.empty((len(gains) + 1, states.count, gains.shape[2]), dtype=np.int64)
    values[-1] = end
    *visits, rest = states.after
    moves = [(before := np.flatnonzero(after >= 0), after[before]) for after in visits]
    usable = np.any(gains > NEVER, axis=2)
    for day in range(len(gains) - 1, -1, -1):
        later, here = values[day + 1], values[day]
        np.take(later, rest, axis=0, out=here, mode="clip")
        for number, (before, after) in enumerate(moves):
            if usable[day, number]:
                here[before] = np.maximum(here[before], later[after] + gains[day, number])
    return values


def best_visit(
    gains: Integers, states: ProgramStates, state: npt.ArrayLike, later: Integers
) -> Integers:
    """Give the best visit of one day for each calendar; of equal ones the larger, the earlier.

    Parameters
    ----------
    gains : array [visit, calendar]
        Of that day, from `visit_gains`.
    states : ProgramStates
        From `program_states`.
    state : array [calendar]
        State of each calendar on that morning.
    later : array [state, calendar]
        Values on the next morning.

    Returns
    -------
    array [calendar]
        Numbers of visits; ``states.after[visit, state]`` is the next morning's state.
    """
    after = states.after[:, np.asarray(state)]
    values = later[after, np.arange(later.shape[1])] + gains
    best: Integers = np.where(after >= 0, values, NEVER).argmax(axis=0)
    return best


def visit_gains(
    chances: npt.ArrayLike,
    states: ProgramStates,
    *,
    nearness: npt.ArrayLike | None = None,
    copies: int = 1,
) -> Integers:
    """Give what each visit is worth on each day, array [day, visit, calendar]; `NEVER` if barred.

    Parameters are those of `value_to_go`.
    """
    margins = np.asarray(chances, dtype=float)
    if margins.ndim != 3 or margins.shape[1] != len(states.materials):
        raise ValueError(f"shape {margins.shape} is not [day, {len(states.materials)}, calendar]")
    near = np.nan_to_num(np.broadcast_to(0.0 if nearness is None else nearness, margins.shape))
    for name, values, low, expected in (
        ("margin", margins, -np.inf, "at most 1"),
        ("nearness", near, 0.0, "0 to 1"),
    ):
        wrong = values[(values > 1 + 1e-9) | (values < low)]
        if wrong.size:
            raise InputError(f"{name} out of range", expected=expected, got=float(wrong.flat[0]))
    usable = margins >= 0
    margin_steps = np.rint(np.where(usable, margins, 0) * MARGIN_STEPS).astype(np.int64)
    worth = states.weights[:, None] * states.steps[0] + states.steps[1] * np.rint(
        near * NEARNESS_STEPS
    ).astype(np.int64)
    gains = np.zeros((len(margins), len(states.visits), margins.shape[2]), dtype=np.int64)
    for number, members in enumerate(states.visits[:-1]):
        picked = list(members)
        each = margin_steps[:, picked]
        lesser = each.min(axis=1) * len(picked) if states.mixed[number] else each.sum(axis=1)
        gain = worth[:, picked].sum(axis=1) + lesser
        gains[:, number] = np.where(usable[:, picked].all(axis=1), gain * copies, NEVER)
    return gains

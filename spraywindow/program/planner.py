"""The exact best plan for a calendar of chances: most rounds, then nearest, then best margins.

The values of `spraywindow.program.values` are followed forwards from the first day.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from spraywindow.errors import InputError, describe, one_line
from spraywindow.program.program import Program
from spraywindow.program.states import MOST_CELLS, Integers, ProgramStates, program_states
from spraywindow.program.values import NEVER, best_values, best_visit, visit_gains


@dataclass(frozen=True, eq=False)
class Plans:
    """The best plan of each calendar.

    Attributes
    ----------
    made : bool array [day, material, calendar]
        The rounds.
    rounds : int array [material, calendar]
        Rounds made; those done before are not among them.
    objective : int array [3, calendar]
        Rounds by weight, nearness in steps of 1e-3, margins in steps of 1e-5.
    """

    made: npt.NDArray[np.bool_]
    rounds: Integers
    objective: Integers


def plan_rounds(
    chances: pd.DataFrame,
    program: Program,
    *,
    nearness: pd.DataFrame | None = None,
    last_days: Mapping[str, date] | None = None,
) -> pd.DataFrame:
    """Give the best plan for one calendar.

    Parameters
    ----------
    chances : DataFrame
        Indexed by local day (dates or naive midnights), one column a material: the margin of
        the day's best slot, up to 1; NaN or negative where there is none. Days that are
        missing have no slot.
    program : Program
        Rounds, gaps, mixes, maxima, and what is done.
    nearness : DataFrame, optional
        How near each day is to where a material's rounds belong, 0 to 1; NaN is 0.
    last_days : mapping of material to date, optional
        Last local day on which a material may still be sprayed.

    Returns
    -------
    DataFrame
        Columns `date` (naive midnight), `material`, `margin` (of a tank mix the lesser one);
        one row per round made, in order of date and of the program.

    Raises
    ------
    InputError
        If a table or a name cannot be used, or the plan is too large.

    Notes
    -----
    Most rounds by priority come first, then nearness (to 1e-3), then margins (to 1e-5), one
    strictly before the other. Of equal plans the one that acts earlier is given.
    """
    table = _calendar(chances, program, "chances")
    days = pd.DatetimeIndex(table.index)
    near = None
    if nearness is not None:
        near = _calendar(nearness, program, "nearness").reindex(days).to_numpy()[..., None]
    margins = np.where(may_spray(days, program, last_days), table.to_numpy(), np.nan)
    plans = plan_many(margins[..., None], program, nearness=near)
    rows = []
    for day in np.flatnonzero(plans.made.any(axis=(1, 2))):
        visit = np.flatnonzero(plans.made[day, :, 0])
        names = [program.materials[number] for number in visit]
        held = margins[day, visit]
        held = np.full_like(held, held.min()) if program.is_mix(names) else held
        rows += [(days[int(day)], name, margin) for name, margin in zip(names, held, strict=True)]
    frame = pd.DataFrame(rows, columns=["date", "material", "margin"])
    return frame.astype({"date": days.dtype, "material": object, "margin": float})


def plan_many(
    chances: npt.ArrayLike, program: Program, *, nearness: npt.ArrayLike | None = None
) -> Plans:
    """Give the best plan of many calendars at once.

    Parameters
    ----------
    chances : array [day, material, calendar]
        Margins as in `plan_rounds`, materials in the program's order. Days barred by what is
        done or by a last day are to be NaN: see `may_spray`.
    program : Program
        Rounds, gaps, mixes, maxima, and how many rounds are done.
    nearness : array [day, material, calendar], optional
        0 to 1, or of a shape that spreads to it.

    Raises
    ------
    InputError
        If the plan is too large.
    """
    margins = np.asarray(chances, dtype=float)
    states = program_states(program, len(margins))
    near = np.broadcast_to(0.0 if nearness is None else np.asarray(nearness), margins.shape)
    size = max(1, MOST_CELLS // ((len(margins) + 1) * states.count))
    starts = range(0, margins.shape[2], size)
    parts = [
        _plan_some(margins[..., n : n + size], near[..., n : n + size], states) for n in starts
    ]
    if not parts:
        parts = [_plan_some(margins, near, states)]
    made = np.concatenate([part for part, _ in parts], axis=2)
    objective = states.levels(np.concatenate([part for _, part in parts]))
    return Plans(made, made.sum(axis=0), objective)


def may_spray(
    days: pd.DatetimeIndex, program: Program, last_days: Mapping[str, date] | None = None
) -> npt.NDArray[np.bool_]:
    """Tell on which days what is done and the last days leave a material free.

    Parameters
    ----------
    days : DatetimeIndex
        Local days, naive midnights.
    program : Program
        A round done keeps its gaps to the days after it and to those before; sprays outside the
        program bar their spans.
    last_days : mapping of material to date, optional
        Last local day on which a material may still be sprayed.

    Returns
    -------
    bool array [day, material]

    Raises
    ------
    InputError
        If `last_days` names an unknown material or holds something that is no day.
    """
    numbers = days.to_numpy().astype("datetime64[D]")
    free = np.ones((len(days), len(program.entries)), dtype=bool)
    for column, own in enumerate(program.entries):
        material = own.material
        for span in own.barred:
            first, last_day = map(np.datetime64, span)
            free[:, column] &= (numbers < first) | (numbers > last_day)
        for entry in program.entries:
            gap = program.days_between(material, entry.material)
            for done in entry.days_holding(material):
                free[:, column] &= abs((numbers - np.datetime64(done)).astype(int)) >= gap
    for material, last in (last_days or {}).items():
        if material not in program.materials or not isinstance(last, date) or pd.isna(last):
            raise InputError(
                "no last day of a material of the program",
                where="last_days",
                expected="a date for one of " + ", ".join(program.materials),
                got={material: last},
            )
        free[:, program.materials.index(material)] &= numbers <= np.datetime64(f"{last:%Y-%m-%d}")
    return free


def _plan_some(
    margins: npt.NDArray[np.float64], near: npt.NDArray[np.float64], states: ProgramStates
) -> tuple[npt.NDArray[np.bool_], Integers]:
    """Rounds made [day, material, calendar] and values [calendar], following the best visits."""
    gains = visit_gains(margins, states, nearness=near)
    values = best_values(gains, states)
    holds = np.zeros((len(states.visits), len(states.materials)), dtype=bool)
    for number, members in enumerate(states.visits):
        holds[number, list(members)] = True
    state = np.zeros(margins.shape[2], dtype=np.int64)
    made = np.zeros(margins.shape, dtype=bool)
    worth_a_look = np.any(gains[:, :-1] > NEVER, axis=(1, 2))
    for day, look in enumerate(worth_a_look):
        if not look:
            state = states.after[-1, state]
            continue
        visit = best_visit(gains[day], states, state, values[day + 1])
        made[day] = holds[visit].T
        state = states.after[visit, state]
    return made, values[0, 0]


def _calendar(table: pd.DataFrame, program: Program, where: str) -> pd.DataFrame:
    """One row a day from the first to the last, one column a material of the program."""
    if not isinstance(table, pd.DataFrame):
        raise InputError("no table", where=where, expected="a DataFrame", got=type(table))
    columns = list(table.columns)
    missing = [name for name in program.materials if columns.count(name) != 1]
    problems = []
    if missing:
        expected = "one for each of " + ", ".join(program.materials)
        problems.append(
            describe("columns amiss", where=where, expected=expected, got=list(map(str, columns)))
        )
    index = pd.DatetimeIndex([])
    if len(table) and pd.api.types.is_numeric_dtype(table.index):
        problems.append(
            describe("no days", where=where, expected="dates as the index", got=table.index[0])
        )
    else:
        try:
            index = pd.DatetimeIndex(table.index)
        except (TypeError, ValueError) as error:
            problems.append(
                describe(f"no days ({error})", where=where, expected="dates as the index")
            )
    if problems:
        raise InputError(one_line(problems))
    whole_days = index.tz is None and not index.hasnans and (index == index.normalize()).all()
    if not whole_days or index.has_duplicates:
        raise InputError(
            "the index is not one local day a row",
            where=where,
            expected="naive midnights, each once",
            cure="take the local day of each slot, and the best slot of each day",
        )
    try:
        numbers = table[list(program.materials)].astype(float).set_axis(index)
    except (TypeError, ValueError) as error:
        raise InputError(f"not a number ({error})", where=where) from error
    return numbers.reindex(pd.date_range(index.min(), index.max())) if len(index) else numbers

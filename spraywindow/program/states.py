"""The states that a program can be in on a morning, and how a day's work moves between them.

A state is how many days each material must still wait, and how many visits were made with it
since the calendar's first day. Only waits that can really be reached are kept: with oil and
copper 5 days apart and 2 between them there are 16 pairs of waits instead of 25.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import prod

import numpy as np
import numpy.typing as npt

from spraywindow.errors import InputError
from spraywindow.program.program import Program

Integers = npt.NDArray[np.int64]

MOST_CELLS = 40_000_000
"""Most days times states of one calendar: 320 MB of values."""
MOST_WAITS = 30_000
MARGIN_STEPS = 100_000
NEARNESS_STEPS = 1_000
"""Margins are compared to 1e-5 and nearness to 1e-3, as whole numbers."""


@dataclass(frozen=True, eq=False)
class ProgramStates:
    """The states of a program over a calendar of `days` days.

    Attributes
    ----------
    materials : tuple of str
        In the program's order.
    days : int
        Length of the calendar [days].
    limits : array [material]
        Most visits that can still be made.
    waits : array [wait, material]
        The sets of waits that can be reached [days]; the first is no wait at all.
    visits : tuple of tuple of int
        What one day can hold: materials by number; the last is (), no visit.
    mixed : tuple of bool
        Whether a visit is one tank mix, held to its least margin.
    after : array [visit, state]
        State on the next morning; -1 where the visit is not allowed.
    weights : array [material]
        Priorities in their smallest common step.
    steps : (int, int)
        What one step of priority and one of nearness are worth in steps of margin.

    Notes
    -----
    A state's number is ``wait * prod(limits + 1) + made`` with the visits made as a number of
    mixed base `limits` + 1, the last material fastest; state 0 is the start: no wait, none made.
    """

    materials: tuple[str, ...]
    days: int
    limits: Integers
    waits: Integers
    visits: tuple[tuple[int, ...], ...]
    mixed: tuple[bool, ...]
    after: Integers
    weights: Integers
    steps: tuple[int, int]

    @property
    def count(self) -> int:
        """Number of states."""
        return int(self.after.shape[1])

    def visit(self, *materials: str) -> int:
        """Number of the visit with these materials; of no visit without any."""
        wanted = {self.materials.index(name) for name in materials}
        return next(n for n, members in enumerate(self.visits) if set(members) == wanted)

    def state(self, waits: npt.ArrayLike, made: npt.ArrayLike) -> int:
        """Number of the state with these waits [days] and visits made, one a material.

        Raises
        ------
        ValueError
            If no such state can be reached.
        """
        rows = np.flatnonzero((self.waits == np.asarray(waits)).all(axis=1))
        counts = np.asarray(made, dtype=np.int64)
        if not len(rows) or (counts > self.limits).any() or (counts < 0).any():
            raise ValueError(f"no state with waits {waits!r} and visits made {made!r}")
        return int(rows[0] * np.prod(self.limits + 1) + counts @ bases(self.limits))

    def made(self, state: npt.ArrayLike) -> Integers:
        """Visits made with each material in the given states, array [material, ...]."""
        counts = np.asarray(state, dtype=np.int64) % np.prod(self.limits + 1)
        return np.stack(np.unravel_index(counts, tuple(self.limits + 1)))

    def left_of_visits(self, last_day: npt.ArrayLike, days: int) -> npt.NDArray[np.int8]:
        """What a crew that sees open flowers makes of each visit, array [day, visit, calendar].

        The largest part of it that is no material past its `last_day` [material, calendar].
        """
        last = np.asarray(last_day)
        past = np.arange(days)[:, None, None] > last  # (day, material, calendar)
        none = len(self.visits) - 1
        left = np.full((days, len(self.visits), last.shape[1]), none, dtype=np.int8)
        for number, members in enumerate(self.visits):
            for part in range(none - 1, number - 1, -1):  # the largest stand first
                if set(self.visits[part]) <= set(members):
                    may = ~past[:, list(self.visits[part])].any(axis=1)
                    left[:, number] = np.where(may, part, left[:, number])
        return left

    def levels(self, values: npt.ArrayLike) -> Integers:
        """Take values apart: rounds by weight, nearness and margins in steps, [3, ...]."""
        packed = np.asarray(values, dtype=np.int64)
        rounds, rest = np.divmod(packed, self.steps[0])
        return np.stack([rounds, *np.divmod(rest, self.steps[1])])


def program_states(
    program: Program, days: int, calendars: int = 1, *, again: bool = False
) -> ProgramStates:
    """Give the states of a program over a calendar.

    Parameters
    ----------
    program : Program
        What is done in it counts toward its rounds; its gaps from what is done are the
        business of `spraywindow.program.planner.may_spray`.
    days : int
        Length of the calendar [days].
    calendars : int
        How many calendars' values are ever added up, as for a mean over winters.
    again : bool
        Whether a round may have to be made again: the gap after a material's last one counts too.

    Raises
    ------
    InputError
        If there are too many states, or too many rounds, calendars and priorities to compare
        exactly in whole numbers.

    Notes
    -----
    Rounds, nearness and margins are one 64-bit number ``(rounds * N + nearness) * M + margin``
    where M exceeds every sum of margins and N every sum of nearness over all `calendars`; so
    whole numbers compare as the three levels do, one after the other, and so do their sums.
    """
    horizon = max(days, 1)
    names = program.materials
    apart = np.array([[program.days_between(one, other) for other in names] for one in names])
    # A gap beyond the calendar is no longer than the calendar: fewer states, the same plans.
    apart = np.minimum(apart, horizon)
    most = 1 + (horizon - 1) // np.diag(apart)
    limits = np.minimum([entry.visits_owed for entry in program.entries], most).astype(np.int64)
    if not again:  # The gap after a material's only visit can bar nothing of its own.
        np.fill_diagonal(apart, np.where(limits <= 1, 1, np.diag(apart)))
    combined = prod((limits + 1).tolist())
    steps = _steps(program, limits, calendars)
    visits = _visits(program) if combined <= MOST_CELLS else ((),)
    waits, next_wait = _waits(
        apart, visits, min(MOST_WAITS, MOST_CELLS // (combined * (horizon + 1)))
    )
    if waits is None or steps is None:
        raise InputError(
            f"too large a plan: {len(names)} materials, {int(limits.sum())} visits, "
            f"{days} days, {calendars} calendars",
            where="program",
            cure="plan fewer materials at a time, fewer rounds, plainer priorities or a "
            "shorter season",
        )
    weights, rounds_step, nearness_step = steps
    made = np.stack(np.unravel_index(np.arange(combined), tuple(limits + 1)))
    after = np.full((len(visits), len(waits), combined), -1, dtype=np.int64)
    for number, members in enumerate(visits):
        more = made.copy()
        more[list(members)] += 1
        fits = (more <= limits[:, None]).all(axis=0) & _copper_fits(program, more)
        if not members:
            fits[:] = True
        rows = np.flatnonzero(next_wait[:, number] >= 0)
        after[number][np.ix_(rows, np.flatnonzero(fits))] = (
            next_wait[rows, number][:, None] * combined + (bases(limits) @ more)[fits]
        )
    return ProgramStates(
        names,
        days,
        limits,
        waits,
        visits,
        tuple(program.is_mix([names[member] for member in members]) for members in visits),
        after.reshape(len(visits), -1),
        weights,
        (rounds_step, nearness_step),
    )


def bases(limits: Integers) -> Integers:
    """What one visit more adds to the number of a state, per material."""
    return np.cumprod(np.append(limits[1:], 0)[::-1] + 1)[::-1]


def _visits(program: Program) -> tuple[tuple[int, ...], ...]:
    """Sets of materials that a day can hold, the largest first, no visit last."""
    names = program.materials
    count = range(len(names))
    held = {tuple(sorted(map(names.index, mix))) for mix in program.tank_mixes}
    held |= {(member,) for member in count}
    grown: set[tuple[int, ...]] = {(member,) for member in count}
    while grown:  # sets of which every two may share a day without a mix
        grown = {
            (*members, more)
            for members in grown
            for more in count[members[-1] + 1 :]
            if not any(program.days_between(names[more], names[member]) for member in members)
        }
        held |= grown
    return (*sorted(held, key=lambda members: (-len(members), members)), ())


def _waits(
    apart: Integers, visits: tuple[tuple[int, ...], ...], most: int
) -> tuple[Integers | None, Integers]:
    """Waits that can be reached, and the number of the next morning's after each visit."""
    start = (0,) * len(apart)
    numbers = {start: 0}
    waits, following = [start], []
    longest = [apart[list(members)].max(axis=0).tolist() if members else None for members in visits]
    for wait in waits:
        if len(waits) > most:
            return None, np.empty((0, 0), dtype=np.int64)
        row = []
        for members, gaps in zip(visits, longest, strict=True):
            if any(wait[member] for member in members):
                row.append(-1)
                continue
            held = wait if gaps is None else tuple(map(max, wait, gaps))
            morning = tuple(max(days - 1, 0) for days in held)
            if morning not in numbers:
                numbers[morning] = len(waits)
                waits.append(morning)
            row.append(numbers[morning])
        following.append(row)
    return np.array(waits, dtype=np.int64), np.array(following, dtype=np.int64)


def _copper_fits(program: Program, made: Integers) -> npt.NDArray[np.bool_]:
    """Which of the visits made [material, n] keep the maximum of metallic copper."""
    if program.metallic_copper_maximum_kg_ha is None:
        return np.ones(made.shape[1], dtype=bool)
    used = [program.metallic_copper_kg_ha(column.tolist()) for column in made.T]
    return np.array(used) <= program.copper_allowed_kg_ha + 1e-9


def _steps(program: Program, limits: Integers, calendars: int) -> tuple[Integers, int, int] | None:
    """Weights, and what one step of rounds and of nearness is worth; None beyond 64 bits."""
    hundredths = np.array([round(float(entry.priority) * 100) for entry in program.entries])
    weights = hundredths // np.gcd.reduce(hundredths)
    visits = int(limits.sum()) * calendars
    nearness_step = visits * MARGIN_STEPS + 1
    rounds_step = nearness_step * (visits * NEARNESS_STEPS + 1)
    total = (int(weights @ limits) * calendars + 1) * rounds_step
    return (weights.astype(np.int64), rounds_step, nearness_step) if total < 2**62 else None

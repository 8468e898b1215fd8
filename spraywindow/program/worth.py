"""What acting tomorrow and waiting are worth: expected effective rounds, exact.

A round is worth what it is likely to hold: its chance comes from a forecast, and beyond the
mornings that the forecast answers from what the evenings of other winters were offered. A round
that is washed off is owed again. One backwards pass over the days gives the value of every state
of the program; the difference of two values is what a decision costs.

References
----------
.. [1] Bellman, R. (1957). Dynamic Programming. Princeton University Press, chapter III.
.. [2] Puterman, M. L. (1994). Markov Decision Processes. Wiley, chapter 4: the expectation over
   what a visit comes to, and over the offers of a day not known yet.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain, combinations

import numpy as np
import numpy.typing as npt

from spraywindow.errors import InputError
from spraywindow.program.program import Program
from spraywindow.program.states import MOST_CELLS, Integers, ProgramStates, bases, program_states
from spraywindow.spray import Material

Floats = npt.NDArray[np.float64]

RAINED_ON = 0.3
"""What a round that it rains on in the wanted dry hours is still worth, in rounds; P."""
NEARNESS_WEIGHT = 0.1
"""What a round at the stage that it is meant for is worth beside one far from it, in rounds; P."""
EQUAL = 1e-9
"""Values closer than this are equal."""


@dataclass(frozen=True, eq=False)
class Terms:
    """What the value counts.

    Attributes
    ----------
    priority : array [material]
        What a round counts beside those of the others.
    rained_on : array [material]
        What a round that did not hold is still worth, of one that did; 0 to 1.
    owed_again : array [material]
        Share of the rounds that did not hold which are washed off within the label's minimum:
        worth nothing, and owed again. 0 to 1.
    nearness : float
        What a round made at its stage counts more than one far from it.
    visit : float
        What a visit costs, in rounds.
    served : float
        Share of the mornings after the first on which the crew is free to come; 1 for a crew
        that serves nobody else.
    """

    priority: Floats
    rained_on: Floats
    owed_again: Floats
    nearness: float = NEARNESS_WEIGHT
    visit: float = 0.0
    served: float = 1.0

    @classmethod
    def of(
        cls,
        program: Program,
        *,
        rained_on: npt.ArrayLike = RAINED_ON,
        owed_again: npt.ArrayLike = 0.0,
        nearness: float = NEARNESS_WEIGHT,
        visit: float = 0.0,
    ) -> Terms:
        """Terms of a program's priorities; shares of one number are those of every material."""
        priority = np.array([float(entry.priority) for entry in program.entries])
        shares = []
        for name, value in (("rained_on", rained_on), ("owed_again", owed_again)):
            each = np.broadcast_to(np.asarray(value, dtype=float), priority.shape)
            if not ((each >= 0) & (each <= 1)).all():
                raise InputError(f"{name} out of range", expected="0 to 1", got=each.tolist())
            shares.append(each)
        return cls(priority, shares[0], shares[1], nearness, visit)

    @classmethod
    def usual(
        cls, program: Program, materials: Sequence[Material], *, served: float = 1.0
    ) -> Terms:
        """Terms of a program with these materials, in its order.

        Of the rounds that do not hold, as many are washed off as the hours until the material is
        rainfast are of the dry hours that it wants (common practice, no source: rain as likely in
        each of them).
        """
        shares = [
            min(each.rainfast.hours / each.dry_spell_h, 1.0) if each.dry_spell_h else 1.0
            for each in materials
        ]
        terms = cls.of(program, owed_again=shares, visit=program.visit_worth)
        return replace(terms, served=served)


@dataclass(frozen=True, eq=False)
class Outcome:
    """One way a visit may come out.

    Attributes
    ----------
    lost : tuple of int
        Materials of the visit that are washed off and owed again.
    after : int array [state]
        State on the next morning; -1 where the visit is not allowed.
    """

    lost: tuple[int, ...]
    after: Integers


@dataclass(frozen=True, eq=False)
class Moves:
    """The states of a program and where visits lead, those that are lost as well.

    Attributes
    ----------
    states : ProgramStates
    spare : int array [material]
        Rounds that may be lost before one of those owed can no longer be made within the season's
        maxima; 0 as well where no maximum binds, since nothing need be counted then.
    count : int
        Number of states: those of `states`, each with how many spare rounds were lost; 0 is the
        start.
    rest : int array [state]
        State on the morning after no visit.
    outcomes : tuple of tuple of Outcome
        One row a visit of `states.visits` but the last, which is none; the first outcome loses
        nothing.
    """

    states: ProgramStates
    spare: Integers
    count: int
    rest: Integers
    outcomes: tuple[tuple[Outcome, ...], ...]

    def plain(self, state: npt.ArrayLike) -> Integers:
        """The states of `states` behind the given ones."""
        return np.asarray(state, dtype=np.int64) // int(np.prod(self.spare + 1))

    def state(self, plain: npt.ArrayLike) -> Integers:
        """The states in which nothing was lost yet, from those of `states`."""
        return np.asarray(plain, dtype=np.int64) * int(np.prod(self.spare + 1))

    def after(self, visit: Integers, state: Integers, lost: npt.NDArray[np.bool_]) -> Integers:
        """Where visits lead when so much of them is lost; arrays [...], lost [material, ...]."""
        out = self.rest[state]
        for number, outcomes in enumerate(self.outcomes):
            for outcome in outcomes:
                members = [m for m in outcomes[-1].lost]
                same = visit == number
                for member in members:
                    same = same & (lost[member] == (member in outcome.lost))
                out = np.where(same, outcome.after[state], out)
        return out


def program_moves(program: Program, days: int, terms: Terms) -> Moves:
    """Give the states of a program over so many days, and where visits lead, lost ones too.

    A lost round leaves its material owed, while its wait and the season's maxima count all the
    same.

    Raises
    ------
    InputError
        If there are too many states.

    Notes
    -----
    Where a maximum binds, the rounds that may still be lost are counted, up to the last that can
    be made again; a round lost after that is one round less. That is exact for each material's
    own maxima and for a maximum of metallic copper that one material uses. Where several share
    it, no round lost is made again.
    """
    states = program_states(program, days, again=bool((terms.owed_again > 0).any()))
    unlimited = 1 + (max(days, 1) - 1) // np.array([entry.least_days for entry in program.entries])
    room = np.where(terms.owed_again > 0, _spare(program), np.inf)
    counted = room < unlimited
    spare = np.where(counted, room, 0).astype(np.int64)
    lots = int(np.prod(spare + 1))
    if states.count * lots * (days + 1) > MOST_CELLS:
        raise InputError(
            f"too large a plan: {states.count} states, {lots} ways to lose a round",
            where="program",
            cure="plan fewer materials at a time, or a shorter season",
        )
    gone = np.stack(np.unravel_index(np.arange(lots), tuple(spare + 1)))  # (material, lot)
    each, each_gone = bases(states.limits), bases(spare)
    rows = []
    for members, after in zip(states.visits[:-1], states.after[:-1], strict=True):
        may_fail = [member for member in members if terms.owed_again[member] > 0]
        row = []
        for lost in _subsets(may_fail):
            plain, lot = np.repeat(after[:, None], lots, axis=1), np.arange(lots)
            for member in lost:
                again = gone[member] < spare[member] if counted[member] else np.ones(lots, bool)
                plain = plain - np.where(again, each[member], 0)
                lot = lot + np.where(again & counted[member], each_gone[member], 0)
            row.append(Outcome(lost, np.where(after[:, None] >= 0, plain * lots + lot, -1).ravel()))
        rows.append(tuple(row))
    rest = (states.after[-1][:, None] * lots + np.arange(lots)).ravel()
    return Moves(states, spare, len(rest), rest, tuple(rows))


def _spare(program: Program) -> Floats:
    """Rounds that the maxima leave beyond those owed, whole numbers; inf without a maximum."""
    entries = program.entries
    out = np.array([entry.rounds_to_spare for entry in entries])
    if program.metallic_copper_maximum_kg_ha is not None:
        owed = program.metallic_copper_kg_ha([entry.visits_owed for entry in entries])
        left = program.copper_allowed_kg_ha + 1e-9 - owed
        users = [n for n, entry in enumerate(entries) if entry.metallic_copper_per_round_kg_ha]
        for number in users:
            rounds = left // entries[number].metallic_copper_per_round_kg_ha
            out[number] = min(out[number], max(rounds, 0) if len(users) == 1 else 0)
    return out


def _subsets(members: list[int]) -> Iterator[tuple[int, ...]]:
    """All subsets, the empty one first and the whole last."""
    return chain.from_iterable(combinations(members, size) for size in range(len(members) + 1))


@dataclass(frozen=True, eq=False)
class Stakes:
    """What a visit is worth by itself, and how likely each of its outcomes is.

    Attributes
    ----------
    gain : array [day, ...]
        In rounds; -inf where a material of the visit has no chance.
    chance : array [outcome, day, ...]
        They add up to 1.
    """

    gain: Floats
    chance: Floats


def visit_stakes(
    chances: npt.ArrayLike, moves: Moves, terms: Terms, nearness: npt.ArrayLike | None = None
) -> list[Stakes]:
    """Give what each visit is worth on each day, one a visit but the last, which is none.

    Parameters
    ----------
    chances : array [day, material, ...]
        Chance [0-1] that a round made on that day holds; NaN where none may be made.
    nearness : array, optional
        How near each day is to where a material's rounds belong, 0 to 1, of a shape that spreads
        to that of the chances; NaN is 0.

    Raises
    ------
    InputError
        If a chance or a nearness is not within 0 and 1.

    Notes
    -----
    A round of a material of priority u that holds with chance P is worth
    ``u (P + (1 - P)(1 - f) r) + w nearness (1 - (1 - P) f)`` and is owed again with
    ``(1 - P) f``, where f is the share washed off within the label's minimum, r what a round that
    it merely rains on is worth. Materials of one visit meet one weather: what the likelier to be
    lost survives, the other survives too.
    """
    told = np.asarray(chances, dtype=float)
    near = np.nan_to_num(np.broadcast_to(0.0 if nearness is None else nearness, told.shape))
    for name, values in (("chance", told), ("nearness", near)):
        wrong = values[(values < 0) | (values > 1 + EQUAL)]
        if wrong.size:
            raise InputError(f"{name} out of range", expected="0 to 1", got=float(wrong.flat[0]))
    column = (-1, *[1] * (told.ndim - 2))
    worth, again, kept = (
        part.reshape(column) for part in (terms.priority, terms.owed_again, terms.rained_on)
    )
    lost = (1.0 - told) * again
    each = worth * (told + (1.0 - told - lost) * kept) + terms.nearness * near * (1.0 - lost)
    out = []
    for members, outcomes in zip(moves.states.visits, moves.outcomes, strict=False):
        gain = each[:, list(members)].sum(axis=1) - terms.visit
        may_fail = outcomes[-1].lost
        chance = []
        for outcome in outcomes:
            kept_on = [member for member in may_fail if member not in outcome.lost]
            least = lost[:, list(outcome.lost)].min(axis=1, initial=1.0)
            most = lost[:, kept_on].max(axis=1, initial=0.0)
            chance.append(np.maximum(least - most, 0.0))
        out.append(Stakes(np.where(np.isnan(gain), -np.inf, gain), np.nan_to_num(np.stack(chance))))
    return out


def climate_value(
    offers: npt.ArrayLike,
    moves: Moves,
    terms: Terms,
    nearness: npt.ArrayLike | None = None,
    *,
    leave_each_out: bool = False,
) -> Floats:
    """Give what is still to be expected of each state on every morning, by past winters.

    Parameters
    ----------
    offers : array [day, material, winter]
        Chance that a round on that day holds, as the evening before it saw it; NaN where it had
        none to offer, or the material was past its last day.
    nearness : array [day, material, winter], optional
        As in `visit_stakes`.
    leave_each_out : bool
        Give it for each winter, by all the others.

    Returns
    -------
    array [day + 1, state], or [day + 1, state, winter]
        Expected effective rounds; the last row, and everything without a winter, is 0.

    Notes
    -----
    ``V_d(s) = mean over the winters of max over visits a of (gain_d(a) + E V_d+1(s after a))``:
    each evening offers what one of the winters offered on its day, and is known before it is
    answered. Where the crew is not free, nothing is done.
    """
    told = np.asarray(offers, dtype=float)
    days, _, winters = told.shape
    columns = winters if leave_each_out else 1
    of = max(winters - leave_each_out, 1)
    if (days + 1) * moves.count * columns > MOST_CELLS:
        raise InputError(
            f"too large: {days} days, {moves.count} states, {columns} winters",
            where="program",
            cure="plan fewer materials at a time, or a shorter season",
        )
    stakes = visit_stakes(told, moves, terms, nearness)
    values = np.zeros((days + 1, moves.count, columns))
    steps = _steps(moves)
    own = np.arange(columns)
    for day in range(days - 1, -1, -1):
        later, here = values[day + 1], values[day]
        np.take(later, moves.rest, axis=0, out=here, mode="clip")
        offered = np.flatnonzero(np.isfinite([each.gain[day] for each in stakes]).any(axis=0))
        if not len(offered):
            continue
        # what the offers add to staying at home, [state, column, winter that offers]
        more = np.zeros((moves.count, columns, len(offered)))
        for each, (before, afters) in zip(stakes, steps, strict=True):
            gain = each.gain[day, offered]
            if not (gain > -np.inf).any():
                continue
            act = _expected(later, afters, each.chance[:, day, offered])
            act += gain
            act -= here[before, :, None]
            more[before] = np.maximum(more[before], act)
        if leave_each_out:
            more[:, own[offered], np.arange(len(offered))] = 0.0
        here += terms.served * more.sum(axis=2) / of
    return values if leave_each_out else values[..., 0]


_Steps = list[tuple[Integers, list[Integers]]]


def _steps(moves: Moves) -> _Steps:
    """States before each visit, and after each of its outcomes."""
    out = []
    for outcomes in moves.outcomes:
        before = np.flatnonzero(outcomes[0].after >= 0)
        out.append((before, [outcome.after[before] for outcome in outcomes]))
    return out


def _expected(later: Floats, afters: list[Integers], chance: Floats) -> Floats:
    """Value expected after a visit, [state, column, offer], from `later` [state, column].

    `chance` is [outcome, offer].
    """
    if len(afters) == 1:
        return np.repeat(later[afters[0], :, None], chance.shape[1], axis=2)
    out = np.asarray(later[afters[0], :, None] * chance[0])
    for after, part in zip(afters[1:], chance[1:], strict=True):
        out += later[after, :, None] * part
    return out


@dataclass(frozen=True, eq=False)
class Worth:
    """What an evening's decisions are worth, in expected effective rounds.

    Attributes
    ----------
    values : array [morning + 1, state, calendar]
        Best that can be expected from each state on each of the known mornings, and beyond them.
    stakes : list of Stakes
        Of the known mornings, [morning, calendar].
    """

    moves: Moves
    values: Floats
    stakes: list[Stakes]

    def of_visits(self, morning: int, state: npt.ArrayLike) -> Floats:
        """Worth of each visit on a morning, array [visit, ...]; -inf where it is barred.

        `state` holds states [..., calendar], or [..., 1] for the same in every calendar. The last
        visit is none: what waiting is worth.
        """
        at = np.asarray(state)
        calendar = np.arange(self.values.shape[2])
        later = self.values[morning + 1]
        rows = []
        for each, outcomes in zip(self.stakes, self.moves.outcomes, strict=True):
            value = each.gain[morning] + sum(
                part * later[outcome.after[at], calendar]
                for outcome, part in zip(outcomes, each.chance[:, morning], strict=True)
            )
            rows.append(np.where(outcomes[0].after[at] >= 0, value, -np.inf))
        return np.stack([*rows, later[self.moves.rest[at], calendar]])

    def chosen(self) -> Integers:
        """The best visit of the first morning in every state, array [state, calendar]."""
        return best_of(self.of_visits(0, np.arange(self.moves.count)[:, None]))

    def expected(self, morning: int, visit: Integers, later: Floats) -> Floats:
        """What some value of the next morning's states is expected to be after visits.

        `visit` and `later` are [state, calendar], and so is what is given.
        """
        states, calendar = np.arange(self.moves.count), np.arange(later.shape[1])
        out = later[self.moves.rest]
        for number, (each, outcomes) in enumerate(
            zip(self.stakes, self.moves.outcomes, strict=True)
        ):
            value = sum(
                part * later[outcome.after[states][:, None], calendar]
                for outcome, part in zip(outcomes, each.chance[:, morning], strict=True)
            )
            out = np.where(visit == number, value, out)
        return out

    def aims(self, state: npt.ArrayLike) -> tuple[Integers, Integers]:
        """What waiting aims at: the next known morning with a visit, and that visit.

        Two arrays [calendar]; a morning of -1, and no visit, where that is beyond those known.
        """
        none = len(self.moves.outcomes)
        at = self.moves.rest[np.asarray(state)]
        morning = np.full(len(at), -1)
        visit = np.full(len(at), none)
        for number in range(1, len(self.values) - 1):
            chosen = best_of(self.of_visits(number, at))
            found = (morning < 0) & (chosen < none)
            morning, visit = np.where(found, number, morning), np.where(found, chosen, visit)
            at = self.moves.rest[at]
        return morning, visit


def best_of(worth: Floats) -> Integers:
    """The best visit along the first axis; of equal ones the larger, the earlier, then none."""
    return np.asarray((worth >= worth.max(axis=0) - EQUAL).argmax(axis=0))


def worth(
    known: npt.ArrayLike,
    beyond: npt.ArrayLike,
    moves: Moves,
    terms: Terms,
    nearness: npt.ArrayLike | None = None,
) -> Worth:
    """Give what acting on the first of the known mornings is worth, and waiting.

    Parameters
    ----------
    known : array [morning, material, calendar]
        Chance that a round on each of the mornings holds, tomorrow first; NaN where none may be
        made.
    beyond : array [state, calendar]
        What each state is worth on the morning after the last known one: rows of `climate_value`.
    nearness : array [morning, material, calendar], optional
        As in `visit_stakes`.

    Notes
    -----
    ``V_k(s) = max over visits a of (gain_k(a) + E V_k+1(s after a))``; after the first morning
    only where the crew is free.
    """
    told = np.asarray(known, dtype=float)
    stakes = visit_stakes(told, moves, terms, nearness)
    values = np.empty((len(told) + 1, moves.count, told.shape[2]))
    values[-1] = beyond
    steps = _steps(moves)
    for morning in range(len(told) - 1, -1, -1):
        later, here = values[morning + 1], values[morning]
        np.take(later, moves.rest, axis=0, out=here, mode="clip")
        none = here.copy() if morning and terms.served < 1 else None
        for each, (before, afters) in zip(stakes, steps, strict=True):
            gain = each.gain[morning]
            if not (gain > -np.inf).any():
                continue
            act = gain + sum(
                later[after] * part
                for after, part in zip(afters, each.chance[:, morning], strict=True)
            )
            here[before] = np.maximum(here[before], act)
        if none is not None:
            here[:] = none + terms.served * (here - none)
    return Worth(moves, values, stakes)

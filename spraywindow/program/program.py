"""The spray program of one winter: rounds, gaps, maxima, and what is done already.

A gap is the difference of two local dates: rounds 5 days apart fall on the 1st and the 6th.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations, product
from typing import Any

import numpy as np
import numpy.typing as npt

from spraywindow.errors import InputError, describe, one_line
from spraywindow.program.entry import LONGEST_GAP_D, MaterialRounds, whole


def visits_allowed(program: Program) -> tuple[int, ...]:
    """Visits still to make with each material within all maxima: the most, by priority.

    Of equal ways to share the metallic copper out, the one that serves earlier materials first.
    """
    owed = [entry.visits_owed for entry in program.entries]
    if copper_fits(program, owed):
        return tuple(owed)
    weights = priorities(program)
    copper = [bool(entry.metallic_copper_per_round_kg_ha) for entry in program.entries]
    *some, last = np.flatnonzero(copper).tolist()
    best = [0 if holds else visits for visits, holds in zip(owed, copper, strict=True)]
    best_worth = -1
    for counts in product(*(range(owed[number], -1, -1) for number in some)):
        visits = list(owed)
        for number, count in zip(some, counts, strict=True):
            visits[number] = count
        while visits[last] and not copper_fits(program, visits):
            visits[last] -= 1
        worth = int(weights @ visits)
        if worth > best_worth and copper_fits(program, visits):
            best, best_worth = visits, worth
    return tuple(best)


def all_made(program: Program, visits: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Tell whether visits made [material, ...] are the most that the maxima allow, by priority."""
    weights = priorities(program)
    made = np.tensordot(weights, np.asarray(visits), axes=1)
    return np.asarray(made >= weights @ np.array(program.visits_allowed))


def copper_fits(program: Program, visits: list[int]) -> bool:
    """Tell whether further visits, one number a material, keep the maximum of metallic copper."""
    return program.metallic_copper_kg_ha(visits) <= program.copper_allowed_kg_ha + 1e-9


def beyond_maxima(program: Program) -> tuple[str, ...]:
    """What is done beyond the maxima of a season, a sentence each."""
    lines = []
    for entry in program.entries:
        most, used = entry.season_maximum, entry.rounds_sprayed * (entry.product_per_round or 0.0)
        if most is not None and entry.rounds_sprayed > most:
            lines.append(
                f"{entry.material}: {entry.rounds_sprayed:g} rounds are recorded, over the season "
                f"maximum of {most}"
            )
        if entry.product_maximum is not None and used > entry.product_maximum * (1 + 1e-9):
            lines.append(
                f"{entry.material}: {used:g} of product is recorded, over the season maximum of "
                f"{entry.product_maximum:g}"
            )
    copper, most_copper = program.metallic_copper_kg_ha(), program.metallic_copper_maximum_kg_ha
    if most_copper is not None and copper > most_copper + 1e-9:
        lines.append(
            f"metallic copper: {copper:.3g} kg/ha is recorded, over the season maximum of "
            f"{most_copper:g} kg/ha"
        )
    return tuple(lines)


def priorities(program: Program) -> npt.NDArray[np.int64]:
    """Priorities in hundredths, one a material."""
    return np.array([round(entry.priority * 100) for entry in program.entries], dtype=np.int64)


Done = Mapping[str, Iterable[date]]
PartlyDone = Mapping[str, Iterable[tuple[date, float]]]


@dataclass(frozen=True)
class Program:
    """The rounds wanted in one winter.

    Parameters
    ----------
    entries : sequence of MaterialRounds
        One a material.
    between : int
        Least difference of dates between rounds of two different materials [days], 0 to 366;
        0 lets two materials share a day as two passes, each with its own margin.
    tank_mixes : sequence of sequences of str
        Materials that may go out in one tank: one visit then counts for each of them.
    apart : sequence of (str, str, int)
        Other least days between two named materials, both ways: ("oil", "lime sulfur", 30).
    metallic_copper_maximum_kg_ha : float, optional
        Most metallic copper in the season, all materials together [kg/ha].
    visit_worth : float
        What a visit costs, in rounds that hold.

    Raises
    ------
    InputError
        If a value cannot be used; all problems at once.
    """

    entries: tuple[MaterialRounds, ...]
    between: int = 1
    tank_mixes: tuple[tuple[str, ...], ...] = ()
    apart: tuple[tuple[str, str, int], ...] = ()
    metallic_copper_maximum_kg_ha: float | None = None
    visit_worth: float = 0.0

    def __post_init__(self) -> None:
        for name in ("entries", "tank_mixes", "apart"):
            rows = getattr(self, name)
            if not isinstance(rows, list | tuple):
                raise InputError(f"{name} is no list", where="program", got=rows)
            frozen = tuple(tuple(row) if isinstance(row, list) else row for row in rows)
            object.__setattr__(self, name, frozen)
        problems = self._problems()
        if problems:
            raise InputError(one_line(problems))

    @classmethod
    def of(
        cls,
        *,
        between: int = 1,
        tank_mixes: Iterable[Iterable[str]] = (),
        apart: Iterable[tuple[str, str, int]] = (),
        **rounds: tuple[int, int],
    ) -> Program:
        """Give a program in short: rounds and least days between them, per material.

        Examples
        --------
        >>> Program.of(oil=(3, 5), copper=(5, 5), between=2).materials
        ('oil', 'copper')
        """
        entries, problems = [], []
        for material, pair in rounds.items():
            try:
                wanted, least_days = pair
            except (TypeError, ValueError):
                problems.append(
                    describe(
                        "not a pair",
                        where=f"program, {material}",
                        expected="(rounds, least days between them)",
                        got=pair,
                    )
                )
                continue
            try:
                entries.append(MaterialRounds(material, wanted, least_days))
            except InputError as error:
                problems.append(str(error))
        if problems:
            raise InputError(one_line(problems))
        return cls(tuple(entries), between, tuple(map(tuple, tank_mixes)), tuple(apart))

    @property
    def materials(self) -> tuple[str, ...]:
        """Names of the materials, in the program's order."""
        return tuple(entry.material for entry in self.entries)

    def days_between(self, one: str, other: str) -> int:
        """Least difference of dates between rounds of two materials, or of one [days]."""
        if one == other:
            return next(entry.least_days for entry in self.entries if entry.material == one)
        for first, second, days in self.apart:
            if {first, second} == {one, other}:
                return days
        return self.between

    def is_mix(self, materials: Iterable[str]) -> bool:
        """Tell whether just these materials are a tank mix."""
        return set(materials) in [set(mix) for mix in self.tank_mixes]

    def metallic_copper_kg_ha(self, visits: Iterable[int] = ()) -> float:
        """Metallic copper of what is done and of further visits, one number a material."""
        return math.fsum(
            entry.metallic_copper_per_round_kg_ha * (entry.rounds_sprayed + entry.rounds_in(more))
            for entry, more in zip(self.entries, visits or (0,) * len(self.entries), strict=True)
        )

    @property
    def copper_allowed_kg_ha(self) -> float:
        """Most metallic copper of the season; what is done where that is more: then no more."""
        most = self.metallic_copper_maximum_kg_ha
        return math.inf if most is None else max(most, self.metallic_copper_kg_ha())

    @property
    def beyond_maxima(self) -> tuple[str, ...]:
        """What is done beyond the season's maxima, a sentence each."""
        return beyond_maxima(self)

    @property
    def visits_allowed(self) -> tuple[int, ...]:
        """Visits still to make with each material: what is owed, within all maxima."""
        return visits_allowed(self)

    def not_begun(self) -> Program:
        """Give the program with nothing done yet."""
        entries = tuple(
            replace(entry, done=(), partly_done=(), failed=()) for entry in self.entries
        )
        return replace(self, entries=entries)

    def with_rounds(self, material: str, rounds: int) -> Program:
        """Give the program with so many rounds of a material, what is done among them."""
        entries = tuple(
            replace(entry, rounds=rounds) if entry.material == material else entry
            for entry in self.entries
        )
        return replace(self, entries=entries)

    def done_within(self, first: date, last: date = date.max) -> Program:
        """Give the program with only what was done from one local day to another."""
        entries = tuple(
            replace(
                entry,
                done=tuple(day for day in entry.done if first <= day <= last),
                partly_done=tuple(row for row in entry.partly_done if first <= row[0] <= last),
                failed=tuple(row for row in entry.failed if first <= row[0] <= last),
            )
            for entry in self.entries
        )
        return replace(self, entries=entries)

    def with_done(
        self, done: Done, partly_done: PartlyDone | None = None, failed: PartlyDone | None = None
    ) -> Program:
        """Give the program with what the application record says is done; a day in both once."""
        partly, lost = partly_done or {}, failed or {}
        unknown = [name for name in {**done, **partly, **lost} if name not in self.materials]
        if unknown:
            raise InputError(self._unknown("material in what is done", unknown))
        entries = tuple(
            replace(
                entry,
                done=tuple({*entry.done, *done.get(entry.material, ())}),
                partly_done=tuple({*entry.partly_done, *partly.get(entry.material, ())}),
                failed=tuple({*entry.failed, *lost.get(entry.material, ())}),
            )
            for entry in self.entries
        )
        return replace(self, entries=entries)

    def notes(self) -> tuple[str, ...]:
        """Say what a grower should know of the program: too many rounds, gaps broken, maxima."""
        notes = []
        for entry in self.entries:
            name, owed = entry.material, math.ceil(entry.rounds_owed)
            done, lost = round(entry.rounds_done, 2), round(entry.rounds_failed, 2)
            if entry.rounds_done > entry.rounds:
                notes.append(f"{name}: {done:g} rounds done, {entry.rounds} asked for")
            if entry.rounds_failed:
                days = ", ".join(str(day) for day, _ in entry.failed)
                notes.append(
                    f"{name}: what went out on {days} failed, {lost:g} of a round is owed again"
                )
            if entry.visits_owed < owed:
                notes.append(f"{name}: the label's maxima leave {entry.visits_owed} of {owed} owed")
            notes += [
                f"{name}: only {(after - day).days} days between {day} and {after}, "
                f"{entry.least_days} asked for"
                for day, after in entry.short_gaps
            ]
        notes += [
            f"{entry.material}: the maximum of metallic copper, "
            f"{self.metallic_copper_maximum_kg_ha:g} kg/ha, leaves {allowed} of "
            f"{entry.visits_owed} owed"
            for entry, allowed in zip(self.entries, self.visits_allowed, strict=True)
            if allowed < entry.visits_owed
        ]
        return tuple(notes)

    def _unknown(self, what: str, got: Any) -> str:
        known = ", ".join(self.materials)
        return describe(f"unknown {what}", where="program", expected=f"of {known}", got=got)

    def _problems(self) -> list[str]:
        """Everything that contradicts itself across the entries."""
        if not self.entries:
            return [describe("a program without materials", where="program")]
        strangers = [entry for entry in self.entries if not isinstance(entry, MaterialRounds)]
        if strangers:
            return [describe("not an entry", where="program", expected="Entry", got=strangers[0])]
        problems = [
            describe("a material stands twice", where="program", got=name)
            for name in dict.fromkeys(self.materials)
            if self.materials.count(name) > 1
        ]
        days_range = f"whole days, 0 to {LONGEST_GAP_D}"
        if not whole(self.between, 0, LONGEST_GAP_D):
            problems.append(
                describe(
                    "between out of range", where="program", expected=days_range, got=self.between
                )
            )
        for mix in self.tank_mixes:
            if isinstance(mix, str) or len(mix) < 2 or len(set(mix)) < len(mix):
                problems.append(
                    describe(
                        "a tank mix names two or more different materials", where="program", got=mix
                    )
                )
            elif not set(mix) <= set(self.materials):
                problems.append(self._unknown("material in a tank mix", mix))
        pairs: list[frozenset[str]] = []
        for row in self.apart:
            if isinstance(row, str) or len(row) != 3 or not whole(row[2], 0, LONGEST_GAP_D):
                expected = f'("one", "other", {days_range})'
                problems.append(describe("apart", where="program", expected=expected, got=row))
            elif row[0] == row[1] or not {row[0], row[1]} <= set(self.materials):
                problems.append(self._unknown("pair of materials in apart", row))
            else:
                pairs.append(frozenset(row[:2]))
        if any(one == other for one, other in combinations(pairs, 2)):
            problems.append(describe("a pair stands twice in apart", where="program"))
        most = self.metallic_copper_maximum_kg_ha
        if most is not None and not (isinstance(most, int | float) and 0 < most < math.inf):
            problems.append(
                describe(
                    "metallic_copper_maximum_kg_ha", where="program", expected="above 0", got=most
                )
            )
        trip = self.visit_worth
        if not (isinstance(trip, int | float) and 0 <= trip < math.inf):
            problems.append(
                describe("visit_worth", where="program", expected="0 or more", got=trip)
            )
        return problems

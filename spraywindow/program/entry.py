"""One material of a spray program: how many rounds, how far apart, how much is left to do."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from typing import cast

import numpy as np

from spraywindow.errors import InputError, describe, one_line

LONGEST_GAP_D = 366
MOST_ROUNDS = 99
_EXACT = 6  # decimals to which shares of a round are kept, so that 0.1 + 0.2 + 0.7 is a round


@dataclass(frozen=True)
class MaterialRounds:
    """One material of a program.

    Parameters
    ----------
    material : str
        Any name; "lime sulfur" too.
    rounds : int
        Rounds wanted in the season, those done included; 1 to 99.
    least_days : int
        Least difference of dates between two rounds of this material [days], 1 to 366.
    priority : float
        What a round of this material counts beside the others, 0.01 to 100, in hundredths.
    target : tuple of str or date, optional
        Where the rounds belong: stages or local days; None: anywhere in the season.
    last_stage : int, optional
        Last BBCH stage at which the material may be sprayed, 0 to 99.
    season_maximum : int, optional
        Most rounds that the label allows in a season.
    product_per_round, product_maximum : float, optional
        Product used by one round and allowed in a season, both in one unit of the user's.
    metallic_copper_per_round_kg_ha : float
        Metallic copper in one round [kg/ha]; its maximum belongs to the whole `Program`.
    done : tuple of date
        Local days of the rounds done.
    partly_done : tuple of (date, float)
        Local days and shares (between 0 and 1) of rounds that were begun and not finished: the
        rest is still owed, and being other trees keeps no gap to the part that is done.
    failed : tuple of (date, float)
        Local days and shares (above 0, up to 1) of what went out on them and did not hold. It is
        owed again; the product counts in the maxima and the day keeps its gap all the same.
    barred : tuple of (date, date)
        First and last local day of spans in which sprays outside the program bar it.

    Raises
    ------
    InputError
        If a value cannot be used; all problems of the entry at once.
    """

    material: str
    rounds: int
    least_days: int
    priority: float = 1.0
    target: tuple[str | date, ...] | None = None
    last_stage: int | None = None
    season_maximum: int | None = None
    product_per_round: float | None = None
    product_maximum: float | None = None
    metallic_copper_per_round_kg_ha: float = 0.0
    done: tuple[date, ...] = ()
    partly_done: tuple[tuple[date, float], ...] = ()
    failed: tuple[tuple[date, float], ...] = ()
    barred: tuple[tuple[date, date], ...] = ()

    def __post_init__(self) -> None:
        problems: list[tuple[str, str, object]] = [
            (f"{name} out of range", expected, getattr(self, name))
            for name, (fits, expected) in _FIELDS.items()
            if not fits(getattr(self, name))
        ]
        if self.product_maximum is not None and self.product_per_round is None:
            problems.append(("product_maximum without product_per_round", "both or none", None))
        if not problems:
            self._freeze()
            problems = [
                ("a day stands twice in done", "", str(day))
                for day, following in pairwise(self.done)
                if day == following
            ]
        if problems:
            where = f"program, {self.material}"
            raise InputError(
                one_line(
                    [
                        describe(what, where=where, expected=expected, got=got)
                        for what, expected, got in problems
                    ]
                )
            )

    @property
    def days_done(self) -> tuple[date, ...]:
        """Local days of every visit made with this material, finished or not, in order."""
        return tuple(sorted({*self.done, *(day for day, _ in self.partly_done)}))

    @property
    def days_unfinished(self) -> tuple[date, ...]:
        """Local days of the parts of a round that is still to be finished."""
        return self._walk()[0]

    @property
    def short_gaps(self) -> tuple[tuple[date, date], ...]:
        """Days of two rounds done, one after the other, that lie closer than the least days."""
        return tuple((a, b) for a, b in self._walk()[1] if (b - a).days < self.least_days)

    def days_holding(self, material: str) -> tuple[date, ...]:
        """Local days to which the next visit with a material keeps its gap.

        What failed is sprayed again on the same trees, so that its day is among them.
        """
        own = self.days_unfinished if material == self.material else ()
        kept = {day for day, _ in self.failed}
        return tuple(day for day in self.days_done if day not in own or day in kept)

    @property
    def rounds_sprayed(self) -> float:
        """Rounds whose product went out, shares included: what the maxima count."""
        return round(len(self.done) + math.fsum(share for _, share in self.partly_done), _EXACT)

    @property
    def rounds_failed(self) -> float:
        """Rounds of those sprayed that did not hold."""
        return round(math.fsum(share - held for _, share, held in self.visits), _EXACT)

    @property
    def rounds_done(self) -> float:
        """Rounds done that held, shares of unfinished ones included."""
        return round(self.rounds_sprayed - self.rounds_failed, _EXACT)

    @property
    def rounds_owed(self) -> float:
        """Rounds wanted and not done, shares included; never negative."""
        return max(0.0, round(self.rounds - self.rounds_done, _EXACT))

    @property
    def visits_owed(self) -> int:
        """Visits still to make: what is owed, within the label's maxima; 0 beyond them."""
        visits = math.ceil(self.rounds_owed)
        while visits and self.rounds_in(visits) > self._room:
            visits -= 1
        return visits

    @property
    def rounds_to_spare(self) -> float:
        """Whole rounds that the label's maxima leave beyond those owed; inf without a maximum."""
        left = self._room - self.rounds_in(self.visits_owed)
        return math.inf if math.isinf(left) else float(max(0, math.floor(left)))

    @property
    def _room(self) -> float:
        """Rounds that the label's maxima leave."""
        maxima = [math.inf if self.season_maximum is None else float(self.season_maximum)]
        if self.product_maximum is not None and self.product_per_round is not None:
            maxima.append(self.product_maximum / self.product_per_round)
        return float(min(maxima) - self.rounds_sprayed + 10**-_EXACT)

    def rounds_in(self, visits: int) -> float:
        """Rounds that so many further visits make up: the first finishes a round begun."""
        rest = round(math.ceil(self.rounds_done) - self.rounds_done, _EXACT) or 1.0
        return rest + visits - 1 if visits else 0.0

    def _walk(self) -> tuple[tuple[date, ...], list[tuple[date, date]]]:
        """Go through the visits made: the parts of an open round, and the gaps that were due."""
        parts: tuple[date, ...] = ()
        gaps, share_open, before, failed = [], 0.0, None, False
        for day, share, held in self.visits:
            if before is not None and (share == 1.0 or share_open == 0.0 or failed):
                gaps.append((before, day))
            before, failed = day, held < share
            if held:
                total = 1.0 if held == 1.0 else round(share_open + held, _EXACT)
                parts = (*parts, day) if total < 1.0 else ()
                share_open = round(total % 1.0, _EXACT)
        return parts, gaps

    @property
    def visits(self) -> list[tuple[date, float, float]]:
        """Local day of every visit, its share of a round, and what of that held."""
        failed = dict(self.failed)
        return [
            (day, share, max(0.0, round(share - failed.get(day, 0.0), _EXACT)))
            for day, share in sorted([*((day, 1.0) for day in self.done), *self.partly_done])
        ]

    def _freeze(self) -> None:
        """Sort what is done and make every sequence a tuple, so that equal entries are equal."""
        partly = sorted((_local_day(day), float(share)) for day, share in self.partly_done)
        object.__setattr__(self, "done", tuple(sorted(map(_local_day, self.done))))
        object.__setattr__(self, "partly_done", tuple(partly))
        failed = sorted((_local_day(day), float(share)) for day, share in self.failed)
        object.__setattr__(self, "failed", tuple(failed))
        object.__setattr__(self, "barred", tuple(tuple(map(_local_day, s)) for s in self.barred))
        if self.target is not None:
            object.__setattr__(self, "target", tuple(self.target))


def whole(value: object, low: int, high: float = math.inf) -> bool:
    """Tell whether a value is a whole number within its range."""
    is_whole = isinstance(value, int | np.integer) and not isinstance(value, bool)
    return is_whole and low <= int(cast(int, value)) <= high


def _number(value: object, above: float, high: float = math.inf) -> bool:
    if not isinstance(value, int | float | np.number) or isinstance(value, bool):
        return False
    number = float(cast(float, value))
    return above < number < math.inf and number <= high


def _priority(value: object) -> bool:
    return _number(value, 0, 100) and math.isclose(
        hundredths := float(cast(float, value)) * 100, max(1, round(hundredths))
    )


def _none_or(fits: Callable[[object], bool]) -> Callable[[object], bool]:
    return lambda value: value is None or fits(value)


def _is_day(value: object) -> bool:
    return isinstance(value, date) and not (isinstance(value, datetime) and value.tzinfo)


def _days(value: object) -> bool:
    return isinstance(value, list | tuple) and all(map(_is_day, value))


def _shares(value: object) -> bool:
    return _parts(value) and all(share < 1 for _, share in cast(list[tuple[date, float]], value))


def _parts(value: object) -> bool:
    return isinstance(value, list | tuple) and all(
        isinstance(row, list | tuple)
        and len(row) == 2
        and _is_day(row[0])
        and _number(row[1], 0, 1)
        for row in value
    )


def _spans(value: object) -> bool:
    return isinstance(value, list | tuple) and all(
        _days(span) and len(span) == 2 and _local_day(span[0]) <= _local_day(span[1])
        for span in value
    )


def _local_day(value: date) -> date:
    return value.date() if isinstance(value, datetime) else value


_FIELDS: dict[str, tuple[Callable[[object], bool], str]] = {
    "material": (lambda value: isinstance(value, str) and bool(value.strip()), "a name"),
    "rounds": (lambda value: whole(value, 1, MOST_ROUNDS), f"a whole number, 1 to {MOST_ROUNDS}"),
    "least_days": (
        lambda value: whole(value, 1, LONGEST_GAP_D),
        f"whole days, 1 to {LONGEST_GAP_D}",
    ),
    "priority": (_priority, "0.01 to 100, in hundredths"),
    "target": (_none_or(lambda value: isinstance(value, list | tuple)), "a list"),
    "last_stage": (_none_or(lambda value: whole(value, 0, 99)), "BBCH 0 to 99"),
    "season_maximum": (_none_or(lambda value: whole(value, 1)), "a whole number from 1 on"),
    "product_per_round": (_none_or(lambda value: _number(value, 0)), "an amount above 0"),
    "product_maximum": (_none_or(lambda value: _number(value, 0)), "an amount above 0"),
    "metallic_copper_per_round_kg_ha": (
        lambda value: value == 0 or _number(value, 0),
        "0 or more kg/ha",
    ),
    "done": (_days, "a list of local days"),
    "partly_done": (_shares, "a list of (local day, share between 0 and 1)"),
    "failed": (_parts, "a list of (local day, share above 0, up to 1)"),
    "barred": (_spans, "a list of (first local day, last local day)"),
}

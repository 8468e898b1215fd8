"""The year's fertilizer for one tree, shared out over the months in which it is active.

References
----------
.. [1] Clemson University extension: none after mid-August.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import fsum

import pandas as pd

from spraywindow.errors import InputError, describe, one_line
from spraywindow.orchard.checks import number_problem, refuse
from spraywindow.orchard.fertilizer import Dose, Fertilizer

CATCH_UP_SHARE = 1.5
"""A part larger than this many regular ones is warned of; P: common practice, no source."""


@dataclass(frozen=True)
class Given:
    """A dose that a tree already had."""

    day: date
    dose: Dose


@dataclass(frozen=True)
class Part:
    """One share of the year's dose: from `start` to `stop` (included), in the dose's measure.

    `amount` is zero once it is given or its time is past.
    """

    number: int
    start: date
    stop: date
    amount: float
    given: bool


@dataclass(frozen=True)
class DosePlan:
    """The year's dose of one tree: its parts, what was given and what is left, in `measure`."""

    measure: str
    annual: float
    given: float
    left: float
    parts: tuple[Part, ...]
    warnings: tuple[str, ...]

    @property
    def next_part(self) -> Part | None:
        """The part that is due now or comes next."""
        return next((part for part in self.parts if part.amount > 0), None)


def last_feeding_day(wake: date, latitude: float) -> date:
    """Last day for feeding after a waking: the next 15 August, south of the equator February, [1].

    The southern date is the northern one half a year on (P).
    """
    month = 8 if latitude >= 0 else 2
    day = date(wake.year, month, 15)
    return day if day > wake else date(wake.year + 1, month, 15)


def part_periods(
    wake: date, last_day: date, parts: int | None = None
) -> tuple[tuple[date, date], ...]:
    """First and last days of the parts: monthly from the waking on, or `parts` of equal length."""
    length = (last_day - wake).days + 1
    if parts is None:
        starts = [wake]
        while (nxt := _months_after(wake, len(starts))) <= last_day:
            starts.append(nxt)
    else:
        refuse([number_problem("parts", parts, "", low=1, high=length, low_allowed=True)])
        starts = [wake + timedelta(days=length * part // parts) for part in range(parts)]
    stops = [start - timedelta(days=1) for start in starts[1:]] + [last_day]
    return tuple(zip(starts, stops, strict=True))


def plan_doses(
    annual: Dose,
    fertilizer: Fertilizer,
    given: Sequence[Given],
    *,
    wake: date,
    last_day: date,
    today: date,
    parts: int | None = None,
) -> DosePlan:
    """Share what is left of the year's dose over the parts that are still open.

    Parameters
    ----------
    annual : Dose
        For one tree and year; follow the bag and a soil test.
    fertilizer : Fertilizer
        What is given; needed where mass and volume meet.
    given : sequence of Given
        Of any year; those after the last feeding day of the year before count.
    wake, last_day, today : datetime.date
        Local dates: flowering, last day for feeding, and the day of the question.
    parts : int, optional
        Into how many; one a month by default.

    Raises
    ------
    InputError
        If a dose was given in the future; all of them at once.
    """  # fmt: skip
    late = [gift.day for gift in given if gift.day > today]
    if late:
        raise InputError(one_line([
            describe("a date in the future", where="given", expected=f"at most {today}",
                     got=str(day)) for day in late
        ]))  # fmt: skip
    season = [gift for gift in given if _months_after(last_day, -12) < gift.day]
    had = fsum(gift.dose.to(annual.measure, fertilizer) for gift in season)
    left = max(annual.amount - had, 0.0)
    periods = part_periods(wake, last_day, parts)
    served = [any(start <= gift.day <= stop for gift in season) for start, stop in periods]
    is_open = [not done and stop >= today
               for done, (_, stop) in zip(served, periods, strict=True)]  # fmt: skip
    each = left / sum(is_open) if any(is_open) else 0.0
    planned = tuple(
        Part(number, start, stop, each if open_ else 0.0, done)
        for number, ((start, stop), done, open_)
        in enumerate(zip(periods, served, is_open, strict=True), start=1)
    )  # fmt: skip
    warnings = _plan_warnings(annual, had, left, each, len(periods), any(is_open))
    early = [str(gift.day) for gift in season if gift.day < wake]
    if early:
        warnings += (f"given before the trees woke: {', '.join(early)}",)
    return DosePlan(annual.measure, annual.amount, had, left, planned, warnings)


def _plan_warnings(annual: Dose, had: float, left: float, each: float, parts: int, open_: bool
                   ) -> tuple[str, ...]:  # fmt: skip
    measure, warnings = annual.measure, []
    if annual.amount == 0:
        warnings.append("the year's dose is 0: there is nothing to give")
    if had > annual.amount * (1 + 1e-9):
        warnings.append(f"given {had:.3g} {measure}, more than the year's {annual.amount:.3g}")
    if each > CATCH_UP_SHARE * annual.amount / parts:
        warnings.append(
            f"missed parts make the next ones {each:.3g} {measure} instead of "
            f"{annual.amount / parts:.3g}; give less rather than catch up at once"
        )
    if left > 1e-9 * annual.amount and not open_:
        warnings.append(f"left over: {left:.3g} {measure}; do not make up for it this year")
    return tuple(warnings)


def _months_after(day: date, months: int) -> date:
    return (pd.Timestamp(day) + pd.DateOffset(months=months)).date()

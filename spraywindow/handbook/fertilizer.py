"""A fertilizer, the year's dose for one tree shared out over its active months, its nitrogen.

References
----------
.. [1] Colorado State University extension: at most 1/8 lb of nitrogen per inch of trunk diameter.
.. [2] University of California cooperative extension, San Diego: about 1 lb of nitrogen a year
   for trees of five years and more, in three parts.
.. [3] Clemson University extension: none after mid-August.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import fsum

import pandas as pd

from spraywindow.errors import InputError, describe, one_line
from spraywindow.handbook.numbers import number_problem, refuse
from spraywindow.reasons import Amount, Reason
from spraywindow.units import convert, unit

NITROGEN_KG_PER_M = 0.125 * 0.45359237 / 0.0254
"""Most nitrogen a year per trunk diameter [kg/m], [1]."""
GROWN_TREE_NITROGEN_KG = 0.45359237
"""Usual nitrogen a year of a tree of `GROWN_TREE_YEARS` [kg], [2]."""
GROWN_TREE_YEARS = 5


@dataclass(frozen=True)
class Fertilizer:
    """A product: nitrogen as a fraction of its mass, and its bulk density [kg/L].

    The default density is the trade's "a pint is a pound" of granules (P); weigh a cup of yours.
    """

    name: str
    nitrogen: float
    kg_per_l: float = 0.45359237 / (3.785411784 / 8)

    def __post_init__(self) -> None:
        """Check the values."""
        refuse(
            (
                number_problem("nitrogen", self.nitrogen, "", high=1, low_allowed=True),
                number_problem("density", self.kg_per_l, "kg/L", high=3),
            ),
            where=self.name,
        )


@dataclass(frozen=True)
class Dose:
    """An amount for one tree in the user's own measure: any unit of mass or volume."""

    amount: float
    measure: str

    def __post_init__(self) -> None:
        """Check the values."""
        problems = [number_problem("dose", self.amount, self.measure, low_allowed=True)]
        if unit(self.measure, where="dose").dimension not in ("mass", "volume"):
            problems.append(describe("not a measure of fertilizer", where="dose",
                                     expected="a unit such as cup, g or lb", got=self.measure)
                            )  # fmt: skip
        refuse(problems)

    def to(self, measure: str, fertilizer: Fertilizer) -> float:
        """The amount in another measure; mass and volume meet through the density."""
        here, there = unit(self.measure).dimension, unit(measure).dimension
        if here == there:
            return convert(self.amount, self.measure, measure)
        if here == "mass":
            litres = convert(self.amount, self.measure, "kg") / fertilizer.kg_per_l
            return convert(litres, "L", measure)
        kilograms = convert(self.amount, self.measure, "L") * fertilizer.kg_per_l
        return convert(kilograms, "kg", measure)


@dataclass(frozen=True)
class NitrogenCheck:
    """Nitrogen of the year's dose [kg], the most for the trunk [kg] if known, and warnings."""

    nitrogen_kg: float
    most_kg: float | None
    warnings: tuple[Reason, ...]


def check_nitrogen(
    annual: Dose,
    fertilizer: Fertilizer,
    *,
    trunk_diameter_m: float | None = None,
    age_years: float | None = None,
) -> NitrogenCheck:
    """Hold the nitrogen of the year's dose against the trunk [1] and the age of the tree [2].

    Without a trunk diameter, more than the usual amount of a grown tree is warned of.
    """  # fmt: skip
    problems = []
    if trunk_diameter_m is not None:
        problems.append(number_problem("trunk diameter", trunk_diameter_m, "m", high=3))
    if age_years is not None:
        problems.append(number_problem("age", age_years, "years", high=500, low_allowed=True))
    refuse(problems)
    nitrogen = annual.to("kg", fertilizer) * fertilizer.nitrogen
    most = None if trunk_diameter_m is None else NITROGEN_KG_PER_M * trunk_diameter_m
    limits = (most, "most for the trunk"), (GROWN_TREE_NITROGEN_KG, "usual of a grown tree")
    for limit, words in limits:
        if limit is not None and nitrogen > limit * (1 + 1e-9):
            over = Reason(
                "{} of nitrogen a tree and year is {} times the {}, {}: give less",
                (Amount(nitrogen, "kg"), f"{nitrogen / limit:.2g}", words, Amount(limit, "kg")),
            )
            return NitrogenCheck(nitrogen, most, (over,))
    young = age_years is not None and age_years < GROWN_TREE_YEARS and most is None
    measure = Reason("a young tree takes less: measure the trunk to check the nitrogen")
    return NitrogenCheck(nitrogen, most, (measure,) if young else ())


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
    warnings: tuple[Reason, ...]

    @property
    def next_part(self) -> Part | None:
        """The part that is due now or comes next."""
        return next((part for part in self.parts if part.amount > 0), None)


def last_feeding_day(wake: date, latitude: float) -> date:
    """Last day for feeding after a waking: the next 15 August, south of the equator February, [3].

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
    early = tuple(gift.day for gift in season if gift.day < wake)
    if early:
        places = ", ".join("{}" for _ in early)
        warnings += (Reason(f"given before the trees woke: {places}", early),)
    return DosePlan(annual.measure, annual.amount, had, left, planned, warnings)


def _plan_warnings(annual: Dose, had: float, left: float, each: float, parts: int, open_: bool
                   ) -> tuple[Reason, ...]:  # fmt: skip
    # a dose is told in the user's own measure, to every reader
    measure, warnings = annual.measure, []
    if annual.amount == 0:
        warnings.append(Reason("the year's dose is 0: there is nothing to give"))
    if had > annual.amount * (1 + 1e-9):
        warnings.append(
            Reason(f"given {had:.3g} {measure}, more than the year's {annual.amount:.3g}")
        )
    if each > CATCH_UP_SHARE * annual.amount / parts:
        warnings.append(Reason(
            f"missed parts make the next ones {each:.3g} {measure} instead of "
            f"{annual.amount / parts:.3g}; give less rather than catch up at once"
        ))  # fmt: skip
    if left > 1e-9 * annual.amount and not open_:
        warnings.append(Reason(f"left over: {left:.3g} {measure}; do not make up for it this year"))
    return tuple(warnings)


def _months_after(day: date, months: int) -> date:
    return (pd.Timestamp(day) + pd.DateOffset(months=months)).date()

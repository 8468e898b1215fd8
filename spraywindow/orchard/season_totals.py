"""What a block has had of a material, against the user's label and the region's limits.

A limit that is passed is told, never enforced: the record holds what was done.

References
----------
.. [1] Commission Implementing Regulation (EU) 2018/1981: at most 28 kg of copper per hectare
   over seven years.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from spraywindow.errors import InputError, describe, one_line
from spraywindow.orchard.checks import number_problem, refuse


@dataclass(frozen=True)
class Use:
    """One application on one block.

    Parameters
    ----------
    day : datetime.date
        Local date.
    block, material : str
        Names.
    amount : float
        Product used [L or kg].
    area_m2 : float
        Ground area of the treated trees [m2].
    copper_kg_per_unit : float
        Metallic copper in one litre or kilogram of the product [kg], 0 to 1; from the label.
    planned : bool
        Not done yet; only such a use may lie in the future.
    """

    day: date
    block: str
    material: str
    amount: float
    area_m2: float
    copper_kg_per_unit: float = 0.0
    planned: bool = False

    def __post_init__(self) -> None:
        """Check the values."""
        refuse(
            (
                number_problem("amount", self.amount, "L or kg"),
                number_problem("area", self.area_m2, "m2"),
                number_problem("copper", self.copper_kg_per_unit, "kg/unit", high=1.0,
                               low_allowed=True),
            ),
            where=f"{self.material}, {self.block}, {self.day}",
        )  # fmt: skip

    @property
    def copper_kg_per_ha(self) -> float:
        """Metallic copper of this use on its area [kg/ha]."""
        return self.amount * self.copper_kg_per_unit / (self.area_m2 / 10_000)


@dataclass(frozen=True)
class UseLimit:
    """A most, from a label or a law.

    Parameters
    ----------
    name : str
        As printed, with its source: "label", "Reg. (EU) 2018/1981".
    years : int
        Length of the period that ends on the day asked about.
    material : str, optional
        The material that it counts; None counts the copper of all.
    copper_kg_per_ha, amount_per_ha, rounds : float, optional
        The most of metallic copper [kg/ha], of product [L/ha or kg/ha], and of applications.
    """

    name: str
    years: int = 1
    material: str | None = None
    copper_kg_per_ha: float | None = None
    amount_per_ha: float | None = None
    rounds: int | None = None

    def __post_init__(self) -> None:
        """Check the values."""
        given = [
            v for v in (self.copper_kg_per_ha, self.amount_per_ha, self.rounds) if v is not None
        ]
        problems = [number_problem("most", value, "", low_allowed=True) for value in given]
        problems.append(number_problem("years", self.years, "", low=1, low_allowed=True))
        if not given:
            problems.append("no most is given")
        if self.material is None and (self.amount_per_ha, self.rounds) != (None, None):
            problems.append("a most of product or rounds needs its material")
        refuse(problems, where=f"limit {self.name}")


EU_COPPER = UseLimit("Reg. (EU) 2018/1981", years=7, copper_kg_per_ha=28.0)
"""The European copper limit [1], a mean of 4 kg/ha a year."""


@dataclass(frozen=True)
class SeasonTotal:
    """What one block had of one material between two days: rounds, amount and copper."""

    block: str
    material: str
    rounds: int
    amount: float
    amount_per_ha: float
    copper_kg_per_ha: float


@dataclass(frozen=True)
class LimitUse:
    """A block against a limit: used and most, in what is counted, and how many are planned."""

    limit: UseLimit
    block: str
    counts: str
    used: float
    most: float

    @property
    def over(self) -> bool:
        """Is it over (not merely reached)?"""
        return self.used > self.most * (1 + 1e-9)

    @property
    def warning(self) -> str | None:
        """One line for people when it is over."""
        if not self.over:
            return None
        return (
            f"{self.block}: {self.used:.3g} {self.counts} in {self.limit.years} y is over the "
            f"{self.most:.3g} of {self.limit.name}"
        )


def season_totals(uses: Sequence[Use], start: date, stop: date) -> tuple[SeasonTotal, ...]:
    """Add up the uses from `start` to `stop`, both included, by block and material."""
    inside = [use for use in uses if start <= use.day <= stop]
    groups = sorted({(use.block, use.material) for use in inside})
    return tuple(
        _total(block, material, [u for u in inside if (u.block, u.material) == (block, material)])
        for block, material in groups
    )


def limits_used(
    uses: Sequence[Use], limits: Sequence[UseLimit], today: date, *, until: date | None = None
) -> tuple[LimitUse, ...]:
    """Hold what each block had against every limit, over the years that end at `until`.

    Parameters
    ----------
    uses : sequence of Use
        Done and planned.
    limits : sequence of UseLimit
        Label and region.
    today : datetime.date
        Local date of the question.
    until : datetime.date, optional
        Last day of the period; by default the last planned use, or today.

    Raises
    ------
    InputError
        If a use that is not planned lies in the future; all of them at once.
    """
    late = [use for use in uses if use.day > today and not use.planned]
    if late:
        raise InputError(one_line([
            describe("a date in the future", where=f"{use.material}, {use.block}",
                     expected=f"at most {today}, or a planned use", got=str(use.day))
            for use in late
        ]))  # fmt: skip
    end = until or max([today, *(use.day for use in uses)])
    found: list[LimitUse] = []
    for limit in limits:
        begin = _years_before(end, limit.years)
        counted = [
            use for use in uses
            if begin < use.day <= end and limit.material in (None, use.material)
        ]  # fmt: skip
        for block in sorted({use.block for use in counted}):
            total = _total(block, limit.material or "", [u for u in counted if u.block == block])
            for counts, used, most in (
                ("kg copper per ha", total.copper_kg_per_ha, limit.copper_kg_per_ha),
                (f"{limit.material} per ha", total.amount_per_ha, limit.amount_per_ha),
                (f"rounds of {limit.material}", total.rounds, limit.rounds),
            ):
                if most is not None:
                    found.append(LimitUse(limit, block, counts, float(used), float(most)))
    return tuple(found)


def _total(block: str, material: str, uses: Sequence[Use]) -> SeasonTotal:
    return SeasonTotal(
        block,
        material,
        rounds=len({(use.day, use.material) for use in uses}),
        amount=sum(use.amount for use in uses),
        amount_per_ha=sum(use.amount / (use.area_m2 / 10_000) for use in uses),
        copper_kg_per_ha=sum(use.copper_kg_per_ha for use in uses),
    )


def _years_before(day: date, years: int) -> date:
    """The same day some years earlier; 28 February for the 29th."""
    try:
        return day.replace(year=day.year - years)
    except ValueError:
        return day.replace(year=day.year - years, day=28)

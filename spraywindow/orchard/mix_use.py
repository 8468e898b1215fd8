"""One use of a product on one block, and the most that a label or a law allows.

References
----------
.. [1] Commission Implementing Regulation (EU) 2018/1981: at most 28 kg of copper per hectare
   over seven years.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

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
    amount : float or None
        Product used [L or kg]; None where nobody knows: it counts as a round only.
    area_m2 : float
        Ground area of the treated trees [m2].
    copper_kg_per_unit : float
        Metallic copper in one litre or kilogram of the product [kg], 0 to 1; from the label.
    planned : bool
        Not done yet; only such a use may lie in the future.
    share : float
        Part of the block's round, above 0 and up to 1.
    base : str
        What the amount counts: "L" or "kg".
    """

    day: date
    block: str
    material: str
    amount: float | None
    area_m2: float
    copper_kg_per_unit: float = 0.0
    planned: bool = False
    share: float = 1.0
    base: str = "L"

    def __post_init__(self) -> None:
        """Check the values."""
        refuse(
            (
                None if self.amount is None else number_problem("amount", self.amount, "L or kg"),
                number_problem("area", self.area_m2, "m2"),
                number_problem("copper", self.copper_kg_per_unit, "kg/unit", high=1.0,
                               low_allowed=True),
                number_problem("share", self.share, "", high=1.0),
            ),
            where=f"{self.material}, {self.block}, {self.day}",
        )  # fmt: skip

    @property
    def amount_per_ha(self) -> float:
        """Product of this use on its area [L/ha or kg/ha]; 0 where the amount is not known."""
        return (self.amount or 0.0) / (self.area_m2 / 10_000)

    @property
    def copper_kg_per_ha(self) -> float:
        """Metallic copper of this use on its area [kg/ha]."""
        return self.amount_per_ha * self.copper_kg_per_unit


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
    since : datetime.date, optional
        First day of the period, where it is a season and no number of years.
    """

    name: str
    years: int = 1
    material: str | None = None
    copper_kg_per_ha: float | None = None
    amount_per_ha: float | None = None
    rounds: int | None = None
    since: date | None = None

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

    def before(self, last: date) -> date:
        """The day before the first of the period that ends on `last`."""
        if self.since is not None:
            return self.since - timedelta(days=1)
        return _years_before(last, self.years)


def _years_before(day: date, years: int) -> date:
    """The same day some years earlier; 28 February for the 29th."""
    try:
        return day.replace(year=day.year - years)
    except ValueError:
        return day.replace(year=day.year - years, day=28)

"""A fertilizer, a dose of it in the user's own measure, and the nitrogen that it brings.

References
----------
.. [1] Colorado State University extension: at most 1/8 lb of nitrogen per inch of trunk diameter.
.. [2] University of California cooperative extension, San Diego: about 1 lb of nitrogen a year
   for trees of five years and more, in three parts.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from spraywindow.errors import describe
from spraywindow.orchard.checks import number_problem, refuse
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
    warnings: tuple[str, ...]


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
    warnings = []
    if nitrogen > (inf if most is None else most * (1 + 1e-9)):
        warnings.append(f"{nitrogen:.2g} kg of nitrogen a year is over the {most:.2g} kg for a "
                        f"trunk of {100 * (trunk_diameter_m or 0):.3g} cm")  # fmt: skip
    if nitrogen > GROWN_TREE_NITROGEN_KG * (1 + 1e-9):
        warnings.append(f"{nitrogen:.2g} kg of nitrogen a year is over the "
                        f"{GROWN_TREE_NITROGEN_KG:.2g} kg usual for a grown tree")  # fmt: skip
    elif age_years is not None and age_years < GROWN_TREE_YEARS and most is None:
        warnings.append("a young tree takes less: measure the trunk to check the nitrogen")
    return NitrogenCheck(nitrogen, most, tuple(warnings))

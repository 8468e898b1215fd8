"""What a block has had of a product, against the user's label and the region's limits.

A limit that is passed is told, never enforced: the record holds what was done.

References
----------
.. [1] Commission Implementing Regulation (EU) 2018/1981: at most 28 kg of copper per hectare
   over seven years.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import fsum, nan
from typing import ClassVar

from spraywindow.errors import InputError, describe, one_line
from spraywindow.handbook.numbers import number_problem, refuse


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


_EXACT = 6
"""Decimals to which shares of a round are kept, so that 0.1 + 0.2 + 0.7 is a round."""


@dataclass(frozen=True)
class SeasonTotal:
    """What one block had of one material between two days: rounds, amount and copper.

    Parts of a round add up to rounds; amounts are NaN where one of them is not known.
    """

    json_keys: ClassVar = (
        "block", "material", "rounds", "product=amount", "product_unit=base",
        "product_per_ha=amount_per_ha", "copper_kg_per_ha",
    )  # fmt: skip

    block: str
    material: str
    base: str
    rounds: float
    amount: float
    amount_per_ha: float
    copper_kg_per_ha: float


@dataclass(frozen=True)
class LimitUse:
    """A block against a limit: used and most, in what is counted.

    `base` is what an amount per hectare counts, "L" or "kg"; "" for rounds.
    """

    limit: UseLimit
    block: str
    counts: str
    used: float
    most: float
    base: str

    @property
    def over(self) -> bool:
        """Is it over (not merely reached)?"""
        return self.used > self.most * (1 + 1e-9)


def season_totals(uses: Sequence[Use], start: date, stop: date) -> tuple[SeasonTotal, ...]:
    """Add up the uses from `start` to `stop`, both included, by block, material and base."""
    groups: dict[tuple[str, str, str], list[Use]] = defaultdict(list)
    for use in uses:
        if start <= use.day <= stop:
            groups[use.block, use.material, use.base].append(use)
    return tuple(_told(_total(*key, groups[key]), groups[key]) for key in sorted(groups))


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
        before = limit.before(end)
        counted = [
            use for use in uses
            if before < use.day <= end
            and (use.material == limit.material if limit.material else use.copper_kg_per_unit)
        ]  # fmt: skip
        for block in sorted({use.block for use in counted}):
            here = [use for use in counted if use.block == block]
            total = _total(block, limit.material or "", here[0].base, here)
            for counts, used, most, base in (
                ("kg copper per ha", total.copper_kg_per_ha, limit.copper_kg_per_ha, "kg"),
                (f"{limit.material} per ha", total.amount_per_ha, limit.amount_per_ha, total.base),
                (f"rounds of {limit.material}", total.rounds, limit.rounds, ""),
            ):
                if most is not None:
                    found.append(LimitUse(limit, block, counts, used, float(most), base))
    return tuple(found)


def _told(total: SeasonTotal, uses: Sequence[Use]) -> SeasonTotal:
    """The total, its amounts unknown where one of them is."""
    if all(use.amount is not None for use in uses):
        return total
    return replace(total, amount=nan, amount_per_ha=nan, copper_kg_per_ha=nan)


def _total(block: str, material: str, base: str, uses: Sequence[Use]) -> SeasonTotal:
    shares: dict[tuple[date, str], float] = defaultdict(float)
    for use in uses:
        shares[use.day, use.material] += use.share
    return SeasonTotal(
        block,
        material,
        base,
        rounds=round(fsum(min(1.0, share) for share in shares.values()), _EXACT),
        amount=fsum(use.amount or 0.0 for use in uses),
        amount_per_ha=fsum(use.amount_per_ha for use in uses),
        copper_kg_per_ha=fsum(use.copper_kg_per_ha for use in uses),
    )

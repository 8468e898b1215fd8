"""How much spray the trees take: tank loads, what goes into each, and how long a crew needs.

The hours on site say how long a slot the job needs.

References
----------
.. [1] Cornell University, tree-row volume: dilute 0.7 (well pruned) to 1.0 (dense) US gallons
   per 1000 cubic feet of canopy.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar, Literal

from spraywindow.handbook.numbers import number_problem, refuse

LITRES_PER_GALLON = 3.785411784
WELL_PRUNED_L_PER_M3 = 0.7 * LITRES_PER_GALLON / (1000 * 0.3048**3)
"""Dilute spray per canopy volume, well pruned trees [L/m3], [1]."""
DENSE_L_PER_M3 = 1.0 * LITRES_PER_GALLON / (1000 * 0.3048**3)
"""Dilute spray per canopy volume, dense trees [L/m3], [1]."""
MEDIUM_L_PER_M3 = (WELL_PRUNED_L_PER_M3 + DENSE_L_PER_M3) / 2
HAND_GUN_FACTOR = 1.5
"""Extra for spraying a single tree by hand until it drips; P: common practice, no source."""


@dataclass(frozen=True)
class Loads:
    """Tank loads of one job: `full` tanks of `tank_l`, and a last one of `last_l` if not zero."""

    json_keys: ClassVar = ("count", "tank_l:2", "full", "last_l:2")

    total_l: float
    tank_l: float
    full: int
    last_l: float

    @property
    def count(self) -> int:
        """All loads, the last part load included."""
        return self.full + (1 if self.last_l > 0 else 0)


@dataclass(frozen=True)
class Rate:
    """What one litre of spray holds of a product.

    Parameters
    ----------
    product : str
        Name, as printed.
    per_litre : float
        Litres (a liquid: 0.02 is 2 % v/v) or kilograms (a powder) in a litre of spray.
    base : "L" or "kg"
        What `per_litre` counts.
    usual_most : float, optional
        Above this, in the same measure, the mix is warned of.
    """

    product: str
    per_litre: float
    base: Literal["L", "kg"] = "L"
    usual_most: float | None = None

    def __post_init__(self) -> None:
        """Check the values."""
        most = 1.0 if self.base == "L" else 2.0  # no more than the tank; no powder dissolves so
        most_problem = None
        if self.usual_most is not None:
            most_problem = number_problem("usual_most", self.usual_most, self.base)
        refuse(
            (number_problem("rate", self.per_litre, f"{self.base} per L", high=most), most_problem),
            where=self.product,
        )


@dataclass(frozen=True)
class ProductMix:
    """Amounts of one product [L or kg, as its rate counts], and warnings for people."""

    rate: Rate
    per_full_load: float
    last_load: float
    total: float
    warnings: tuple[str, ...]


def tree_volume_l(
    width_m: float,
    height_m: float,
    *,
    litres_per_m3: float = MEDIUM_L_PER_M3,
    hand_gun_factor: float = HAND_GUN_FACTOR,
) -> float:
    """Spray for one tree, by hand gun until it drips [L]: width x width x height.

    Parameters
    ----------
    width_m, height_m : float
        Of the canopy [m], more than 0 and at most 30.
    litres_per_m3 : float
        Dilute spray per canopy volume, 0.094 (well pruned) to 0.134 (dense) [L/m3].
    hand_gun_factor : float
        Extra for hand work, 1 to 5.

    Notes
    -----
    Extension sheets give 1-2 US gallons for small and medium trees, 3-5 for large ones.

    Examples
    --------
    >>> round(tree_volume_l(3.0, 3.0), 1)  # about 10 ft each way
    4.6
    """  # fmt: skip
    refuse(
        (
            number_problem("canopy width", width_m, "m", high=30),
            number_problem("canopy height", height_m, "m", high=30),
            number_problem("spray per canopy volume", litres_per_m3, "L/m3", high=1),
            number_problem("hand gun factor", hand_gun_factor, "", low=1, high=5, low_allowed=True),
        )
    )
    return width_m * width_m * height_m * litres_per_m3 * hand_gun_factor


def row_volume_l(
    width_m: float, height_m: float, row_length_m: float, *, litres_per_m3: float = MEDIUM_L_PER_M3
) -> float:
    """Spray for one row, by tree-row volume [L]; lengths in m, `litres_per_m3` as for a tree."""
    refuse(
        (
            number_problem("canopy width", width_m, "m", high=30),
            number_problem("canopy height", height_m, "m", high=30),
            number_problem("row length", row_length_m, "m"),
            number_problem("spray per canopy volume", litres_per_m3, "L/m3", high=1),
        )
    )
    return width_m * height_m * row_length_m * litres_per_m3


def tank_loads(total_l: float, tank_l: float) -> Loads:
    """Share a spray volume out over tanks: full ones first, the rest last.

    A rest of less than a millionth of a tank is rounding, not a load.
    """
    refuse((number_problem("spray volume", total_l, "L"), number_problem("tank", tank_l, "L")))
    share = total_l / tank_l
    full = math.floor(share + 1e-6)
    rest = share - full
    return Loads(total_l, tank_l, full, rest * tank_l if rest > 1e-6 else 0.0)


def product_mix(loads: Loads, rate: Rate) -> ProductMix:
    """How much of a product goes into each load and into all; the rate is never changed."""
    warnings: tuple[str, ...] = ()
    if rate.usual_most is not None and rate.per_litre > rate.usual_most * (1 + 1e-9):
        unit = "%" if rate.base == "L" else "kg per 100 L"
        warnings = (
            f"{rate.product}: {100 * rate.per_litre:g} {unit} is over the usual "
            f"{100 * rate.usual_most:g} {unit}; check the label",
        )
    return ProductMix(
        rate,
        per_full_load=rate.per_litre * loads.tank_l if loads.full else 0.0,
        last_load=rate.per_litre * loads.last_l,
        total=rate.per_litre * loads.total_l,
        warnings=warnings,
    )


@dataclass(frozen=True)
class Crew:
    """How a crew works; the defaults are common practice (P).

    Parameters
    ----------
    flow_l_per_min : float
        Flow of one gun or of the whole sprayer [L/min], from a timed catch.
    guns : int
        Guns that spray at the same time from one tank.
    set_up_h : float
        From arriving to the first drop, the first filling included [h].
    refill_h : float
        One refill: drive to the water, fill, measure, mix [h].
    rinse_h : float
        Rinse tank, hose and people afterwards [h].
    walking_ms : float
        Speed between trees, hose in hand [m/s].
    """

    flow_l_per_min: float
    guns: int = 1
    set_up_h: float = 0.5
    refill_h: float = 0.25
    rinse_h: float = 0.5
    walking_ms: float = 0.7

    def __post_init__(self) -> None:
        """Check the values."""
        refuse(
            (
                number_problem("flow", self.flow_l_per_min, "L/min"),
                number_problem("guns", self.guns, "", low=1, low_allowed=True),
                number_problem("set-up", self.set_up_h, "h", high=24, low_allowed=True),
                number_problem("refill", self.refill_h, "h", high=24, low_allowed=True),
                number_problem("rinse", self.rinse_h, "h", high=24, low_allowed=True),
                number_problem("walking speed", self.walking_ms, "m/s", high=10),
            ),
            where="crew",
        )


@dataclass(frozen=True)
class CrewTime:
    """Hours of one job by part [h]."""

    json_keys: ClassVar = (
        "set_up_h", "walking_h", "spraying_h", "refills_h", "rinse_h", "slot_h", "slot_whole_h",
        "on_site_h",
    )  # fmt: skip

    set_up_h: float
    walking_h: float
    spraying_h: float
    refills_h: float
    rinse_h: float

    @property
    def slot_h(self) -> float:
        """Hours of good weather that the job needs: from the first drop to the last [h].

        Set-up may be done while the dew still dries, rinsing when the wind is up again.
        """
        return self.walking_h + self.spraying_h + self.refills_h

    @property
    def slot_whole_h(self) -> int:
        """The same in whole hours, as hourly weather is judged; at least one."""
        return max(1, math.ceil(self.slot_h - 1e-9))

    @property
    def on_site_h(self) -> float:
        """From arriving to leaving [h]."""
        return self.set_up_h + self.slot_h + self.rinse_h


def crew_time(crew: Crew, loads: Loads, *, walking_m: float) -> CrewTime:
    """Add up the time on site.

    Parameters
    ----------
    crew : Crew
        Who comes, with what.
    loads : Loads
        The spray, as shared out over tanks.
    walking_m : float
        The way round all trees, all guns together [m]; see `walking_way_m`.
    """
    refuse([number_problem("walking way", walking_m, "m", low_allowed=True)])
    return CrewTime(
        set_up_h=crew.set_up_h,
        walking_h=walking_m / crew.walking_ms / 3600 / crew.guns,
        spraying_h=loads.total_l / crew.flow_l_per_min / 60 / crew.guns,
        refills_h=(loads.count - 1) * crew.refill_h,  # the first filling is in the set-up
        rinse_h=crew.rinse_h,
    )


def walking_way_m(trees: int, spacing_m: float, width_m: float) -> float:
    """Way from tree to tree and once round each [m]: spacing plus the canopy's circumference."""
    refuse(
        (
            number_problem("trees", trees, "", low=1, low_allowed=True),
            number_problem("spacing", spacing_m, "m"),
            number_problem("canopy width", width_m, "m", high=30),
        )
    )
    return trees * (spacing_m + math.pi * width_m)

"""How long a crew is on site for a spray job, hence how long a slot the job needs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

from spraywindow.orchard.checks import number_problem, refuse
from spraywindow.orchard.mixing import Loads


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

"""A simple bucket for the water in the top soil: is the ground saturated, or dry?

References
----------
.. [1] Allen et al. (1998), FAO Irrigation and Drainage Paper 56: table 19 (field capacity and
   wilting point, middle of the ranges), eq. 84 (water stress), table 22 (p = 0.5 for stone
   fruit). From memory of the publication.
.. [2] Clapp, R. B. and Hornberger, G. M. (1978), Water Resources Research 14:601,
   doi:10.1029/WR014i004p00601, table 2: saturated water content. From memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from spraywindow.days import days_of, local_dates
from spraywindow.handbook.numbers import number_problem, refuse
from spraywindow.place import Place
from spraywindow.weather import rain_between, water_demand

Floats = NDArray[np.float64]

STRESS_SHARE = 0.5
"""Share of the available water that is taken freely, p of FAO-56 eq. 84 for stone fruit."""
SATURATED_SHARE = 0.5
"""Ground counts as saturated when more than this share of the pores that should drain hold
water; P: common practice, no source."""


@dataclass(frozen=True)
class Soil:
    """A top soil: water contents as fractions of its volume.

    Parameters
    ----------
    name : str
        Texture, as printed.
    wilting_point, field_capacity, saturation : float
        [m3/m3], ascending, between 0 and 0.8.
    drained_per_day : float
        Share of the water above field capacity that drains in a day (0-1]; P.
    depth_m : float
        Depth of the bucket [m], more than 0 and at most 3.
    """

    name: str
    wilting_point: float
    field_capacity: float
    saturation: float
    drained_per_day: float
    depth_m: float = 0.3

    def __post_init__(self) -> None:
        """Check the values."""
        refuse(
            (
                number_problem("wilting_point", self.wilting_point, "", low_allowed=True),
                number_problem("field_capacity", self.field_capacity, "", low=self.wilting_point),
                number_problem(
                    "saturation", self.saturation, "", low=self.field_capacity, high=0.8
                ),
                number_problem("drained_per_day", self.drained_per_day, "", high=1.0),
                number_problem("depth_m", self.depth_m, "m", high=3.0),
            ),
            where=f"soil {self.name}",
        )

    @property
    def wilting_mm(self) -> float:
        """Water left at the wilting point [mm]."""
        return 1000 * self.depth_m * self.wilting_point

    @property
    def capacity_mm(self) -> float:
        """Water at field capacity [mm]."""
        return 1000 * self.depth_m * self.field_capacity

    @property
    def full_mm(self) -> float:
        """Water when every pore is filled [mm]."""
        return 1000 * self.depth_m * self.saturation

    @property
    def saturated_mm(self) -> float:
        """Water above which the ground counts as saturated [mm]."""
        return self.capacity_mm + SATURATED_SHARE * (self.full_mm - self.capacity_mm)


SOILS: dict[str, Soil] = {
    soil.name: soil
    for soil in (
        Soil("sand", 0.045, 0.12, 0.395, 0.9),
        Soil("sandy loam", 0.11, 0.23, 0.435, 0.7),
        Soil("loam", 0.12, 0.25, 0.451, 0.5),
        Soil("silt loam", 0.15, 0.29, 0.485, 0.4),
        Soil("clay", 0.22, 0.36, 0.482, 0.25),
    )
}
"""Textures by name; the middle of the published ranges, drainage P."""


def bucket(
    rain_mm: ArrayLike, demand_mm: ArrayLike, soil: Soil, start_mm: ArrayLike
) -> tuple[Floats, Floats]:
    """Water in the top soil day by day: rain first, then the plants, then drainage.

    Parameters
    ----------
    rain_mm, demand_mm : array
        Sums of each day [mm], time on the first axis; rain may be infinite (unknown, the most).
    soil : Soil
        The bucket.
    start_mm : float or array
        Water before the first day [mm].

    Returns
    -------
    wettest_mm, end_mm : arrays
        Water after the rain of each day, and at its end [mm]. What the bucket cannot hold runs
        off. More rain, less demand or a wetter start never give less water.

    Notes
    -----
    Uptake is demand times Ks = (S - wilting) / ((1 - p) (capacity - wilting)), capped to 0-1
    (FAO-56 eq. 84), here with the reference demand (a crop coefficient of 1).
    """  # fmt: skip
    rain, demand = np.broadcast_arrays(
        np.asarray(rain_mm, dtype=float), np.asarray(demand_mm, dtype=float)
    )
    store = np.broadcast_to(np.asarray(start_mm, dtype=float), rain.shape[1:])
    wettest, end = np.empty(rain.shape), np.empty(rain.shape)
    free_mm = (1 - STRESS_SHARE) * (soil.capacity_mm - soil.wilting_mm)
    for day in range(rain.shape[0]):
        store = np.minimum(store + rain[day], soil.full_mm)
        wettest[day] = store
        stress = np.clip((store - soil.wilting_mm) / free_mm, 0.0, 1.0)
        store = np.maximum(store - demand[day] * stress, np.minimum(store, soil.wilting_mm))
        store = store - soil.drained_per_day * np.maximum(store - soil.capacity_mm, 0.0)
        end[day] = store
    return wettest, end


def soil_water(
    weather: pd.DataFrame, place: Place, soil: Soil, crop_coefficient: float = 1.0
) -> pd.DataFrame:
    """Bounds of the water in the top soil for each local day of a weather table.

    Parameters
    ----------
    weather : pandas.DataFrame
        Checked hourly table.
    place : Place
        Where the site lies.
    soil : Soil
        The bucket.
    crop_coefficient : float
        Times the reference demand; more than 0.

    Returns
    -------
    pandas.DataFrame
        One row a local day (a time without zone): `wettest_low_mm`, `wettest_high_mm` after the
        day's rain, `end_low_mm`, `end_high_mm` at its end. The table starts knowing nothing: the
        low bound from the wilting point, the high bound from full. A week or two of weather
        before the days that matter brings the two together.
    """
    days, edges = days_of(weather, place.timezone)
    rain_low, rain_high = rain_between(weather, edges[:-1], edges[1:])
    demand = crop_coefficient * water_demand(weather, place)
    sums = (
        demand.groupby(local_dates(pd.DatetimeIndex(weather.index), place.timezone))
        .sum()
        .reindex(days)
    )
    wettest_low, end_low = bucket(rain_low, sums["high_mm"], soil, soil.wilting_mm)
    wettest_high, end_high = bucket(rain_high, sums["low_mm"], soil, soil.full_mm)
    return pd.DataFrame(
        {
            "wettest_low_mm": wettest_low,
            "wettest_high_mm": wettest_high,
            "end_low_mm": end_low,
            "end_high_mm": end_high,
        },
        index=days,
    )

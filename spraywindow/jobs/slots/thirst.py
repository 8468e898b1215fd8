"""Whether the trees are thirsty: the water in the top soil, from the weather at hand."""

from __future__ import annotations

import pandas as pd

from spraywindow.handbook import SOILS, STRESS_SHARE, soil_water
from spraywindow.site import Site

LEAFLESS = 0.55
"""Crop coefficient of stone fruit before leaf, without ground cover or killing frosts: FAO-56
table 12, from memory."""
BACK_D = 120
"""Days of weather before now that settle what the soil holds [d]: older rain tells no more; P."""


def thirsty(site: Site, weather: pd.DataFrame, now: pd.Timestamp) -> bool | None:
    """Whether the water that trees take freely was used up at the end of the last whole day.

    Parameters
    ----------
    site : Site
        Its `[feeding]` may name the soil; loam otherwise.
    weather : DataFrame
        Checked hourly table that holds `now`, as much before it as there is.
    now : Timestamp
        In the site's time.

    Returns
    -------
    bool or None
        None where the weather at hand is too short, or its rain too little known, to tell:
        neither thirsty nor watered.

    Notes
    -----
    FAO-56 eq. 84: stress begins where half of the available water is used. What was watered is not
    known.
    """
    soil = SOILS[site.feeding.soil if site.feeding else "loam"]
    past = weather.loc[now - pd.Timedelta(days=BACK_D) : now - pd.Timedelta(hours=1)]
    if past.empty:
        return None
    ends = soil_water(past, site.place, soil, LEAFLESS)
    ends = ends[ends.index < pd.Timestamp(now.date())]
    if ends.empty:
        return None
    stressed_mm = soil.wilting_mm + (1 - STRESS_SHARE) * (soil.capacity_mm - soil.wilting_mm)
    if ends["end_high_mm"].iloc[-1] < stressed_mm:
        return True
    return False if ends["end_low_mm"].iloc[-1] >= stressed_mm else None

"""A perfect synthetic fortnight, into which a test moves one quantity; and random weather."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from spraywindow.place import Place
from spraywindow.spray.catalogue import OIL
from spraywindow.spray.hours import score_hours
from spraywindow.spray.material import Material

PLACE = Place(38.0, 23.0, 100.0, "Europe/Athens")
NOON = 10 + 24 * 5
"""Row of 12 o'clock local time on the sixth day."""
NIGHT = NOON + 12
NIGHT_OIL = OIL.with_limits(drying=None)
"""Oil that need not dry before sunset: for the limits that are seen best without the sun."""


def dew_for(temp_c: float, rh_pct: float) -> float:
    """Dew point [degC], FAO-56 annex 3 eq. 3-11."""
    log = math.log(rh_pct / 100 * math.exp(17.27 * temp_c / (temp_c + 237.3)))
    return 237.3 * log / (17.27 - log)


def fortnight(temp_c: float = 12.0, rh_pct: float = 60.0, **columns: Any) -> pd.DataFrame:
    """Cloudy, dry, mild, a light wind: every limit is met with a comfort width to spare.

    A column is a number for all hours, a dict {row: value} over the perfect one, or None to be
    left out.
    """
    index = pd.date_range("2021-01-10", periods=24 * 14, freq="h", tz="UTC", name="time")
    out = pd.DataFrame(
        {
            "temp_c": temp_c,
            "dew_point_c": dew_for(temp_c, rh_pct),
            "wind_ms": 2.5,
            "rain_mm": 0.0,
            "gust_ms": 4.0,
            "wind_from_deg": 0.0,
            "rain_chance": 0.0,
            "cloud": 0.6,
        },
        index=index,
    )
    for name, value in columns.items():
        if value is None:
            out = out.drop(columns=name)
        elif isinstance(value, dict):
            if name not in out:
                out[name] = np.nan
            for row, here in value.items():
                out.iloc[row, out.columns.get_loc(name)] = here
        else:
            out[name] = value
    return out


def colder(rows: dict[int, float], **columns: Any) -> pd.DataFrame:
    """The perfect fortnight with other temperatures in some rows, and no dew from them."""
    dews = {row: min(dew_for(12.0, 60.0), temp - 5.0) for row, temp in rows.items()}
    return fortnight(**{"temp_c": 12.0, **columns}).pipe(_set, rows, dews)


def _set(table: pd.DataFrame, temps: dict[int, float], dews: dict[int, float]) -> pd.DataFrame:
    out = table.copy()
    for row, temp in temps.items():
        out.iloc[row, out.columns.get_loc("temp_c")] = temp
        out.iloc[row, out.columns.get_loc("dew_point_c")] = dews[row]
    return out


def hour(table: pd.DataFrame, material: Material, row: int = NOON, **options: Any) -> pd.Series:
    """The scored hour of one row."""
    return score_hours(table, options.pop("place", PLACE), material, **options).iloc[row]


def random_weather(
    seed: int, hours: int = 240, missing: float = 0.0, start: str = "2020-11-20"
) -> pd.DataFrame:
    """Weather near the limits, so that every verdict comes up; rain in tenths of a millimetre."""
    draw = np.random.default_rng(seed)
    rows = np.arange(hours)
    warm = draw.choice([3.0, 8.5, 10.0, 12.0, 14.0, 22.0])
    temp = warm + 5.0 * np.sin(2 * np.pi * (rows - 9) / 24) + draw.normal(0, 0.7, hours)
    rh = np.clip(draw.choice([45.0, 60.0, 65.0, 80.0]) + draw.normal(0, 8, hours), 20, 100)
    rainy = (rows // draw.integers(15, 30)) % draw.integers(3, 12) == 0
    rain = np.where(rainy & (draw.random(hours) < 0.3), draw.integers(1, 12, hours) / 10.0, 0.0)
    wind = np.abs(draw.normal(2.5, 1.2, hours))
    table = pd.DataFrame(
        {
            "temp_c": temp,
            "dew_point_c": [dew_for(t, h) for t, h in zip(temp, rh, strict=True)],
            "wind_ms": wind,
            "rain_mm": rain,
            "gust_ms": wind * draw.uniform(1.2, 2.4, hours),
            "wind_from_deg": draw.uniform(0, 360, hours),
            "rain_chance": np.clip(draw.normal(0.1, draw.choice([0.03, 0.07]), hours), 0, 1),
            "cloud": draw.random(hours),
        },
        index=pd.date_range(start, periods=hours, freq="h", tz="UTC", name="time"),
    )
    if missing:
        table = table.mask(draw.random(table.shape) < missing)
    return table

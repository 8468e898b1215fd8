"""Records of flowering, and of winters whose flowering was reported, with their chill and heat."""

from __future__ import annotations

import datetime as dt
from functools import cache

import numpy as np
import pandas as pd

from spraywindow.place import Place
from spraywindow.trees.chill_and_heat import WinterSums, winter_sums
from tests.conftest import SHARED
from tests.daily_curve import hourly_from_daily

CITIES = {
    "kyoto": Place(35.01, 135.77, 44.0, "Asia/Tokyo"),
    "washingtondc": Place(38.885, -77.04, 10.0, "America/New_York"),
}
"""Observed flowering of cherries, each spring from 1951 on."""
DAVIS = Place(38.54, -121.78, 18.0, "America/Los_Angeles")


def _sums(daily: pd.DataFrame, place: Place) -> WinterSums:
    """Of daily extremes [degC] in columns "low" and "high"."""
    daily = daily.reindex(pd.date_range(daily.index[0], daily.index[-1]))
    hourly = hourly_from_daily(
        daily["low"].to_numpy(), daily["high"].to_numpy(), place.latitude,
        daily.index.day_of_year,
    )  # fmt: skip
    local = pd.date_range(daily.index[0], periods=len(hourly), freq="h", tz="UTC")
    solar = pd.Timedelta(hours=round(place.longitude / 15))
    return winter_sums(pd.Series(hourly, index=local - solar), place)


@cache
def flowering_of(city: str) -> tuple[WinterSums, np.ndarray]:
    """Sums of a city's winters, and the day number of each one's flowering; NaN unknown."""
    folder = SHARED / "data" / "bloom"
    daily = pd.read_csv(folder / f"{city}_historical_climate.csv", index_col=0, parse_dates=True)
    sums = _sums(daily.rename(columns={"TMIN": "low", "TMAX": "high"}), CITIES[city])
    bloom = pd.read_csv(folder / f"{city}.csv").set_index("year")["bloom_doy"]
    new_year = [(dt.date(start.year + 1, 1, 1) - start).days for start in sums.starts]
    seen = [
        day + bloom.get(start.year + 1, np.nan) - 1
        for day, start in zip(new_year, sums.starts, strict=True)
    ]
    return sums, np.array(seen, dtype=float)


@cache
def davis() -> WinterSums:
    """Winters of a station in the Central Valley of California, where peaches are grown."""
    table = pd.read_csv(
        SHARED / "data" / "davis-daily" / "test_data.csv", index_col=0, parse_dates=True,
        encoding="utf-8-sig",
    )  # fmt: skip
    cells = table[["tmin", "tmax"]].apply(pd.to_numeric, errors="coerce")
    degrees = ((cells - 32) / 1.8).interpolate(limit=3)
    return _sums(degrees.rename(columns={"tmin": "low", "tmax": "high"}), DAVIS)

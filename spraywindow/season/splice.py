"""One forecast in front of many past winters, as one table: joined at its last known rain."""

from __future__ import annotations

import numpy as np
import pandas as pd

from spraywindow.place import Place
from spraywindow.spray.hours import sun_of, weather_columns
from spraywindow.weather.hourly import OPTIONAL, PERIOD_COLUMNS, RANGE_COLUMNS
from spraywindow.weather.interval import Array
from spraywindow.weather.wetness import radiation

SKY = ("solar_wm2", "cloud")


def alike(
    record: pd.DataFrame, forecast: pd.DataFrame, place: Place
) -> tuple[dict[str, Array], dict[str, Array]]:
    """The columns of a record and of a forecast, made the same ones.

    A record's chance of rain is 0 (its rain itself is known); radiation and cloud make up for each
    other; another optional column that only one of them carries is left out of both, so that
    its limit is not judged rather than unknown.

    Returns
    -------
    record, forecast : dict of str to array
    """
    past, ahead = weather_columns(record), weather_columns(forecast)
    if "rain_chance" in ahead:
        past["rain_chance"] = np.zeros(len(record))
    for columns, table in ((past, record), (ahead, forecast)):
        if len({*SKY} & columns.keys()) == 1:
            _fill_sky(columns, table, place)
    for name in OPTIONAL:
        if (name in past) != (name in ahead):
            past.pop(name, None)
            ahead.pop(name, None)
    for name in (*PERIOD_COLUMNS, *RANGE_COLUMNS):
        if (name in past) != (name in ahead):
            past.setdefault(name, np.full(len(record), np.nan))
            ahead.setdefault(name, np.full(len(forecast), np.nan))
    return past, ahead


def _fill_sky(columns: dict[str, Array], table: pd.DataFrame, place: Place) -> None:
    """Add the missing one of radiation and cloud, NaN where it stays unknown."""
    sun = sun_of(pd.DatetimeIndex(table.index), place)
    sky = radiation(
        sun.elevation_deg, sun.clear_wm2, columns.get("solar_wm2"), columns.get("cloud")
    )
    if sky is None:
        return
    for name, part in zip(SKY, (sky.solar_wm2, sky.cloud), strict=True):
        if name not in columns:
            columns[name] = np.where(part.low == part.high, part.low, np.nan)


def last_known_rain(forecast: pd.DataFrame) -> pd.Timestamp:
    """Last hour of a forecast whose rain is known, by itself or within a longer total."""
    known = forecast["rain_mm"].notna()
    if PERIOD_COLUMNS[0] in forecast:
        known |= forecast[PERIOD_COLUMNS[0]].notna()
    hours = forecast.index[known.to_numpy()]
    return pd.Timestamp(hours[-1] if len(hours) else forecast.index[0])

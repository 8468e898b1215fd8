"""What the weather did around a round: rain as an interval, extremes, conditions at the time.

Only hours that have passed count; an hour without a value leaves the highest rain open.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pandas as pd

from spraywindow.record.entry import WEATHER_FIELDS, Application
from spraywindow.weather import DIRECTED_MS, PERIOD_COLUMNS, rain_of

_HOUR = pd.Timedelta(hours=1)


def came(weather: pd.DataFrame, now: datetime) -> pd.DataFrame:
    """Keep the part of a weather table that is past and not forecast at `now` (tz-aware).

    Rain totals of periods that reach beyond it become unknown.
    """
    cut = pd.Timestamp(now).tz_convert("UTC")
    if weather.attrs.get("forecast_from") is not None:
        cut = min(cut, weather.attrs["forecast_from"])
    past = weather[weather.index <= cut - _HOUR].copy()
    if "rain_total_mm" in past.columns:
        ends = past.index + pd.to_timedelta(
            past["rain_total_h"] - past["rain_total_hour"], unit="h"
        )
        past["rain_total_mm"] = past["rain_total_mm"].where(ends <= cut)
    return past


def rain_between(weather: pd.DataFrame, start: datetime, end: datetime) -> tuple[float, float]:
    """Give the least and the most rain [mm] that can have fallen in ``[start, end)``.

    Parameters
    ----------
    weather : pandas.DataFrame
        Hourly table (see `spraywindow.weather.table`); totals of longer periods are used.
    start, end : datetime
        tz-aware. The rain of an hour, or of a period, that lies only partly inside counts
        towards the most, not towards the least.

    Returns
    -------
    tuple of float
        Least and most [mm]; the most is infinite when an hour is unknown.
    """
    begin, stop = (pd.Timestamp(t).tz_convert("UTC") for t in (start, end))
    if stop <= begin:
        return 0.0, 0.0
    touched = _rain_of_hours(weather, begin.floor("h"), stop.ceil("h"))
    whole = _rain_of_hours(weather, begin.ceil("h"), stop.floor("h"))
    return whole[0], touched[1]


def _rain_of_hours(
    weather: pd.DataFrame, begin: pd.Timestamp, stop: pd.Timestamp
) -> tuple[float, float]:
    """Least and most rain [mm] of the whole hours from `begin` to `stop`."""
    rows = weather.reindex(pd.date_range(begin, stop - _HOUR, freq="h"))
    if rows.empty:
        return 0.0, 0.0
    names = [name for name in ("rain_mm", *PERIOD_COLUMNS) if name in rows.columns]
    total = rain_of({name: rows[name].to_numpy("float64") for name in names}).ahead(len(rows))
    return float(total.low[0]), float(total.high[0])


def extremes_between(weather: pd.DataFrame, start: datetime, end: datetime) -> tuple[float, float]:
    """Give the lowest and highest temperature [degC] from `start` to `end`, both tz-aware.

    NaN when an hour in between is unknown. The extremes of longer steps are used where given.
    """
    begin, stop = (pd.Timestamp(t).tz_convert("UTC") for t in (start, end))
    rows = weather.reindex(pd.date_range(begin.floor("h"), stop.ceil("h") - _HOUR, freq="h"))
    temp = rows["temp_c"].to_numpy("float64")
    if not temp.size or np.isnan(temp).any():
        return float("nan"), float("nan")
    low, high = (
        rows[name].to_numpy("float64") if name in rows.columns else temp
        for name in ("temp_min_c", "temp_max_c")
    )
    return float(np.fmin(temp, low).min()), float(np.fmax(temp, high).max())


def with_weather(entry: Application, weather: pd.DataFrame) -> Application:
    """Fill in the weather at the time of an entry and mark it as estimated.

    Parameters
    ----------
    entry : Application
    weather : pandas.DataFrame
        Hourly table; the means of the values at the hours around start and end are taken.

    Returns
    -------
    Application
        A new one. Measured values stay; what the table does not know stays empty.
    """
    begin, stop = (pd.Timestamp(t).tz_convert("UTC") for t in (entry.start, entry.finished))
    rows = weather.reindex(pd.date_range(begin.floor("h"), stop.ceil("h"), freq="h"))
    found: dict[str, float] = {}
    for name in ("temp_c", "wind_ms"):
        values = rows[name].dropna()
        if len(values):
            found[name] = round(float(values.mean()), 1)
    if "wind_from_deg" in rows.columns:
        # a calm has no direction, though a report may say 0
        blowing = rows["wind_from_deg"].where(rows["wind_ms"] >= DIRECTED_MS)
        sky = np.deg2rad(blowing.dropna().to_numpy())
        east, north = np.sin(sky).sum(), np.cos(sky).sum()
        if np.hypot(east, north) > 1e-6:  # opposite winds have no mean direction
            found["wind_from_deg"] = float(round(np.rad2deg(np.arctan2(east, north))) % 360)
    filled = {
        name: value
        for name, value in found.items()
        if getattr(entry, name) is None or name in entry.estimated
    }
    if not filled:
        return entry
    name = str(weather.attrs.get("source", {}).get("name", "weather table"))
    border = weather.attrs.get("forecast_from")
    if border is not None and begin >= border:
        name += " (forecast)"
    marked = tuple(n for n in WEATHER_FIELDS if n in filled or n in entry.estimated)
    update = {**filled, "estimated": marked, "weather_source": name}
    return Application.read(dict(entry) | update)


def hours_passed(start: datetime, now: datetime) -> float:
    """Hours from `start` to `now` [h], not below 0."""
    return max(0.0, (now - start) / timedelta(hours=1))

"""The weather of the coming week as a picture shows it: what the limits look at, hour by hour."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from spraywindow.orchard.site import Site
from spraywindow.orchard.site_week import WEEK_D
from spraywindow.spray.conditions import Conditions
from spraywindow.spray.hours import sun_of, weather_columns
from spraywindow.spray.quantities import SUN_ON_WOOD_K_M2_W
from spraywindow.weather.air import pressure_at_kpa, wind_factor
from spraywindow.weather.hourly import check_hourly, known_at


def conditions_of(table: pd.DataFrame, site: Site) -> Conditions:
    """The derived quantities of a checked weather table at a site."""
    index = pd.DatetimeIndex(table.index)
    issued = table.attrs.get("forecast_from")
    return Conditions(
        weather_columns(table),
        sun_of(index, site.place),
        site.setting,
        forecast=None if issued is None else np.asarray(index >= issued),
        pressure_kpa=pressure_at_kpa(site.place.elevation_m),
    )


def week_weather(weather: pd.DataFrame, site: Site, now: pd.Timestamp) -> pd.DataFrame:
    """What the coming week's picture draws, from the hour of `now` to the week's last midnight.

    Parameters
    ----------
    weather : DataFrame
        Hourly table that holds `now`.
    site : Site
    now : Timestamp
        tz-aware.

    Returns
    -------
    DataFrame
        Indexed by local time, one row an hour, NaN where unknown: ``temp_c`` and ``wood_c``
        (wood in the sun) [degC], ``water_low_mm``, ``water_high_mm`` (on the bark) [mm],
        ``rain_mm`` (of the hour), ``rain_spread_mm`` (a longer total, spread evenly) [mm],
        ``wind_top_ms`` (at the tree top), ``gust_ms`` [m/s], ``sun_deg`` (elevation at mid-hour),
        ``night`` (bool).
    """
    table = known_at(check_hourly(weather), now)
    state = conditions_of(table, site)
    unknown = np.full(len(table), np.nan)
    temp, wind = state.columns["temp_c"], state.columns["wind_ms"]
    solar = np.where(state.solar.low == state.solar.high, state.solar.low, np.nan)
    total = table.get("rain_total_mm", pd.Series(unknown, index=table.index))
    length = table.get("rain_total_h", pd.Series(unknown, index=table.index))
    rain = state.columns["rain_mm"]
    out = pd.DataFrame(
        {
            "temp_c": temp,
            "wood_c": temp + SUN_ON_WOOD_K_M2_W * solar,
            "water_low_mm": state.water.low[:-1],
            "water_high_mm": state.water.high[:-1],
            "rain_mm": rain,
            "rain_spread_mm": np.where(np.isnan(rain), (total / length).to_numpy(), np.nan),
            "wind_top_ms": wind * wind_factor(site.setting.tree_height_m),
            "gust_ms": state.columns.get("gust_ms", unknown),
            "sun_deg": state.sun.elevation_deg,
            "night": state.sun.hours_from_rise_or_set <= 0.0,
        },
        index=pd.DatetimeIndex(table.index).tz_convert(site.place.timezone),
    )
    # water that nothing tells about runs from empty to full: no trace
    wide = out["water_high_mm"] - out["water_low_mm"] > 0.5 * site.setting.store_mm
    out.loc[wide, ["water_low_mm", "water_high_mm"]] = np.nan
    here = now.tz_convert(site.place.timezone)
    end = here.normalize() + pd.DateOffset(days=WEEK_D + 1)
    return out[(out.index >= here.floor("h")) & (out.index < end)]


def local_days(week: pd.DataFrame) -> list[dt.date]:
    """The local days that a week's table touches, in order."""
    return list(dict.fromkeys(pd.DatetimeIndex(week.index).date))

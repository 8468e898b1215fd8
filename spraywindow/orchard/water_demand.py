"""The hourly water demand of the air at a site, as bounds, from the weather table."""

from __future__ import annotations

import numpy as np
import pandas as pd

from spraywindow.orchard.local_days import days_of, local_dates
from spraywindow.place import Place
from spraywindow.weather.air import (
    pressure_at_kpa,
    saturation_vapour_pressure_kpa,
    wind_factor,
)
from spraywindow.weather.evapotranspiration import (
    MM_PER_MJ,
    Floats,
    extraterrestrial_radiation_daily,
    extraterrestrial_radiation_hourly,
    hargreaves_daily,
    net_radiation_hourly,
    reference_evapotranspiration_hourly,
    relative_radiation,
)

MJ_PER_WH = 0.0036


def water_demand(weather: pd.DataFrame, place: Place) -> pd.DataFrame:
    """Lowest and highest reference evapotranspiration of each hour [mm].

    Parameters
    ----------
    weather : pandas.DataFrame
        Checked hourly table; `solar_wm2` and `pressure_hpa` are used where they are there.
    place : Place
        Where the site lies.

    Returns
    -------
    pandas.DataFrame
        Columns `low_mm`, `high_mm` on the weather's index. The two agree where the hour is known
        (FAO-56 eq. 53), or where radiation is not but the whole local day's temperature is
        (eq. 52, spread over the day like the sun above the atmosphere). Elsewhere they are zero
        and what all the sunshine above the atmosphere could evaporate: no cloud is darker, and
        no calm, well-watered ground gives more for long.
    """
    index = pd.DatetimeIndex(weather.index)
    day = index.day_of_year.to_numpy(dtype=float)
    above = extraterrestrial_radiation_hourly(
        day, index.hour.to_numpy(dtype=float) + 0.5, place.latitude, place.longitude
    )
    exact = _penman_monteith(weather, place, above)
    spread = _hargreaves(weather, place, above)
    known = np.where(np.isnan(exact), spread, exact)
    unknown = np.isnan(known)
    return pd.DataFrame(
        {
            "low_mm": np.where(unknown, 0.0, known),
            "high_mm": np.where(unknown, MM_PER_MJ * above, known),
        },
        index=index,
    )


def _penman_monteith(weather: pd.DataFrame, place: Place, above: Floats) -> Floats:
    if "solar_wm2" not in weather.columns:
        return np.full(len(weather), np.nan)
    # A sum of the hour is judged on means of the hour: both ends of the instant values.
    temp, dew, wind = (_hour_mean(weather[name]) for name in ("temp_c", "dew_point_c", "wind_ms"))
    solar = weather["solar_wm2"].to_numpy(dtype=float) * MJ_PER_WH
    solar = np.where(above <= 0, 0.0, solar)  # a night needs no pyranometer
    vapour = saturation_vapour_pressure_kpa(dew)
    ratio = relative_radiation(solar, above, elevation_m=place.elevation_m)
    pressure = np.full(len(weather), pressure_at_kpa(place.elevation_m))
    if "pressure_hpa" in weather.columns:
        measured = weather["pressure_hpa"].to_numpy(dtype=float) / 10
        pressure = np.where(np.isnan(measured), pressure, measured)
    hourly = reference_evapotranspiration_hourly(
        temp, vapour, wind * wind_factor(2.0), net_radiation_hourly(solar, ratio, temp, vapour),
        daylight=above > 0, pressure_kpa=pressure,
    )  # fmt: skip
    return np.maximum(hourly, 0.0)


def _hour_mean(values: pd.Series[float]) -> Floats:
    """Mean of the two ends of each hour; the last hour has only its start."""
    begin = values.to_numpy(dtype=float)
    end = np.append(begin[1:], begin[-1:])
    return np.asarray(np.where(np.isnan(end), begin, (begin + end) / 2))


def _hargreaves(weather: pd.DataFrame, place: Place, above: Floats) -> Floats:
    """Daily sums spread over the hours; NaN unless all the day's hours have a temperature."""
    temp = weather["temp_c"]
    low = temp if "temp_min_c" not in weather else weather["temp_min_c"].fillna(temp)
    high = temp if "temp_max_c" not in weather else weather["temp_max_c"].fillna(temp)
    local_day = local_dates(pd.DatetimeIndex(weather.index), place.timezone)
    frame = pd.DataFrame(
        {"low": low.to_numpy(dtype=float), "high": high.to_numpy(dtype=float), "above": above}
    )
    group = frame.groupby(local_day.asi8)
    days, edges = days_of(weather, place.timezone)
    length_h = np.diff(edges)[days.get_indexer(local_day)]
    have = group["low"].transform("count").to_numpy()
    above_day = group["above"].transform("sum").to_numpy()
    sums = hargreaves_daily(
        group["low"].transform("min").to_numpy(dtype=float),
        group["high"].transform("max").to_numpy(dtype=float),
        extraterrestrial_radiation_daily(
            local_day.day_of_year.to_numpy(dtype=float), place.latitude
        ),
    )
    share = np.divide(above, above_day, out=np.zeros_like(above), where=above_day > 0)
    return np.where(have == length_h, sums * share, np.nan)

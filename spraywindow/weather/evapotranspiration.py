"""How much water the air takes from short, well-watered grass: reference evapotranspiration.

Pure arrays, time on the first axis, energies in MJ/m2 as in the paper; `water_demand` gives it
for a weather table and a site, as bounds.

References
----------
.. [1] Allen, R. G., Pereira, L. S., Raes, D. and Smith, M. (1998), Crop evapotranspiration,
   FAO Irrigation and Drainage Paper 56. Equation numbers below are of this paper.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from spraywindow.days import days_of, local_dates
from spraywindow.place import Place
from spraywindow.weather.air import (
    pressure_at_kpa,
    saturation_vapour_pressure_kpa,
    vapour_pressure_slope_kpa,
    wind_factor,
)

Floats = NDArray[np.float64]

SOLAR_CONSTANT_MJ_M2_MIN = 0.0820
STEFAN_BOLTZMANN_MJ_M2_H = 4.903e-9 / 24
ALBEDO = 0.23
MM_PER_MJ = 0.408
"""Depth of water that 1 MJ/m2 evaporates [mm], eq. 20."""
LOW_SUN_MJ_M2_H = 0.9
"""Below this extraterrestrial radiation the sun is too low (about 10 degrees) for the ratio of
measured to clear-sky radiation to tell of clouds; P: common practice, no source."""
RATIO_BEFORE_FIRST_SUN = 0.7
"""Relative radiation taken for a night before the first measured sun (FAO-56 p. 75: 0.4-0.6
humid, 0.7-0.8 dry climates)."""


def _sun_terms(day_of_year: Floats, latitude_deg: ArrayLike) -> tuple[Any, Any, Any, Any]:
    """Inverse relative distance, declination, latitude and sunset angle, eqs 22-25 [rad]."""
    latitude = np.radians(np.asarray(latitude_deg, dtype=float))
    angle = 2 * np.pi * day_of_year / 365
    distance = 1 + 0.033 * np.cos(angle)  # eq. 23
    declination = 0.409 * np.sin(angle - 1.39)  # eq. 24
    sunset = np.arccos(np.clip(-np.tan(latitude) * np.tan(declination), -1, 1))  # eq. 25
    return distance, declination, latitude, sunset


def extraterrestrial_radiation_hourly(
    day_of_year: ArrayLike,
    mid_hour_utc: ArrayLike,
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
) -> Floats:
    """Radiation above the atmosphere on a horizontal surface over one hour [MJ/m2], eqs 28-33.

    Parameters
    ----------
    day_of_year : array
        1 to 366.
    mid_hour_utc : array
        UTC clock at the middle of the hour [h], 0 to 24.
    latitude_deg, longitude_deg : float or array
        North and east positive [degrees].

    Notes
    -----
    The hour is cut at sunrise and sunset, so a half-lit hour counts its lit part only.
    """
    day = np.asarray(day_of_year, dtype=float)
    distance, declination, latitude, sunset = _sun_terms(day, latitude_deg)
    season = 2 * np.pi * (day - 81) / 364  # eq. 33
    correction_h = 0.1645 * np.sin(2 * season) - 0.1255 * np.cos(season) - 0.025 * np.sin(season)
    clock_h = np.asarray(mid_hour_utc, dtype=float) + np.asarray(longitude_deg, dtype=float) / 15
    hour_angle = np.pi / 12 * ((clock_h + correction_h) - 12)  # eq. 31
    hour_angle = (hour_angle + np.pi) % (2 * np.pi) - np.pi
    begin = np.clip(hour_angle - np.pi / 24, -sunset, sunset)  # eq. 29
    end = np.clip(hour_angle + np.pi / 24, -sunset, sunset)  # eq. 30
    return np.asarray(
        12 * 60 / np.pi * SOLAR_CONSTANT_MJ_M2_MIN * distance  # eq. 28
        * ((end - begin) * np.sin(latitude) * np.sin(declination)
           + np.cos(latitude) * np.cos(declination) * (np.sin(end) - np.sin(begin)))
    ).clip(min=0.0)  # fmt: skip


def extraterrestrial_radiation_daily(day_of_year: ArrayLike, latitude_deg: ArrayLike) -> Floats:
    """Radiation above the atmosphere on a horizontal surface over one day [MJ/m2], eq. 21."""
    day = np.asarray(day_of_year, dtype=float)
    distance, declination, latitude, sunset = _sun_terms(day, latitude_deg)
    return np.asarray(
        24 * 60 / np.pi * SOLAR_CONSTANT_MJ_M2_MIN * distance
        * (sunset * np.sin(latitude) * np.sin(declination)
           + np.cos(latitude) * np.cos(declination) * np.sin(sunset))
    )  # fmt: skip


def relative_radiation(
    solar_mj: ArrayLike, extraterrestrial_mj: ArrayLike, *, elevation_m: float
) -> Floats:
    """Measured over clear-sky radiation, 0.3 to 1; carried through the night from the last sun.

    Parameters
    ----------
    solar_mj, extraterrestrial_mj : array
        [MJ/m2 per hour], time on the first axis.
    elevation_m : float
        Height above sea level [m].

    Returns
    -------
    array
        NaN where the radiation of a sunlit hour is unknown, and through the night after it.
    """  # fmt: skip
    solar, above = np.asarray(solar_mj, dtype=float), np.asarray(extraterrestrial_mj, dtype=float)
    clear = (0.75 + 2e-5 * elevation_m) * above  # eq. 37
    sunny = above > LOW_SUN_MJ_M2_H
    ratio = np.divide(solar, clear, out=np.full(np.broadcast(solar, clear).shape, np.nan),
                      where=sunny)  # fmt: skip
    hours = np.arange(ratio.shape[0]).reshape(-1, *[1] * (ratio.ndim - 1))
    last = np.maximum.accumulate(np.where(sunny, hours, -1), axis=0)
    carried = np.take_along_axis(ratio, np.maximum(last, 0), axis=0)
    return np.asarray(np.clip(np.where(last < 0, RATIO_BEFORE_FIRST_SUN, carried), 0.3, 1.0))


def net_radiation_hourly(
    solar_mj: ArrayLike, relative: ArrayLike, temp_c: ArrayLike, vapour_pressure_kpa: ArrayLike
) -> Floats:
    """Net radiation of the grass over one hour [MJ/m2], eqs 38-40.

    Parameters
    ----------
    solar_mj : array
        Global horizontal radiation [MJ/m2 per hour].
    relative : array
        Measured over clear-sky radiation (0.3-1), as `relative_radiation` gives it.
    temp_c, vapour_pressure_kpa : array
        Air at 2 m [degC, kPa].
    """  # fmt: skip
    shortwave = (1 - ALBEDO) * np.asarray(solar_mj, dtype=float)  # eq. 38
    kelvin = np.asarray(temp_c, dtype=float) + 273.16
    vapour = np.asarray(vapour_pressure_kpa, dtype=float)
    longwave = (  # eq. 39
        STEFAN_BOLTZMANN_MJ_M2_H * kelvin**4 * (0.34 - 0.14 * np.sqrt(vapour))
        * (1.35 * np.asarray(relative, dtype=float) - 0.35)
    )  # fmt: skip
    return np.asarray(shortwave - longwave)  # eq. 40


def reference_evapotranspiration_hourly(
    temp_c: ArrayLike,
    vapour_pressure_kpa: ArrayLike,
    wind_2m_ms: ArrayLike,
    net_radiation_mj: ArrayLike,
    *,
    daylight: ArrayLike,
    pressure_kpa: ArrayLike,
) -> Floats:
    """Hourly reference evapotranspiration [mm], FAO-56 Penman-Monteith, eq. 53.

    Parameters
    ----------
    temp_c, vapour_pressure_kpa : array
        Mean air temperature [degC] and vapour pressure [kPa] of the hour at 2 m.
    wind_2m_ms : array
        Mean wind at 2 m [m/s].
    net_radiation_mj : array
        [MJ/m2 per hour].
    daylight : array of bool
        Is the sun up? It decides the heat that goes into the ground (eqs 45, 46).
    pressure_kpa : float or array
        Air pressure [kPa].

    Returns
    -------
    array
        NaN where an input is unknown. Negative values at night are dew; set them to zero for
        water use.
    """  # fmt: skip
    temp = np.asarray(temp_c, dtype=float)
    wind = np.asarray(wind_2m_ms, dtype=float)
    net = np.asarray(net_radiation_mj, dtype=float)
    saturation = saturation_vapour_pressure_kpa(temp)
    deficit = saturation - np.asarray(vapour_pressure_kpa, dtype=float)
    slope = vapour_pressure_slope_kpa(temp, saturation)
    gamma = 0.665e-3 * np.asarray(pressure_kpa, dtype=float)  # eq. 8
    ground = np.where(daylight, 0.1, 0.5) * net  # eqs 45, 46
    return np.asarray(
        (MM_PER_MJ * slope * (net - ground) + gamma * 37 / (temp + 273) * wind * deficit)
        / (slope + gamma * (1 + 0.34 * wind))
    )


def hargreaves_daily(
    temp_min_c: ArrayLike, temp_max_c: ArrayLike, extraterrestrial_mj: ArrayLike
) -> Floats:
    """Daily reference evapotranspiration from the day's extremes alone [mm], eq. 52.

    Parameters
    ----------
    temp_min_c, temp_max_c : array
        Lowest and highest air temperature of the day [degC].
    extraterrestrial_mj : array
        Daily radiation above the atmosphere [MJ/m2], eq. 21.

    Notes
    -----
    For want of radiation; it tends to give too little in wind and too much in humid air
    (FAO-56 p. 64). Below -17.8 degC the formula turns negative; zero is given.
    """  # fmt: skip
    low, high = np.asarray(temp_min_c, dtype=float), np.asarray(temp_max_c, dtype=float)
    above_mm = MM_PER_MJ * np.asarray(extraterrestrial_mj, dtype=float)
    mean = (low + high) / 2
    spread = np.sqrt(np.maximum(high - low, 0.0))
    return np.asarray(np.maximum(0.0023 * (mean + 17.8) * spread * above_mm, 0.0))


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

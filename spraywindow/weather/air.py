"""Moisture and wind: pure array functions, NaN in gives NaN out.

References
----------
.. [1] Allen, Pereira, Raes, Smith (1998), Crop evapotranspiration, FAO Irrigation and Drainage
   Paper 56 (FAO-56).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

PSYCHROMETER = 0.000662
"""Coefficient of a ventilated psychrometer [1/K], FAO-56 eq. 16."""


def saturation_vapour_pressure_kpa(temp_c: ArrayLike) -> Array:
    """Saturation vapour pressure over water [kPa], FAO-56 eq. 11.

    Parameters
    ----------
    temp_c : array
        Air temperature [degC], -40 to 60.

    Examples
    --------
    >>> round(float(saturation_vapour_pressure_kpa(15.0)), 3)
    1.705
    """
    temp = np.asarray(temp_c, dtype=float)
    return np.asarray(0.6108 * np.exp(17.27 * temp / (temp + 237.3)))  # eq. 11


def vapour_pressure_slope_kpa(temp_c: ArrayLike, saturation_kpa: ArrayLike | None = None) -> Array:
    """Slope of the saturation vapour pressure curve [kPa/K], FAO-56 eq. 13.

    `saturation_kpa` saves computing it again where the caller has it.
    """
    temp = np.asarray(temp_c, dtype=float)
    if saturation_kpa is None:
        saturation_kpa = saturation_vapour_pressure_kpa(temp)
    return np.asarray(4098.0 * np.asarray(saturation_kpa) / (temp + 237.3) ** 2)  # eq. 13


def relative_humidity(temp_c: ArrayLike, dew_point_c: ArrayLike) -> Array:
    """Relative humidity [%] from air temperature and dew point [degC], FAO-56 eq. 10 and 14."""
    actual = saturation_vapour_pressure_kpa(dew_point_c)  # eq. 14
    return np.asarray(100.0 * actual / saturation_vapour_pressure_kpa(temp_c))  # eq. 10


def dew_point_from_humidity(temp_c: ArrayLike, rh_pct: ArrayLike) -> Array:
    """Dew point [degC] from air temperature [degC] and relative humidity [%].

    FAO-56 eq. 10 for the vapour pressure, annex 3 eq. 3-11 (eq. 11 inverted) for the dew point.
    Humidity of 0 gives NaN: no dew point.
    """
    share = np.asarray(rh_pct, dtype=float) / 100.0
    with np.errstate(divide="ignore", invalid="ignore"):
        actual = np.where(share > 0, share, np.nan) * saturation_vapour_pressure_kpa(temp_c)
        log = np.log(actual / 0.6108)
        return np.asarray(237.3 * log / (17.27 - log))


def pressure_at_kpa(elevation_m: float) -> float:
    """Mean air pressure [kPa] at a height above the sea [m], FAO-56 eq. 7."""
    return float(101.3 * ((293.0 - 0.0065 * elevation_m) / 293.0) ** 5.26)


def wet_bulb_c(
    temp_c: ArrayLike,
    dew_point_c: ArrayLike,
    pressure_kpa: ArrayLike = 101.3,
    coefficient: float = PSYCHROMETER,
) -> Array:
    """Wet-bulb temperature [degC]: the psychrometer equation solved for it.

    Parameters
    ----------
    temp_c, dew_point_c : array
        [degC]; a dew point above the air counts as saturated.
    pressure_kpa : array
        Air pressure at the site [kPa].
    coefficient : float
        Of the psychrometer [1/K]: 0.000662 ventilated, 0.0008 naturally ventilated (FAO-56 eq. 16).

    Returns
    -------
    array
        [degC], between dew point and air temperature.

    Notes
    -----
    ``ea = es(Tw) - coefficient * P * (T - Tw)`` (FAO-56 eq. 15), by Newton steps from a third of
    the way down; five steps reach 1e-6 K over -20 to 50 degC. Water, not ice, below freezing.
    """
    temp = np.asarray(temp_c, dtype=float)
    dew = np.minimum(np.asarray(dew_point_c, dtype=float), temp)
    actual = saturation_vapour_pressure_kpa(dew)
    gamma = coefficient * np.asarray(pressure_kpa, dtype=float)  # eq. 16
    wet = temp - (temp - dew) / 3.0
    for _ in range(5):
        saturation = saturation_vapour_pressure_kpa(wet)
        excess = saturation - gamma * (temp - wet) - actual  # eq. 15
        wet = wet - excess / (vapour_pressure_slope_kpa(wet, saturation) + gamma)
    return np.asarray(np.clip(wet, dew, temp))


def wind_factor(height_m: float, measured_at_m: float = 10.0) -> float:
    """Wind at a height as a share of the wind at another, FAO-56 eq. 47.

    Parameters
    ----------
    height_m, measured_at_m : float
        Above the ground [m], at least 0.5.

    Examples
    --------
    >>> round(wind_factor(2.0), 3)
    0.748
    """
    if min(height_m, measured_at_m) < 0.5:
        raise ValueError("the logarithmic wind profile needs heights of at least 0.5 m")
    return float(np.log(67.8 * height_m - 5.42) / np.log(67.8 * measured_at_m - 5.42))  # eq. 47

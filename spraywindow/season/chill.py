"""Winter chill and spring heat from hourly temperatures: pure array functions.

Time is the first axis, further axes (winters, sites) follow. NaN is an unknown hour: it stays NaN
in hourly units, and an accumulated sum is NaN from there on. `fill_short_gaps` bridges up to
three hours; anything longer is for the caller to decide.

References
----------
.. [1] Richardson, Seeley and Walker (1974), A model for estimating the completion of rest for
   'Redhaven' and 'Elberta' peach trees, HortScience 9: 331-332.
.. [2] Fishman, Erez and Couvillon (1987), The temperature dependence of dormancy breaking in
   plants, J. Theor. Biol. 124: 473-483; Erez et al. (1990), Acta Hort. 276: 165-174.
.. [3] Anderson, Richardson and Kesner (1986), Validation of chill unit and flower bud phenology
   models for 'Montmorency' sour cherry, Acta Hort. 184: 71-78.
.. [4] Linvill (1990), Calculating chilling hours and chill units from daily maximum and minimum
   temperature observations, HortScience 25: 14-16.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

LONGEST_GAP_H = 3
"""Gaps up to this many hours are bridged by a straight line (P: common practice, no source)."""

_UTAH_EDGES_C = np.array([1.4, 2.4, 9.1, 12.4, 15.9, 18.0])
_UTAH_UNITS = np.array([0.0, 0.5, 1.0, 0.5, 0.0, -0.5, -1.0])
_E0, _E1, _A0, _A1, _SLOPE, _THETA = 4153.5, 12888.8, 139500.0, 2.567e18, 1.6, 277.0
_BASE_C, _OPTIMUM_C, _CRITICAL_C = 4.0, 25.0, 36.0


def chill_hours(temp_c: ArrayLike) -> Floats:
    """Chill hours: 1 for every hour above 0 and up to 7.2 degC, else 0; NaN where unknown."""
    temp = np.asarray(temp_c, dtype=float)
    return np.where(np.isnan(temp), np.nan, ((temp > 0.0) & (temp <= 7.2)).astype(float))


def utah_units(temp_c: ArrayLike) -> Floats:
    """Utah chill units of each hour, -1 to 1; NaN where the temperature is unknown.

    Notes
    -----
    [1]_: up to 1.4 degC 0, to 2.4 0.5, to 9.1 1, to 12.4 0.5, to 15.9 0, to 18 -0.5, above -1;
    an edge belongs to the class below it.
    """
    temp = np.asarray(temp_c, dtype=float)
    units = _UTAH_UNITS[np.searchsorted(_UTAH_EDGES_C, temp, side="left")]
    return np.where(np.isnan(temp), np.nan, units)


def chill_portions(temp_c: ArrayLike) -> Floats:
    """Chill portions of the dynamic model, accumulated to the end of each hour.

    Parameters
    ----------
    temp_c : array, shape (hours, ...)
        Air temperature [degC].

    Returns
    -------
    array, shape (hours, ...)
        Portions since the first hour; NaN from the first unknown hour on.

    Notes
    -----
    [2]_: an intermediate product E builds up and breaks down with the temperature; what exceeds
    one unit is fixed for good as a portion, by a share that warmth reduces.
    """
    temp = np.asarray(temp_c, dtype=float)
    kelvin = temp + 273.0  # as published, not 273.15
    level = _A0 / _A1 * np.exp((_E1 - _E0) / kelvin)  # xs
    stay = np.exp(-_A1 * np.exp(-_E1 / kelvin))  # e^-k1
    odds = np.exp(_SLOPE * _THETA * (kelvin - _THETA) / kelvin)
    fixed_share = odds / (1.0 + odds)  # xi
    fixed = np.empty_like(temp)
    product = np.zeros(temp.shape[1:])  # E
    left = product
    for hour in range(len(temp)):
        product = level[hour] - (level[hour] - left) * stay[hour]
        # An unknown product compares as False and stays NaN through the product below.
        fixed[hour] = (product >= 1.0) * fixed_share[hour] * product
        left = product - fixed[hour]
    return np.cumsum(fixed, axis=0)


def growing_degree_hours(temp_c: ArrayLike) -> Floats:
    """Growing degree hours of each hour [degC h], 0 to 21; NaN where unknown.

    Notes
    -----
    The asymmetric cosine of [3]_ between 4 degC (base), 25 (optimum) and 36 (critical).
    """
    temp = np.asarray(temp_c, dtype=float)
    rise = 10.5 * (1 + np.cos(np.pi + np.pi * (temp - _BASE_C) / (_OPTIMUM_C - _BASE_C)))
    fall = 21.0 * (
        1 + np.cos(np.pi / 2 + np.pi / 2 * (temp - _OPTIMUM_C) / (_CRITICAL_C - _OPTIMUM_C))
    )
    heat = np.where(temp <= _OPTIMUM_C, rise, fall)
    return np.where((temp <= _BASE_C) | (temp >= _CRITICAL_C), 0.0, heat)


def fill_short_gaps(values: ArrayLike, longest_h: int = LONGEST_GAP_H) -> Floats:
    """Bridge gaps of up to `longest_h` hours by a straight line; longer ones stay NaN.

    Parameters
    ----------
    values : array, shape (hours, ...)
        Hourly values of something that changes smoothly, such as temperature.
    longest_h : int
        Longest gap that is bridged [h].
    """
    known = np.asarray(values, dtype=float)
    hours = np.arange(len(known)).reshape(-1, *[1] * (known.ndim - 1))
    there = ~np.isnan(known)
    before = np.maximum.accumulate(np.where(there, hours, -1), axis=0)
    after = np.minimum.accumulate(np.where(there, hours, len(known))[::-1], axis=0)[::-1]
    short = ~there & (before >= 0) & (after < len(known)) & (after - before - 1 <= longest_h)
    left = np.take_along_axis(known, np.maximum(before, 0), axis=0)
    right = np.take_along_axis(known, np.minimum(after, len(known) - 1), axis=0)
    weight = (hours - before) / np.maximum(after - before, 1)
    return np.where(short, left + weight * (right - left), known)


def hourly_from_daily(
    temp_min_c: ArrayLike, temp_max_c: ArrayLike, latitude: float, day_of_year: ArrayLike
) -> Floats:
    """Hourly temperatures from the daily extremes, by a sine by day and a logarithm by night.

    Parameters
    ----------
    temp_min_c, temp_max_c : array, shape (days, ...)
        Lowest and highest temperature of consecutive days [degC].
    latitude : float
        [degrees], north positive.
    day_of_year : array, shape (days,)
        1 to 366.

    Returns
    -------
    array, shape (24 * days, ...)
        Temperature [degC] at 0, 1, ... 23 h of local solar time; NaN where an extreme that the
        hour needs is unknown.

    Notes
    -----
    [4]_. By day ``Tmin + (Tmax - Tmin) sin(pi t / (L + 4))``, t hours after sunrise and L the day
    length; by night ``Ts - (Ts - Tmin) ln t / ln(24 - L)``, t hours after sunset, Ts the
    temperature then and Tmin that of the morning to come. The first hour after sunset is held
    at Ts. At the ends of the record the night borrows its own day's values.
    """
    from pvlib.solarposition import declination_spencer71

    low, high = np.asarray(temp_min_c, dtype=float), np.asarray(temp_max_c, dtype=float)
    shape = (len(low), 1, *[1] * (low.ndim - 1))
    declination = declination_spencer71(np.asarray(day_of_year, dtype=float))
    # FAO-56 (Allen et al. 1998), eq. 25 and 34.
    sunset_angle = np.arccos(np.clip(-np.tan(np.radians(latitude)) * np.tan(declination), -1, 1))
    length_h = (24 / np.pi * sunset_angle).reshape(shape)
    hour = np.arange(24.0).reshape(1, 24, *shape[2:])
    rise_h, set_h = 12 - length_h / 2, 12 + length_h / 2

    low, high = low[:, None], high[:, None]
    at_sunset = low + (high - low) * np.sin(np.pi * length_h / (length_h + 4))
    low_next = np.concatenate([low[1:], low[-1:]])
    at_sunset_before = np.concatenate([at_sunset[:1], at_sunset[:-1]])

    def night(since_h: Floats, start: Floats, end: Floats) -> Floats:
        share = np.log(np.maximum(since_h, 1.0)) / np.log(np.maximum(24 - length_h, 1.0 + 1e-9))
        return np.asarray(start - (start - end) * np.minimum(share, 1.0))

    by_day = low + (high - low) * np.sin(np.pi * (hour - rise_h) / (length_h + 4))
    evening = night(hour - set_h, at_sunset, low_next)
    morning = night(hour + 24 - set_h, at_sunset_before, low)
    curve = np.where(hour < rise_h, morning, np.where(hour <= set_h, by_day, evening))
    return np.asarray(curve.reshape(24 * len(low), *low.shape[2:]))

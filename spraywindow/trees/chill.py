"""Winter chill and spring heat from hourly temperatures: pure array functions.

Time is the first axis, further axes (winters, sites) follow. NaN is an unknown hour: it stays NaN
in hourly units, and an accumulated sum is NaN from there on. `fill_short_gaps` bridges up to
three hours; anything longer is for the caller to decide.

References
----------
.. [1] Fishman, Erez and Couvillon (1987), The temperature dependence of dormancy breaking in
   plants, J. Theor. Biol. 124: 473-483; Erez et al. (1990), Acta Hort. 276: 165-174.
.. [2] Anderson, Richardson and Kesner (1986), Validation of chill unit and flower bud phenology
   models for 'Montmorency' sour cherry, Acta Hort. 184: 71-78.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

LONGEST_GAP_H = 3
"""Gaps up to this many hours are bridged by a straight line (P: common practice, no source)."""

_E0, _E1, _A0, _A1, _SLOPE, _THETA = 4153.5, 12888.8, 139500.0, 2.567e18, 1.6, 277.0
_BASE_C, _OPTIMUM_C, _CRITICAL_C = 4.0, 25.0, 36.0


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
    [1]_: an intermediate product E builds up and breaks down with the temperature; what exceeds
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
    The asymmetric cosine of [2]_ between 4 degC (base), 25 (optimum) and 36 (critical).
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

"""Hourly temperatures for records that hold daily extremes alone.

References
----------
.. [1] Linvill (1990), Calculating chilling hours and chill units from daily maximum and minimum
   temperature observations, HortScience 25: 14-16.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from pvlib.solarposition import declination_spencer71

from spraywindow.trees.chill import Floats


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
    [1]_. By day ``Tmin + (Tmax - Tmin) sin(pi t / (L + 4))``, t hours after sunrise and L the day
    length; by night ``Ts - (Ts - Tmin) ln t / ln(24 - L)``, t hours after sunset, Ts the
    temperature then and Tmin that of the morning to come. The first hour after sunset is held
    at Ts. At the ends of the record the night borrows its own day's values.
    """
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

"""Rain that looks like inches in a column of millimetres."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

LEAST_DAYS = 180
"""A shorter record says too little."""
LEAST_WET_H = 30
INCH_STEP = 0.01
"""Gauges that read inches count hundredths of one."""
MOST_IN, MEAN_IN = 3.0, 0.12
"""No hour brings 3 inches in a mild winter, and its usual wet hour a few hundredths; wet hours
of 0.12 mm in the mean would be mist (P: common practice, no source)."""
FINE_SHARE = 0.5
"""Least share of wet hours that are not whole tenths: records in mm are often in tenths; P."""
NOTE = "rain looks like inches read as mm: is the unit right?"


def rain_unit_note(rain_mm: NDArray[np.float64]) -> list[str]:
    """Say where hourly rain, taken for millimetres, looks like inches.

    Parameters
    ----------
    rain_mm : array, shape (hours,)
        Rain of each hour [mm]; NaN is unknown.

    Returns
    -------
    list of str
        `NOTE`, or nothing. It is a suspicion: a very dry place may look so too.
    """
    known = rain_mm[~np.isnan(rain_mm)]
    wet = known[known > 0.0]
    if len(known) < LEAST_DAYS * 24 or len(wet) < LEAST_WET_H:
        return []
    small = bool(wet.max() < MOST_IN and wet.mean() < MEAN_IN)
    stepped = _whole(wet, INCH_STEP).all()
    fine = 1.0 - _whole(wet, 10 * INCH_STEP).mean()
    return [NOTE] if small and stepped and fine >= FINE_SHARE else []


def _whole(values: NDArray[np.float64], step: float) -> NDArray[np.bool_]:
    """Which values are whole multiples of a step."""
    steps = values / step
    return np.abs(steps - np.round(steps)) < 1e-6

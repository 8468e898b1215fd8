"""Least and most rain of any run of hours of a weather table, inside it or not."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from spraywindow.weather.hourly import PERIOD_COLUMNS
from spraywindow.weather.rain import rain_of

Floats = NDArray[np.float64]


def rain_between(weather: pd.DataFrame, start: ArrayLike, stop: ArrayLike) -> tuple[Floats, Floats]:
    """Least and most rain of the hours from `start` up to, not including, `stop` [mm].

    Parameters
    ----------
    weather : pandas.DataFrame
        Checked hourly table of n hours, with or without `PERIOD_COLUMNS`.
    start, stop : integer arrays
        Row numbers, of equal shape, `stop` after `start`; they may lie before 0 or beyond n.

    Returns
    -------
    low, high : arrays
        A period total counts whole in `high` of every run that it overlaps, and in `low` only
        of a run that holds the whole period. Unknown hours, and hours outside the table, add
        nothing to `low` and make `high` infinite.
    """
    rain = rain_of({
        name: weather[name].to_numpy(dtype=float)
        for name in ("rain_mm", *PERIOD_COLUMNS) if name in weather.columns
    })  # fmt: skip
    rows = len(weather)
    begin, end = np.broadcast_arrays(np.asarray(start, dtype=int), np.asarray(stop, dtype=int))
    first, last = np.clip(begin, 0, rows), np.clip(end, 0, rows)
    low, high = np.zeros(begin.shape), np.full(begin.shape, np.inf)
    whole = (first == begin) & (last == end)
    for hours in np.unique((last - first)[last > first]):  # few: the runs are days and spans
        chosen = last - first == hours
        sums = rain.ahead(int(hours))
        low[chosen] = sums.low[first[chosen]]
        high[chosen] = np.where(whole[chosen], sums.high[first[chosen]], np.inf)
    return low, high

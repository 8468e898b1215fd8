"""Hours of the weather that nothing tells, though later ones are told: holes, to be named."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.weather.table import REQUIRED

LOOK_BACK_H = 48
"""Hours before now whose holes are named: the wood may still be wet from then; P."""


class Hole(NamedTuple):
    """Hours of one column without a value: the first, and the hour after the last."""

    column: str
    start: pd.Timestamp
    end: pd.Timestamp


def holes(table: pd.DataFrame, now: pd.Timestamp) -> list[Hole]:
    """Find the holes of the required columns, from two days before `now` on.

    Parameters
    ----------
    table : DataFrame
        Checked hourly table.
    now : Timestamp
        tz-aware; holes are given in its time zone.

    Notes
    -----
    What is unknown after a column's last value is no hole: the weather ends there. Rain that a
    longer total tells is known.
    """
    index = pd.DatetimeIndex(table.index)
    inside = np.asarray(index >= now - pd.Timedelta(hours=LOOK_BACK_H))
    found = []
    for column in REQUIRED:
        known = table[column].notna().to_numpy()
        if column == "rain_mm" and "rain_total_mm" in table:
            known = known | table["rain_total_mm"].notna().to_numpy()
        told = np.flatnonzero(known)
        last = told[-1] if len(told) else -1
        open_ = ~known & inside & (np.arange(len(index)) < last)
        for first, after in _runs(open_):
            begin, end = index[first], index[after - 1] + pd.Timedelta(hours=1)
            found.append(Hole(column, begin.tz_convert(now.tz), end.tz_convert(now.tz)))
    return found


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First rows of the runs of a flag, and the rows after them."""
    step = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    return [(int(first), int(after)) for first, after in step.reshape(-1, 2)]

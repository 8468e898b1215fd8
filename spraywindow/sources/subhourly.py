"""Several readings of an instant within one hour, and extremes that a file states itself.

Times are whole minutes since 1970 as integers; `grid` is a run of hours, 60 minutes apart.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from spraywindow.sources.steps import HOUR, LONGEST_BRIDGE

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Integers = NDArray[np.int64]
TURN_DEG = 45.0
"""A wind that turns further than this from its direction on the hour has none for the hour [deg];
P: as far as a limit keeps it from the neighbours."""


def hour_extremes(
    grid: Integers, at: Integers, values: Floats, spans: Integers
) -> tuple[Floats, Floats, Flags]:
    """Lowest and highest reading of each hour (NaN unless they fill it), and where some lack.

    Parameters
    ----------
    grid : integer array, shape (hours,)
        Minutes of the whole hours.
    at : integer array, shape (n,)
        Minutes of the readings, ascending.
    values : array, shape (n,)
        NaN is unknown: an hour that lacks a reading could have been colder or windier.
    spans : integer array, shape (n,)
        How long each reading stands for [min] (`spraywindow.sources.steps.spans`). A column that
        is only ever read on the hour counts as hourly, and so does the last reading of all: what
        follows it is unknown anyway.
    """
    known = np.flatnonzero(~np.isnan(values))
    hour, minute = np.divmod(at[known] - grid[0], HOUR)
    inside = (hour >= 0) & (hour < grid.size)
    known, hour, minute = known[inside], hour[inside], minute[inside]
    span = spans[known] if minute.any() else np.full(known.size, HOUR)
    if known.size and known[-1] == at.size - 1 and minute[-1] == 0:
        span[-1] = HOUR
    full = np.bincount(hour, weights=span, minlength=grid.size) == HOUR
    full &= np.bincount(hour[minute == 0], minlength=grid.size) > 0
    lowest, highest = np.full(grid.size, np.inf), np.full(grid.size, -np.inf)
    np.minimum.at(lowest, hour, values[known])
    np.maximum.at(highest, hour, values[known])
    partial = ~full & (highest > -np.inf)
    return np.where(full, lowest, np.nan), np.where(full, highest, np.nan), partial


def turns(grid: Integers, at: Integers, degrees: Floats, on_hour: Floats) -> Flags:
    """Hours in which the wind turns further than `TURN_DEG` from its direction on the hour."""
    hour = (at - grid[0]) // HOUR
    rows = np.flatnonzero((hour >= 0) & (hour < grid.size) & ~np.isnan(degrees))
    off = np.abs((degrees[rows] - on_hour[hour[rows]] + 180.0) % 360.0 - 180.0)
    out = np.zeros(grid.size, dtype=bool)
    out[hour[rows][off > TURN_DEG]] = True
    return out


def stated_extremes(
    grid: Integers, at: Integers, values: Floats, steps: Integers, *, lowest: bool
) -> Floats:
    """Extremes that a file states, on their own hours and on those between two rows.

    A file does not say whether the extreme of a row is of the step before or after it, so that
    the hours between get the more extreme one of both.

    Parameters
    ----------
    grid, at, steps
        As for `spraywindow.sources.coarse.instants`.
    values : array, shape (n,)
        NaN is none stated.
    lowest : bool
        Whether they are minima.
    """
    pick: Any = np.fmin if lowest else np.fmax
    out = np.full(grid.size, np.nan)
    hour = (at - grid[0]) // HOUR
    inside = (hour >= 0) & (hour < grid.size)
    pick.at(out, hour[inside], values[inside])
    left = np.searchsorted(at, grid, side="right") - 1
    between = np.flatnonzero((left >= 0) & (left < at.size - 1))
    gap = np.diff(at)[left[between]]
    longest = np.minimum(steps[left[between]], LONGEST_BRIDGE)
    between = between[(gap > HOUR) & (gap <= longest) & (at[left[between]] < grid[between])]
    out[between] = pick(values[left[between]], values[left[between] + 1])
    return out

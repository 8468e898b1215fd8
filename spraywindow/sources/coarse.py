"""Steps finer or coarser than an hour, put on the hours without knowing more than the file.

Times are whole minutes since 1970 as integers; `grid` is a run of hours, 60 minutes apart.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spraywindow.sources.steps import HOUR, LONGEST_BRIDGE

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
ROUNDING_MM = 0.5
"""A total may exceed the sum of its known hours by this much [mm]: six hours rounded to 0.1 mm
or 0.01 in; P: common practice, no source."""
LONGEST_TOTAL_H = 12
"""Rain totals over more hours than this stay unknown, unless they are zero."""


def instants(grid: Integers, at: Integers, values: Floats, steps: Integers | int) -> Floats:
    """Instant values on the hours: picked, or interpolated over one step and no further.

    Parameters
    ----------
    grid : integer array, shape (hours,)
        Minutes of the whole hours.
    at : integer array, shape (n,)
        Minutes of the reports, ascending.
    values : array, shape (n,)
        What was reported; NaN is unknown and is never bridged.
    steps : int or integer array, shape (n - 1,)
        Step of the file at each distance between reports [min]
        (`spraywindow.sources.steps.local_steps`).
    """
    known = np.flatnonzero(~np.isnan(values))
    out = np.full(grid.size, np.nan)
    if not known.size:
        return out
    times, numbers = at[known], values[known]
    after = np.searchsorted(times, grid)
    exact = (after < times.size) & (times[np.minimum(after, times.size - 1)] == grid)
    out[exact] = numbers[after[exact]]
    inner = np.flatnonzero(~exact & (after > 0) & (after < times.size))
    if inner.size:
        step = np.broadcast_to(steps, at.size - 1)
        left, right = known[after[inner] - 1], known[after[inner]]
        longest = np.minimum(step[left], LONGEST_BRIDGE)
        inner = inner[(at[right] - at[left] <= longest) & (longest > HOUR)]
        out[inner] = np.interp(grid[inner], times, numbers)
    return out


def directions(grid: Integers, at: Integers, degrees: Floats, steps: Integers | int) -> Floats:
    """Wind directions on the hours [deg], turned the short way; unknown between opposites."""
    radians = np.radians(degrees)
    north = instants(grid, at, np.cos(radians), steps)
    east = instants(grid, at, np.sin(radians), steps)
    turned = np.degrees(np.arctan2(east, north)) % 360.0
    picked = instants(grid, at, degrees, HOUR)
    return np.where(np.isnan(picked), np.where(np.hypot(north, east) < 0.5, np.nan, turned), picked)


def within_hour(grid: Integers, start: Integers, values: Floats, covers: int, how: str) -> Floats:
    """Totals, means or maxima over parts of an hour, joined; unknown unless every part is there.

    Parameters
    ----------
    grid : integer array, shape (hours,)
        Minutes of the whole hours.
    start : integer array, shape (n,)
        Minute at which each part starts.
    values : array, shape (n,)
        NaN is unknown.
    covers : int
        Length of a part [min], a divisor of 60.
    how : {"total", "mean", "maximum"}
    """
    hour, minute = np.divmod(start - grid[0], HOUR)
    good = ~np.isnan(values) & (hour >= 0) & (hour < grid.size) & (minute % covers == 0)
    hour, numbers = hour[good], values[good]
    count = np.bincount(hour, minlength=grid.size)
    if how == "maximum":
        joined = np.full(grid.size, -np.inf)
        np.maximum.at(joined, hour, numbers)
    else:
        joined = np.bincount(hour, weights=numbers, minlength=grid.size)
        if how == "mean":
            joined = joined / (HOUR // covers)
    return np.where(count == HOUR // covers, joined, np.nan)


def held_maxima(grid: Integers, start: Integers, values: Floats, covers: int) -> Floats:
    """A maximum over several hours, set on each of them: none of them can exceed it."""
    out = np.full(grid.size, np.nan)
    for hour in range(covers // HOUR):
        place = (start + hour * HOUR - grid[0]) // HOUR
        inside = (place >= 0) & (place < grid.size) & ~np.isnan(values)
        out[place[inside]] = np.fmax(out[place[inside]], values[inside])
    return out


def settle_totals(
    grid: Integers,
    rain_mm: Floats,
    periods: Floats,
    start: Integers,
    totals_mm: Floats,
    covers: int,
) -> tuple[Floats, Floats, list[str]]:
    """Bring rain totals over several hours to the hours whose own rain is not known.

    A total of zero settles all its hours. Hours that are known already count first: what is
    left of the total belongs to the others (to the dry ones, where all are known and the total
    is clearly more than their sum). Totals over more than `LONGEST_TOTAL_H` hours,
    totals that overlap an earlier one, and totals smaller than the known hours in them leave
    their hours unknown.

    Parameters
    ----------
    grid : integer array, shape (hours,)
        Minutes of the whole hours; it holds all the hours of every total.
    rain_mm : array, shape (hours,)
        Hourly rain, NaN where unknown.
    periods : array, shape (3, hours)
        Totals that are there already (of a shorter length), in the order of
        `spraywindow.weather.hourly.PERIOD_COLUMNS`; NaN where there is none.
    start : integer array, shape (n,)
        Minute at which each total starts, ascending.
    totals_mm : array, shape (n,)
        NaN is unknown.
    covers : int
        Length [min].

    Returns
    -------
    rain_mm, periods : arrays
        As given, completed.
    notes : list of str
        How many totals could not be used.
    """
    rain, periods = rain_mm.copy(), periods.copy()
    length = covers // HOUR
    place = (start - grid[0]) // HOUR
    left_out = 0
    for row in place[totals_mm == 0.0]:
        dry = row + np.flatnonzero(np.isnan(rain[row : row + length]))
        if np.nansum(rain[row : row + length]) > 0 or not np.isnan(periods[1, dry]).all():
            left_out += 1  # another total says that it rained
        else:
            rain[dry] = 0.0
    for row, total in zip(place[totals_mm > 0], totals_mm[totals_mm > 0], strict=True):
        hours = slice(row, row + length)
        lacking = row + np.flatnonzero(np.isnan(rain[hours]))
        rest = round(total - np.nansum(rain[hours]), 6)
        if not lacking.size and rest > ROUNDING_MM:
            # Hours said to be dry hide rain: they are known no longer.
            lacking = row + np.flatnonzero(rain[hours] == 0.0)
            rain[lacking] = np.nan
        if not lacking.size:
            continue
        first, count = int(lacking[0]), int(lacking.size)
        parted = int(lacking[-1]) - first + 1 != count
        if (
            length > LONGEST_TOTAL_H
            or parted
            or rest < 0
            or not np.isnan(periods[1, lacking]).all()
        ):
            left_out += 1
        elif count == 1 or rest == 0:
            rain[lacking] = rest
        else:
            periods[:, lacking] = np.array(
                [np.full(count, rest), np.full(count, count), np.arange(count)]
            )
    notes = [f"{left_out} rain totals could not be used; their hours are unknown"] * bool(left_out)
    return rain, periods, notes

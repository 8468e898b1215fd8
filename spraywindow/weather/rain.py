"""Rain in windows, from hourly values and from totals over several hours.

A total over a longer period counts whole in every window that it overlaps when dryness is judged
(the high end), and only where it lies inside when wetness is (the low end). Sums are taken in
whole micrometres, so that 0.254 mm stays 0.254 mm. `rain_between` gives both ends for any run of
hours of a weather table, inside it or not.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from spraywindow.weather.intervals import Array, Interval
from spraywindow.weather.table import PERIOD_COLUMNS

MEASURABLE_MM = 0.254
"""The least amount that a US gauge reports (0.01 in); less is a trace."""
_UM = 1000.0
Integers = NDArray[np.int64]


class Rain:
    """Rain along the first axis (hours), with what is not known about it.

    Parameters
    ----------
    rain_mm : array
        Sum over the hour [mm]; NaN is unknown or part of a longer total.
    total_mm, period_h, hour_of_period : array, optional
        For hours inside a longer total: that total [mm], its length [h] and the number of the
        hour within it, from 0 (`spraywindow.weather.table.PERIOD_COLUMNS`); NaN elsewhere.
    """

    def __init__(
        self,
        rain_mm: Array,
        total_mm: Array | None = None,
        period_h: Array | None = None,
        hour_of_period: Array | None = None,
    ) -> None:
        missing = np.isnan(rain_mm)
        some_missing = bool(missing.any())
        whole = np.rint((np.where(missing, 0.0, rain_mm) if some_missing else rain_mm) * _UM)
        self._known = _running(whole.astype(np.int64))
        self._periods = None
        self.hourly = Interval(rain_mm, rain_mm)
        if some_missing and total_mm is not None and period_h is not None:
            assert hour_of_period is not None
            inside = missing & ~np.isnan(total_mm + period_h + hour_of_period)
            missing = missing & ~inside
            total = np.rint(np.where(inside, total_mm, 0.0) * _UM).astype(np.int64)
            begins, ends, whole_begins, whole_ends = _edges(inside, total, period_h, hour_of_period)
            self._periods = (
                _running(np.where(begins, total, 0)),
                _running(np.where(ends, total, 0)),
                # only a period that the data hold from its first hour to its last surely rained
                # inside them
                _running(np.where(whole_begins, total, 0)),
                _running(np.where(whole_ends, total, 0)),
            )
        if some_missing:
            low = np.where(np.isnan(rain_mm), 0.0, rain_mm)
            high = np.where(missing, np.inf, low)
            if self._periods is not None and total_mm is not None:
                high = np.where(inside, total_mm, high)
            self.hourly = Interval(low, high)
        self._missing = _running(missing.astype(np.int64)) if missing.any() else None

    def ahead(self, hours: int, start: int = 0) -> Interval:
        """Sum over the hours ``t + start`` up to, not including, ``t + start + hours`` [mm].

        Hours past the end of the data are unknown: the high end is inf there.
        """
        return self._between(start, start + hours)

    def until(self, end: Integers) -> Interval:
        """Sum over the hours ``t`` up to, not including, row ``end[t]`` [mm]."""
        return self._between(0, end)

    def before(self, hours: int) -> Interval:
        """Sum over the `hours` hours before the stamp [mm]; unknown before the data begin."""
        return self._between(-hours, 0)

    def _between(self, start: int, end: int | Integers) -> Interval:
        """Sum from the row ``t + start`` to ``t + end`` (or to the rows of an array)."""

        def over(ends_in: Integers, starts_in: Integers) -> Integers:
            return _at(ends_in, end) - _at(starts_in, start)

        low = high = over(self._known, self._known)
        if self._periods is not None:
            first, last, whole_first, whole_last = self._periods
            high = low + over(first, last)  # that begin before the end, less that ended before
            low = low + np.maximum(
                over(whole_last, whole_first), 0
            )  # 0: one longer than the window
        count = len(self._known) - 1
        rows = np.arange(count).reshape(-1, *[1] * (self._known.ndim - 1))
        unknown = (rows + start < 0) | ((rows + end if isinstance(end, int) else end) > count)
        if self._missing is not None:
            unknown = unknown | (over(self._missing, self._missing) > 0)
        low_mm, high_mm = low / _UM, high / _UM
        high_mm[np.broadcast_to(unknown, high_mm.shape)] = np.inf
        return Interval(low_mm, high_mm)


def rain_of(columns: dict[str, Array]) -> Rain:
    """Make the rain of a weather table's columns, period totals included."""
    return Rain(
        columns["rain_mm"],
        columns.get("rain_total_mm"),
        columns.get("rain_total_h"),
        columns.get("rain_total_hour"),
    )


def _running(values: Integers) -> Integers:
    """Cumulative sum along the first axis, beginning with zero."""
    out = np.zeros((len(values) + 1, *values.shape[1:]), dtype=np.int64)
    np.cumsum(values, axis=0, out=out[1:])
    return out


def _at(total: Integers, where: int | Integers) -> Integers:
    """Running total at row t + `where` (a fixed step, by slices), or at the rows `where`."""
    count = len(total) - 1
    if not isinstance(where, int):
        rows = np.broadcast_to(np.clip(where, 0, count), (count, *total.shape[1:]))
        return np.take_along_axis(total, rows, axis=0)
    step = min(max(where, -count), count)
    if step <= 0:
        return np.concatenate([np.zeros_like(total[:-step]), total[: count + step]])
    return np.concatenate([total[step:], np.repeat(total[-1:], step - 1, axis=0)])


Rows = NDArray[np.bool_]


def _edges(
    inside: Rows, total: Integers, period_h: Array, hour: Array
) -> tuple[Rows, Rows, Rows, Rows]:
    """First and last rows of each stretch of one period; then those of stretches held whole."""
    joined = np.zeros((len(inside) + 1, *inside.shape[1:]), dtype=bool)
    same = (total[1:] == total[:-1]) & (period_h[1:] == period_h[:-1])
    joined[1:-1] = inside[1:] & inside[:-1] & same & (hour[1:] == hour[:-1] + 1)
    begins, ends = inside & ~joined[:-1], inside & ~joined[1:]
    # with time on the last axis, the first and last rows of a stretch come in pairs
    first = np.nonzero(np.moveaxis(begins, 0, -1))
    last = np.nonzero(np.moveaxis(ends, 0, -1))
    first, last = (first[-1], *first[:-1]), (last[-1], *last[:-1])
    whole = (hour[first] == 0) & (hour[last] == period_h[last] - 1)
    whole_begins, whole_ends = np.zeros_like(begins), np.zeros_like(ends)
    whole_begins[first], whole_ends[last] = whole, whole
    return begins, ends, whole_begins, whole_ends


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

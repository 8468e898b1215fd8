"""Readings of any step put on the hours of the weather table, knowing no more than the file.

Steps coarser than an hour are picked or interpolated, totals settled; of several readings within
an hour the extremes are kept beside the one on it. Times are whole minutes since 1970 as
integers; `grid` is a run of hours, 60 minutes apart.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import WeatherError, one_line
from spraywindow.sources import LONGEST_PLAIN_STEP_H, settle_totals
from spraywindow.sources.files.column_map import KINDS
from spraywindow.sources.files.steps import (
    HOUR,
    LONGEST_BRIDGE,
    Lasting,
    Reading,
    lasting,
    local_steps,
    spans,
    step_notes,
    usual_step,
)
from spraywindow.sources.files.values import TRACE_MM
from spraywindow.weather import (
    COARSE,
    DIRECTED_MS,
    PERIOD_COLUMNS,
    RANGE_COLUMNS,
    has_wrong_date,
)

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


def instants(grid: Integers, at: Integers, values: Floats, steps: Integers | int) -> Floats:
    """Instant values on the hours: picked, or interpolated over one step and no further.

    Parameters
    ----------
    grid : integer array, shape (hours,)
        Minutes of the whole hours.
    at : integer array, shape (n,)
        Minutes of the reports, ascending.
    values : array, shape (n, ...)
        What was reported; NaN is unknown and is never bridged.
    steps : int or integer array, shape (n - 1,)
        Step of the file at each distance between reports [min]
        (`spraywindow.sources.files.steps.local_steps`).
    """
    table = values.reshape(len(values), -1)  # (n, column)
    out = np.full((grid.size, table.shape[1]), np.nan)
    for known, columns in by_known(table):
        times, numbers = at[known], table[np.ix_(known, columns)]  # (known,), (known, column)
        after = np.searchsorted(times, grid)  # (hours,): the first known report not before each
        exact = (after < times.size) & (times[np.minimum(after, times.size - 1)] == grid)
        out[np.ix_(exact, columns)] = numbers[after[exact]]
        inner = np.flatnonzero(~exact & (after > 0) & (after < times.size))  # hours between two
        if not inner.size:
            continue
        step = np.broadcast_to(steps, at.size - 1)
        left, right = after[inner] - 1, after[inner]  # (inner,): rows of `numbers`
        longest = np.minimum(step[known[left]], LONGEST_BRIDGE)
        bridged = (times[right] - times[left] <= longest) & (longest > HOUR)
        inner, left, right = inner[bridged], left[bridged], right[bridged]
        slope = (numbers[right] - numbers[left]) / (times[right] - times[left])[:, None]
        along = (grid[inner] - times[left])[:, None]
        out[np.ix_(inner, columns)] = slope * along + numbers[left]
    return out.reshape(grid.size, *values.shape[1:])


def by_known(table: Floats) -> Iterator[tuple[Integers, Integers]]:
    """The known rows of a table [row, column], and the columns of which just these are known.

    Columns without a known row are left out.
    """
    known = ~np.isnan(table)
    if known.all():
        kinds, number = known[:, :1], np.zeros(known.shape[1], dtype=np.int64)
    else:
        packed, number = np.unique(np.packbits(known, axis=0), axis=1, return_inverse=True)
        kinds = np.unpackbits(packed, axis=0, count=len(known))
    for kind in range(kinds.shape[1]):
        rows = np.flatnonzero(kinds[:, kind])
        if rows.size:
            yield rows, np.flatnonzero(number.ravel() == kind)


RANGES: dict[str, tuple[str, str, float]] = {
    "temp_c": ("temp_min_c", "temp_max_c", 0.2),
    "wind_ms": ("wind_min_ms", "wind_max_ms", 0.2),
}
"""Where the lowest and the highest value between two readings go, and how far they may lie beyond
both, for each hour from one to the other [K, m/s]. P: hourly records of two stations, thinned to 3
and 6 h, then called 0.2-5 % of their go hours go wrongly; with lines alone 2-25 %. Readings 3 h
apart keep the line: so wide an interval would cost a fifth of their days to mend 2 %."""


def between(grid: Integers, at: Integers, values: Floats, told: Floats, beyond: float) -> Floats:
    """Lowest and highest value of the hours between two readings, shape (2, hours, ...).

    Parameters
    ----------
    grid, at, values
        As for `instants`.
    told : array, shape (hours, ...)
        What `instants` makes of them.
    beyond : float
        How far the values may lie beyond both readings, for each hour between them.

    Returns
    -------
    array
        NaN where a reading stands on the hour, nothing is told, or the readings are no more than
        `LONGEST_PLAIN_STEP_H` apart.
    """
    table, on_line = values.reshape(len(values), -1), told.reshape(len(told), -1)
    out = np.full((2, *on_line.shape), np.nan)
    for known, columns in by_known(table):
        times, numbers = at[known], table[np.ix_(known, columns)]
        after = np.searchsorted(times, grid)  # (hours,)
        inner = np.flatnonzero((after > 0) & (after < times.size))
        inner = inner[times[after[inner]] != grid[inner]]
        gap = times[after[inner]] - times[after[inner] - 1]
        far = gap > LONGEST_PLAIN_STEP_H * HOUR
        inner, slack = inner[far], beyond * gap[far][:, None] / HOUR
        before, behind = numbers[after[inner] - 1], numbers[after[inner]]
        here = np.ix_(inner, columns)
        unknown = np.where(np.isnan(on_line[here]), np.nan, 0.0)
        out[0][here] = np.minimum(before, behind) - slack + unknown
        out[1][here] = np.maximum(before, behind) + slack + unknown
    return out.reshape(2, *told.shape)


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
    hour, numbers = hour[good], values[good]  # (good,): the hour of each part, its value
    count = np.bincount(hour, minlength=grid.size)  # (hours,)
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
    out = np.full((grid.size, *values.shape[1:]), np.nan)
    for hour in range(covers // HOUR):
        place = (start + hour * HOUR - grid[0]) // HOUR  # (n,): index into the hours
        inside = (place >= 0) & (place < grid.size)
        out[place[inside]] = np.fmax(out[place[inside]], values[inside])
    return out


Flags = NDArray[np.bool_]
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
        How long each reading stands for [min] (`spraywindow.sources.files.steps.spans`). A column
        that is only ever read on the hour counts as hourly, and so does the last reading of all:
        what follows it is unknown anyway.
    """
    known = np.flatnonzero(~np.isnan(values))
    hour, minute = np.divmod(at[known] - grid[0], HOUR)
    inside = (hour >= 0) & (hour < grid.size)
    known, hour, minute = known[inside], hour[inside], minute[inside]  # (known,)
    span = spans[known] if minute.any() else np.full(known.size, HOUR)
    if known.size and known[-1] == at.size - 1 and minute[-1] == 0:
        span[-1] = HOUR
    full = np.bincount(hour, weights=span, minlength=grid.size) == HOUR  # (hours,)
    full &= np.bincount(hour[minute == 0], minlength=grid.size) > 0
    lowest, highest = np.full(grid.size, np.inf), np.full(grid.size, -np.inf)
    np.minimum.at(lowest, hour, values[known])
    np.maximum.at(highest, hour, values[known])
    partial = ~full & (highest > -np.inf)
    return np.where(full, lowest, np.nan), np.where(full, highest, np.nan), partial


def turns(grid: Integers, at: Integers, degrees: Floats, on_hour: Floats) -> Flags:
    """Hours in which the wind turns further than `TURN_DEG` from its direction on the hour."""
    hour = (at - grid[0]) // HOUR
    rows = np.flatnonzero((hour >= 0) & (hour < grid.size) & ~np.isnan(degrees))  # of the file
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
        As for `spraywindow.sources.files.on_hours.instants`.
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
    left = np.searchsorted(at, grid, side="right") - 1  # (hours,): the row at or before each
    between = np.flatnonzero((left >= 0) & (left < at.size - 1))
    gap = np.diff(at)[left[between]]  # (between,)
    longest = np.minimum(steps[left[between]], LONGEST_BRIDGE)
    between = between[(gap > HOUR) & (gap <= longest) & (at[left[between]] < grid[between])]
    out[between] = pick(values[left[between]], values[left[between] + 1])
    return out


class _Rows(NamedTuple):
    """The hours to fill, the minutes of a file's rows, the steps between these."""

    grid: Integers
    at: Integers
    steps: Integers


def on_hours(
    at: Integers, anchor: int, readings: dict[str, list[Reading]], name: str, notes: list[str]
) -> pd.DataFrame:
    """Put the readings of a file on whole hours, each by its kind.

    Of several temperatures in an hour the lowest and the highest are kept beside the one on the
    hour, of several winds the highest, in `RANGE_COLUMNS`.

    Parameters
    ----------
    at : integer array, shape (n,)
        Minutes since 1970, ascending, each once.
    anchor : int
        Minute past the UTC hour at which local hours begin (30 in India).
    readings : dict
        By column of the weather table; values of shape (n,), NaN is unknown.
    name : str
        What the file is called in messages.
    notes : list of str
        Added to.

    Raises
    ------
    WeatherError
        If the step of the file fits no hour, few stamps span more than a century, or a total of
        a coarse file does not say how long it is.
    """
    steps = local_steps(at)
    first = _anchor(at, anchor, usual_step(at), name)
    notes += step_notes(at, steps, first, name)
    problems: list[str] = []
    periods = {
        key: lasting(at, steps, first, key, found, problems, notes)
        for key, found in readings.items()
        if KINDS[key].kind != "instant"
    }
    if problems:
        raise WeatherError(f"{name}: {one_line(problems)}")
    ends = [at[0], at[-1]]
    for one in (one for found in periods.values() for one in found):
        ends += [one.start[0], one.start[-1] + max(one.length, HOUR) - HOUR]
    low = (min(ends) - first) // HOUR * HOUR + first
    _check_span(low, max(ends), len(at), name)
    rows = _Rows(np.arange(low, max(ends) + 1, HOUR, dtype=np.int64), at, steps)
    columns: dict[str, Floats] = {}
    for key in readings:
        if key == "rain_mm":
            columns |= _rain(rows.grid, periods[key], notes)
        elif key in periods:
            columns[key] = _over_time(rows.grid, key, periods[key], notes)
        else:
            columns[key] = _instant(rows, key, _blowing(key, readings))
    _between_readings(rows, readings, columns)
    if usual_step(at) < HOUR:
        _within_hours(rows, readings, columns, notes)
    index = pd.DatetimeIndex(pd.to_datetime(rows.grid * 60, unit="s", utc=True), name="time")
    return pd.DataFrame(columns, index=index)


def _check_span(first: int, last: int, rows: int, name: str) -> None:
    """Refuse a span that one wrong date would make: the hours between would fill the memory."""
    if has_wrong_date(first / HOUR, last / HOUR, rows):
        begin, end = (str(np.datetime64(int(minute), "m"))[:10] for minute in (first, last))
        raise WeatherError(
            "the stamps span more than a century, with few rows",
            where=name,
            expected="real dates",
            got=f"{begin} to {end}",
            cure="is one of them mistyped?",
        )


def _anchor(at: Integers, anchor: int, step: int, name: str) -> int:
    if step < HOUR:
        if HOUR % step or ((at - anchor) % step).any():
            raise WeatherError(
                "the steps fit no hour",
                where=name,
                got=f"{step} minutes",
                expected="1, 5, 10, 15, 20, 30 or 60 minutes, on the whole hour",
                cure='time.round = "10min" sets stamps near an hour on it',
            )
        return anchor
    first = int(at[0] % HOUR)
    off = at % HOUR != first
    if off.any() or (first - anchor) % 15:
        odd = at[off][0] if off.any() else at[0]
        raise WeatherError(
            f"{int(off.sum()) or at.size} stamps lie between the hours",
            where=name,
            expected="stamps on the hour",
            got=pd.Timestamp(int(odd), unit="m", tz="UTC").isoformat(),
            cure='time.round = "10min" sets near ones on the hour and leaves special reports '
            "out; file.where chooses rows",
        )
    return first


def _blowing(key: str, readings: dict[str, list[Reading]]) -> Floats:
    """A column's readings; a direction 0 of a calm is its code, and turns no hour between."""
    values = readings[key][0].values
    if key != "wind_from_deg" or "wind_ms" not in readings:
        return values
    calm = readings["wind_ms"][0].values < DIRECTED_MS
    return np.where(calm & (values == 0.0), np.nan, values)


def _instant(rows: _Rows, key: str, values: Floats) -> Floats:
    if key == "wind_from_deg":
        return directions(rows.grid, rows.at, values, rows.steps)
    if key in RANGE_COLUMNS:
        return stated_extremes(rows.grid, rows.at, values, rows.steps, lowest=key == "temp_min_c")
    if key in PERIOD_COLUMNS:
        return instants(rows.grid, rows.at, values, HOUR)
    return instants(rows.grid, rows.at, values, rows.steps)


def _over_time(grid: Integers, key: str, periods: list[Lasting], notes: list[str]) -> Floats:
    """Means and maxima; the shortest tell first."""
    kind, out = KINDS[key].kind, np.full(grid.size, np.nan)
    for length, start, values in periods:
        if length <= HOUR:
            told = within_hour(grid, start, values, length, kind)
        elif kind == "maximum":
            told = held_maxima(grid, start, values, length)
        else:
            hours = length // HOUR
            notes.append(f"{key}: a mean over {hours} h says nothing of its hours; unknown")
            continue
        out = np.where(np.isnan(out), told, out)
    return out


def _rain(grid: Integers, periods: list[Lasting], notes: list[str]) -> dict[str, Floats]:
    rain = np.full(grid.size, np.nan)
    totals = np.full((len(PERIOD_COLUMNS), grid.size), np.nan)
    traced: list[tuple[Integers, int, Floats]] = []
    for length, start, values in periods:
        least = np.where(values == TRACE_MM, 0.0, values)
        if length <= HOUR:
            hourly = within_hour(grid, start, least, length, "total")
            most = within_hour(grid, start, values, length, "total")
            traces = np.flatnonzero(np.isnan(rain) & (most > hourly))
            traced.append((traces, 1, most[traces]))
            rain = np.where(np.isnan(rain), hourly, rain)
        else:
            first, hours = (start - grid[0]) // HOUR, length // HOUR
            rain, totals, more = settle_totals(rain, totals, first, least, hours)
            traced.append((first[values == TRACE_MM], hours, values[values == TRACE_MM]))
            notes += more
    for first, hours, most in traced:
        _keep_traces(rain, totals, first, hours, most)
    if np.isnan(totals).all():
        return {"rain_mm": rain}
    return {"rain_mm": rain, **dict(zip(PERIOD_COLUMNS, totals, strict=True))}


LONGEST_PERIOD_H = COARSE[PERIOD_COLUMNS[1]].high


def _keep_traces(rain: Floats, totals: Floats, first: Integers, hours: int, most: Floats) -> None:
    """Open dry hours for the traces that fell in them; others tell of rain as it is.

    As a total of the most that the traces can be. Its length is given as an hour longer than it
    is, so that no window holds it whole: the least of a trace is next to nothing.
    """
    for row, mm in zip(first.tolist(), most.tolist(), strict=True):
        if np.any(rain[row : row + hours] > 0) or not np.isnan(totals[0, row : row + hours]).all():
            continue  # that rain is what the total tells of
        dry = row + np.flatnonzero(rain[row : row + hours] == 0.0)
        rain[dry] = np.nan
        longer = min(hours + 1.0, LONGEST_PERIOD_H)
        totals[:, dry] = np.stack(np.broadcast_arrays(mm, longer, dry - row))


def _between_readings(
    rows: _Rows, readings: dict[str, list[Reading]], columns: dict[str, Floats]
) -> None:
    """Keep how far a value may lie from the line between two readings; what a file states holds."""
    for key, (lowest, highest, beyond) in RANGES.items():
        if key not in readings:
            continue
        ends = between(rows.grid, rows.at, readings[key][0].values, columns[key], beyond)
        if np.isnan(ends).all():
            continue
        for name, values in zip((lowest, highest), ends, strict=True):
            stated = columns.get(name, values)
            columns[name] = np.where(np.isnan(stated), values, stated)
    if "wind_min_ms" in columns:
        columns["wind_min_ms"] = np.maximum(columns["wind_min_ms"], 0.0)


def _within_hours(
    rows: _Rows,
    readings: dict[str, list[Reading]],
    columns: dict[str, Floats],
    notes: list[str],
) -> None:
    """Keep what several readings of an hour say of it; an hour that lacks one is unknown.

    Dew point, cloud and pressure stay as on the hour: they change slowly, and limits look at
    both ends of it.
    """
    for key, names in (("temp_c", ("temp_min_c", "temp_max_c")), ("wind_ms", ("", "wind_max_ms"))):
        if key not in readings:
            continue
        *extremes, partial = hour_extremes(
            rows.grid, rows.at, readings[key][0].values, spans(rows.at, rows.steps)
        )
        if partial.any():
            notes.append(f"{key}: {int(partial.sum())} hours lack readings and are unknown")
        columns[key] = np.where(partial, np.nan, columns[key])
        for name, values, pick in zip(names, extremes, (np.fmin, np.fmax), strict=True):
            if name:
                stated = columns.get(name, values)
                columns[name] = np.where(np.isnan(columns[key]), np.nan, pick(values, stated))
    if "wind_from_deg" in readings:
        turned = turns(
            rows.grid, rows.at, readings["wind_from_deg"][0].values, columns["wind_from_deg"]
        )
        columns["wind_from_deg"] = np.where(turned, np.nan, columns["wind_from_deg"])

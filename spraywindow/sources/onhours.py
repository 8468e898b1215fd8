"""Readings of any step put on the hours of the weather table."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import WeatherError, describe, one_line
from spraywindow.sources import coarse
from spraywindow.sources.coarse import HOUR
from spraywindow.sources.columns import VALUES, ValueColumn
from spraywindow.weather.hourly import PERIOD_COLUMNS

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Reading:
    """The numbers of one column of a file, and what the map says of them."""

    part: ValueColumn
    values: Floats


def on_hours(
    at: Integers, anchor: int, readings: dict[str, list[Reading]], name: str, notes: list[str]
) -> pd.DataFrame:
    """Put the readings of a file on whole hours, each by its kind.

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
        If the step of the file fits no hour, or a total of a coarse file does not say how
        long it is.
    """
    step = coarse.usual_step(at)
    first = _anchor(at, anchor, step, name)
    if step > HOUR:
        notes.append(
            f"{name} is {step / HOUR:g}-hourly: temperature, dew point and wind between "
            f"the reports are interpolated, where no report is missing"
        )
    covers = _lengths(readings, step, name)
    ends = [at[0], at[-1]]
    for found, lengths in zip(readings.values(), covers.values(), strict=True):
        for reading, length in zip(found, lengths, strict=True):
            start = _start(at, reading.part, length)
            ends += [start[0], start[-1] + max(length, HOUR) - HOUR]
    low = (min(ends) - first) // HOUR * HOUR + first
    grid = np.arange(low, max(ends) + 1, HOUR, dtype=np.int64)
    columns: dict[str, Floats] = {}
    for key, found in readings.items():
        if key == "rain_mm":
            columns |= _rain(grid, at, found, covers[key], notes)
        else:
            columns[key] = _column(grid, at, key, found[0], covers[key][0], step, notes)
    index = pd.DatetimeIndex(pd.to_datetime(grid * 60, unit="s", utc=True), name="time")
    return pd.DataFrame(columns, index=index)


def _anchor(at: Integers, anchor: int, step: int, name: str) -> int:
    if step < HOUR:
        if HOUR % step or ((at - anchor) % step).any():
            raise WeatherError(
                describe(
                    "the steps fit no hour",
                    where=name,
                    got=f"{step} minutes",
                    expected="1, 5, 10, 15, 20, 30 or 60 minutes, on the whole hour",
                    cure='time.round = "10min" sets stamps near an hour on it',
                )
            )
        return anchor
    first = int(at[0] % HOUR)
    off = at % HOUR != first
    if off.any() or (first - anchor) % 15:
        odd = at[off][0] if off.any() else at[0]
        raise WeatherError(
            describe(
                f"{int(off.sum()) or at.size} stamps lie between the hours",
                where=name,
                expected="stamps on the hour",
                got=pd.Timestamp(int(odd), unit="m", tz="UTC").isoformat(),
                cure='time.round = "10min" sets near ones on the hour and leaves special reports '
                "out; file.where chooses rows",
            )
        )
    return first


def _lengths(readings: dict[str, list[Reading]], step: int, name: str) -> dict[str, list[int]]:
    problems, lengths = [], {}
    for key, found in readings.items():
        lengths[key] = [reading.part.covers or min(step, HOUR) for reading in found]
        if VALUES[key].kind == "instant":
            lengths[key] = [HOUR] * len(found)
            continue
        if step > HOUR and any(reading.part.covers is None for reading in found):
            problems.append(
                describe(
                    f"the file is {step / HOUR:g}-hourly: over how long is {key}?",
                    cure=f'say {key}.covers = "{step / HOUR:g}h" or the like, and its stamp',
                )
            )
        if any(length < HOUR and HOUR % length for length in lengths[key]):
            problems.append(f"{key}.covers: less than an hour, but no whole part of it")
    if problems:
        raise WeatherError(f"{name}: {one_line(problems)}")
    return lengths


def _start(at: Integers, part: ValueColumn, length: int) -> Integers:
    # The one place where a period stamped at its end moves to its start.
    return at - length if part.stamp == "end" else at


def _column(
    grid: Integers,
    at: Integers,
    key: str,
    reading: Reading,
    length: int,
    step: int,
    notes: list[str],
) -> Floats:
    kind = VALUES[key].kind
    if key == "wind_from_deg":
        return coarse.directions(grid, at, reading.values, step)
    if kind == "instant":
        return coarse.instants(grid, at, reading.values, step)
    start = _start(at, reading.part, length)
    if length <= HOUR:
        return coarse.within_hour(grid, start, reading.values, length, kind)
    if kind == "maximum":
        return coarse.held_maxima(grid, start, reading.values, length)
    notes.append(f"{key}: a mean over {length // HOUR} h says nothing of its hours; unknown")
    return np.full(grid.size, np.nan)


def _rain(
    grid: Integers, at: Integers, found: list[Reading], lengths: list[int], notes: list[str]
) -> dict[str, Floats]:
    rain = np.full(grid.size, np.nan)
    periods = np.full((len(PERIOD_COLUMNS), grid.size), np.nan)
    for length, reading in sorted(zip(lengths, found, strict=True), key=lambda pair: pair[0]):
        start = _start(at, reading.part, length)
        if length <= HOUR:
            hourly = coarse.within_hour(grid, start, reading.values, length, "total")
            rain = np.where(np.isnan(rain), hourly, rain)
        else:
            rain, periods, more = coarse.settle_totals(
                grid, rain, periods, start, reading.values, length
            )
            notes += more
    if np.isnan(periods).all():
        return {"rain_mm": rain}
    return {"rain_mm": rain, **dict(zip(PERIOD_COLUMNS, periods, strict=True))}

"""Readings of any step put on the hours of the weather table."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import WeatherError, describe, one_line
from spraywindow.sources import coarse, subhourly
from spraywindow.sources.column_fields import KINDS
from spraywindow.sources.lengths import Lasting, Reading, lasting
from spraywindow.sources.steps import HOUR, local_steps, spans, step_notes, usual_step
from spraywindow.weather.hour_index import LONGEST_H
from spraywindow.weather.hourly import PERIOD_COLUMNS, RANGE_COLUMNS

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


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
        If the step of the file fits no hour, the stamps span more than a century, or a total of
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
    _check_span(low, max(ends), name)
    rows = _Rows(np.arange(low, max(ends) + 1, HOUR, dtype=np.int64), at, steps)
    columns: dict[str, Floats] = {}
    for key, found in readings.items():
        if key == "rain_mm":
            columns |= _rain(rows.grid, periods[key], notes)
        elif key in periods:
            columns[key] = _over_time(rows.grid, key, periods[key], notes)
        else:
            columns[key] = _instant(rows, key, found[0].values)
    if usual_step(at) < HOUR:
        _within_hours(rows, readings, columns, notes)
    index = pd.DatetimeIndex(pd.to_datetime(rows.grid * 60, unit="s", utc=True), name="time")
    return pd.DataFrame(columns, index=index)


def _check_span(first: int, last: int, name: str) -> None:
    """Refuse a span that one wrong date would make: the hours between would fill the memory."""
    if last - first > LONGEST_H * HOUR:
        begin, end = (str(np.datetime64(int(minute), "m"))[:10] for minute in (first, last))
        raise WeatherError(
            describe(
                "the stamps span more than a century",
                where=name,
                expected="real dates",
                got=f"{begin} to {end}",
                cure="is one of them mistyped?",
            )
        )


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


def _instant(rows: _Rows, key: str, values: Floats) -> Floats:
    if key == "wind_from_deg":
        return coarse.directions(rows.grid, rows.at, values, rows.steps)
    if key in RANGE_COLUMNS:
        return subhourly.stated_extremes(
            rows.grid, rows.at, values, rows.steps, lowest=key == "temp_min_c"
        )
    if key in PERIOD_COLUMNS:
        return coarse.instants(rows.grid, rows.at, values, HOUR)
    return coarse.instants(rows.grid, rows.at, values, rows.steps)


def _over_time(grid: Integers, key: str, periods: list[Lasting], notes: list[str]) -> Floats:
    """Means and maxima; the shortest tell first."""
    kind, out = KINDS[key].kind, np.full(grid.size, np.nan)
    for length, start, values in periods:
        if length <= HOUR:
            told = coarse.within_hour(grid, start, values, length, kind)
        elif kind == "maximum":
            told = coarse.held_maxima(grid, start, values, length)
        else:
            hours = length // HOUR
            notes.append(f"{key}: a mean over {hours} h says nothing of its hours; unknown")
            continue
        out = np.where(np.isnan(out), told, out)
    return out


def _rain(grid: Integers, periods: list[Lasting], notes: list[str]) -> dict[str, Floats]:
    rain = np.full(grid.size, np.nan)
    totals = np.full((len(PERIOD_COLUMNS), grid.size), np.nan)
    for length, start, values in periods:
        if length <= HOUR:
            hourly = coarse.within_hour(grid, start, values, length, "total")
            rain = np.where(np.isnan(rain), hourly, rain)
        else:
            rain, totals, more = coarse.settle_totals(grid, rain, totals, start, values, length)
            notes += more
    if np.isnan(totals).all():
        return {"rain_mm": rain}
    return {"rain_mm": rain, **dict(zip(PERIOD_COLUMNS, totals, strict=True))}


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
        *extremes, partial = subhourly.hour_extremes(
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
        turned = subhourly.turns(
            rows.grid, rows.at, readings["wind_from_deg"][0].values, columns["wind_from_deg"]
        )
        columns["wind_from_deg"] = np.where(turned, np.nan, columns["wind_from_deg"])

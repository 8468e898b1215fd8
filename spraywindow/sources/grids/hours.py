"""From the steps of fields to the hours of the weather table, of all sites and members at once.

The rules are those of any coarse file: instants are interpolated over one step, and over more than
3 h with how far they may lie from the line; totals stay whole. What a run sums up from its start is
differenced first: read as it is, yesterday's rain would hide today's.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError
from spraywindow.sources import LONGEST_TOTAL_H, ROUNDING_MM
from spraywindow.sources.files import (
    LONGEST_BRIDGE,
    RANGES,
    between,
    directions,
    held_maxima,
    instants,
    local_steps,
    step_notes,
)
from spraywindow.sources.grids.fields import SINGLE, Fields
from spraywindow.sources.members import LEAST_ROUNDING_MM
from spraywindow.weather import PERIOD_COLUMNS, dew_point_from_humidity

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
HOUR = 60
LEAST_ROUNDING_WHM2 = -15.0
"""Differences of summed radiation fall a little below none [W h/m2]; P: common practice, no
source."""


@dataclass(frozen=True, eq=False)
class Hours:
    """Columns of the weather table on gap-free hours.

    Attributes
    ----------
    first_h : int
        Hour of row 0, counted from 1970.
    columns : dict of str to float32 array [hour, site, member]
    members : tuple of int
        Their numbers; `SINGLE` of a forecast without members.
    notes : list of str
    """

    first_h: int
    columns: dict[str, NDArray[np.float32]]
    members: tuple[int, ...]
    notes: list[str]


class _Series:
    """The fields of one quantity and kind, over the steps [start, end) that it has."""

    def __init__(self, spans: list[tuple[int, int]], values: Floats) -> None:
        self.start, self.end = (np.array(each, dtype=np.int64) for each in zip(*spans, strict=True))
        self.values = values  # [step, site, member]


def on_the_hours(fields: Fields, name: str) -> Hours:
    """Put the fields on hours.

    Parameters
    ----------
    fields : Fields
    name : str
        What they are called in messages.

    Raises
    ------
    InputError
        Required quantities are missing, a sum falls, totals overlap, or a single run stands among
        members.
    """
    members = tuple(sorted({key.member for key in fields.values}))
    if SINGLE in members and len(members) > 1:
        raise InputError("a single run among members", where=name, cure="read them apart")
    found = _series(fields, members)
    given = {ours for ours, _ in found}
    lacking = [what for what, any_of in _NEEDED.items() if not any(set(each) <= given
                                                                   for each in any_of)]  # fmt: skip
    if lacking:
        raise InputError("no " + ", no ".join(lacking), where=name, got=", ".join(sorted(given)))
    first = int(min(series.start.min() for series in found.values()))
    last = int(max((series.end - (series.end > series.start)).max() for series in found.values()))
    grid = np.arange(first, last + 1, dtype=np.int64) * HOUR
    out: dict[str, Floats] = {}
    notes: list[str] = []
    read = {ours: series for (ours, kind), series in found.items() if kind == "instant"}
    made = _made(read)
    if fields.turned and "wind_from_deg" not in read:
        made.pop("wind_from_deg", None)
        notes.append("winds along the rows of a turned grid: where they come from is unknown")
    for ours, series in made.items():
        if ours != "gust_ms":
            out |= _instant(grid, ours, series)
    at = read["temp_c"].end * HOUR
    notes += step_notes(at, local_steps(at), 0, name)
    for (ours, kind), series in found.items():
        if kind == "max":
            _hold(grid, ours, series, out, lowest=False)
        elif kind == "min":
            _hold(grid, ours, series, out, lowest=True)
        elif ours == "solar_wm2":
            out[ours] = _radiation(grid, series, kind, notes, name)
        elif kind == "accum":
            out |= _rain(grid, _differenced(series, LEAST_ROUNDING_MM, "rain", name))
    if "gust_ms" in read:
        seen = _gusts(grid, read["gust_ms"])
        told = out.get("gust_ms", seen)
        out["gust_ms"] = np.where(np.isnan(told), seen, told)
    columns = {ours: values.astype(np.float32) for ours, values in out.items()}
    return Hours(first, columns, members, notes)


_NEEDED = {
    "temperature at 2 m (2t)": ({"temp_c"},),
    "dew point or humidity at 2 m (2d, 2r)": ({"dew_point_c"}, {"rh_pct"}),
    "wind at 10 m (10u and 10v, or 10si)": ({"wind_ms"}, {"east_ms", "north_ms"}),
    "rain (tp)": ({"rain_mm"},),
}


def _series(fields: Fields, members: tuple[int, ...]) -> dict[tuple[str, str], _Series]:
    spans: dict[tuple[str, str], set[tuple[int, int]]] = defaultdict(set)
    for key in fields.values:
        if key.kind == "instant" or key.end_h > key.start_h:  # the sum at step 0 is of no time
            spans[key.ours, key.kind].add((key.start_h, key.end_h))
    place = {what: {span: row for row, span in enumerate(sorted(each))}
             for what, each in spans.items()}  # fmt: skip
    values = {
        what: np.full((len(rows), fields.sites, len(members)), np.nan)
        for what, rows in place.items()
    }
    for key, field in fields.values.items():
        row = place.get((key.ours, key.kind), {}).get((key.start_h, key.end_h))
        if row is not None:
            values[key.ours, key.kind][row, :, members.index(key.member)] = field
    return {what: _Series(sorted(rows), values[what]) for what, rows in place.items()}


def _made(read: dict[str, _Series]) -> dict[str, _Series]:
    """The instants with wind made of its parts, and the dew point of the humidity."""
    out = dict(read)
    east, north = out.pop("east_ms", None), out.pop("north_ms", None)
    if east is not None and north is not None:
        spans = sorted(set(east.end.tolist()) & set(north.end.tolist()))
        u, v = (each.values[np.isin(each.end, spans)] for each in (east, north))
        both = [(end, end) for end in spans]
        out.setdefault("wind_ms", _Series(both, np.hypot(u, v)))
        out.setdefault("wind_from_deg", _Series(both, np.degrees(np.arctan2(-u, -v)) % 360.0))
    humid = out.pop("rh_pct", None)
    if humid is not None and "dew_point_c" not in out:
        spans = sorted(set(humid.end.tolist()) & set(out["temp_c"].end.tolist()))
        temp, rh_pct = (each.values[np.isin(each.end, spans)] for each in (out["temp_c"], humid))
        sound = np.where(rh_pct > 0.0, np.minimum(rh_pct, 100.0), np.nan)
        dew_c = np.asarray(dew_point_from_humidity(temp, sound))
        out["dew_point_c"] = _Series([(end, end) for end in spans], dew_c)
    return out


def _instant(grid: Integers, ours: str, series: _Series) -> dict[str, Floats]:
    at = series.end * HOUR
    steps = local_steps(at)
    if ours == "wind_from_deg":
        return {ours: directions(grid, at, series.values, steps)}
    out = {ours: instants(grid, at, series.values, steps)}
    if ours in RANGES:
        *names, beyond = RANGES[ours]
        ends = between(grid, at, series.values, out[ours], beyond)
        if not np.isnan(ends).all():
            ends[0] = np.maximum(ends[0], 0.0) if ours == "wind_ms" else ends[0]
            out |= dict(zip(names, ends, strict=True))
    return out


def _hold(
    grid: Integers, ours: str, series: _Series, out: dict[str, Floats], *, lowest: bool
) -> None:
    """Set an extreme of a step on each of its hours; it stands before what a line allows."""
    sign = -1.0 if lowest else 1.0
    held = np.full((grid.size, *series.values.shape[1:]), np.nan)
    lengths = series.end - series.start
    for length in np.unique(lengths):
        rows = lengths == length
        start, values = series.start[rows] * HOUR, sign * series.values[rows]
        told = sign * held_maxima(grid, start, values, int(length) * HOUR)
        held = np.where(np.isnan(held), told, held)  # the shortest tells first
    out[ours] = np.where(np.isnan(held), out.get(ours, held), held)


def _gusts(grid: Integers, series: _Series) -> Floats:
    """The larger of the gusts at both ends of a step, on each of its hours."""
    at = series.end * HOUR
    gaps = np.diff(at)
    whole = gaps <= np.minimum(local_steps(at), LONGEST_BRIDGE)
    higher = np.maximum(series.values[:-1], series.values[1:])  # NaN where either end is
    out = np.full((grid.size, *series.values.shape[1:]), np.nan)
    for row in np.flatnonzero(whole):
        begin = (at[row] - grid[0]) // HOUR
        out[begin : begin + gaps[row] // HOUR] = higher[row]
    return out


def _differenced(series: _Series, least: float, what: str, name: str) -> _Series:
    """Sums of steps that do not overlap: of several from one start, what each adds.

    Parameters
    ----------
    least : float
        Rounding makes a sum fall, or lie below none, by no more than this.
    what, name : str
        The sum and the file in messages.

    Raises
    ------
    InputError
        A sum falls by more than rounding: it is none; or steps overlap.
    """
    stated: dict[tuple[int, int], Floats] = {}
    added: dict[tuple[int, int], Floats] = {}
    order = sorted(range(len(series.start)), key=lambda row: (series.start[row], series.end[row]))
    for before, row in zip([None, *order], order, strict=False):
        start, end, part = int(series.start[row]), int(series.end[row]), series.values[row]
        first = before is None or series.start[before] != start
        if not first:
            start, part = int(series.end[before]), part - series.values[before]
            lowest = np.nanmin(part, initial=0.0)
            if lowest < least:
                raise InputError(
                    f"{what} summed from one hour on falls", where=name,
                    expected="sums that grow with their end", got=float(lowest),
                    cure="it may be of single steps that are labelled as sums of the run",
                )  # fmt: skip
        part = np.where((part < 0.0) & (part >= least), 0.0, part)
        if first:
            stated[start, end] = part
        else:
            there = added.get((start, end), part)
            added[start, end] = np.maximum(there, part)
    parts = added | stated
    out: dict[tuple[int, int], Floats] = {}
    covered: set[int] = set()
    for start, end in sorted(parts, key=lambda span: (span[1] - span[0], span)):
        inside = set(range(start, end))
        if inside <= covered:
            continue
        if inside & covered:
            raise InputError(
                f"steps of {what} overlap", where=name, expected="each hour in one",
                got=f"{end - start} h to {pd.Timestamp(end, unit='h')} UTC",
            )  # fmt: skip
        covered |= inside
        out[start, end] = parts[start, end]
    spans = sorted(out)
    return _Series(spans, np.stack([out[span] for span in spans]))


def _rain(grid: Integers, series: _Series) -> dict[str, Floats]:
    """Totals laid out as `spraywindow.sources.settle_totals` settles those that do not overlap."""
    shape = (grid.size, *series.values.shape[1:])
    rain, periods = np.full(shape, np.nan), np.full((len(PERIOD_COLUMNS), *shape), np.nan)
    for start, end, values in zip(series.start, series.end, series.values, strict=True):
        hours = int(end - start)
        total = np.round(values, 6)
        here = slice(int(start - grid[0] // HOUR), int(end - grid[0] // HOUR))
        if hours == 1:
            rain[here] = total
            continue
        rain[here] = np.where(total == 0.0, 0.0, np.nan)
        told = (total > 0.0) & ((total <= ROUNDING_MM) | (hours <= LONGEST_TOTAL_H))
        number = np.arange(hours, dtype=float).reshape(-1, *([1] * values.ndim))
        for row, one in enumerate((total, float(hours), number)):
            periods[row, here] = np.where(told, one, np.nan)
    if np.isnan(periods).all():
        return {"rain_mm": rain}
    return {"rain_mm": rain, **dict(zip(PERIOD_COLUMNS, periods, strict=True))}


def _radiation(grid: Integers, series: _Series, kind: str, notes: list[str], name: str) -> Floats:
    """Means of hours; one over a longer step says nothing of its hours."""
    if kind == "accum":
        series = _differenced(series, LEAST_ROUNDING_WHM2, "radiation", name)
    out = np.full((grid.size, *series.values.shape[1:]), np.nan)
    lengths = series.end - series.start
    hourly = lengths == 1
    out[series.start[hourly] - grid[0] // HOUR] = np.maximum(series.values[hourly], 0.0)
    for hours in np.unique(lengths[~hourly]):
        notes.append(f"solar_wm2: a mean over {hours} h says nothing of its hours; unknown")
    return out

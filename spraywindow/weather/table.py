"""The hourly weather table: its columns, and the one check on entry.

A stamp marks the **start** of its hour, in UTC: ascending, each once, a whole number of hours
apart. NaN is unknown. Coarser knowledge rides along
in extra columns: a rain total over several hours (`PERIOD_COLUMNS`) and the lowest and highest
temperature of a longer step (`RANGE_COLUMNS`). Finer knowledge does too: the extremes of several
readings within the hour. Rain that looks like inches in a column of millimetres is told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import WeatherError, describe, one_line
from spraywindow.weather.intervals import Array

LONGEST_H = 1_000_000
HOURS_A_ROW = 12
"""The longest step that the rows of a record have, common practice [h]."""


def has_wrong_date(first: float, last: float, rows: int) -> bool:
    """Whether so few rows between two times [h] mean that one is mistyped.

    The hours between would fill the memory. A long record has the rows of its hours.
    """
    return last - first > max(LONGEST_H, HOURS_A_ROW * rows)


def index_problems(index: pd.Index) -> list[str]:
    """What keeps an index from being a table's hours: UTC, ascending, each once, on the hour."""
    if not isinstance(index, pd.DatetimeIndex):
        return [
            describe(
                "the index is not of times", expected="a UTC hourly index", got=type(index).__name__
            )
        ]
    if not len(index):
        return ["the table is empty"]
    if index.tz is None or str(index.tz) not in ("UTC", "UTC+00:00", "Etc/UTC"):
        return [
            describe(
                "the times are not UTC",
                expected="a tz-aware UTC index",
                got=str(index.tz),
                cure='use tz_localize or tz_convert("UTC")',
            )
        ]
    if index.hasnans:
        return [f"{int(np.count_nonzero(index.isna()))} stamps are not times"]
    problems = []
    if index.has_duplicates:
        first = index[index.duplicated()][0]
        problems.append(
            describe(
                f"{int(index.duplicated().sum())} hours stand twice",
                expected="each hour once",
                got=first.isoformat(),
            )
        )
    elif not index.is_monotonic_increasing:
        late = index[1:][np.diff(index.asi8) < 0][0]
        problems.append(
            describe(
                "the hours are out of order",
                expected="ascending times",
                got=late.isoformat(),
                cure="sort the rows by time",
            )
        )
    since = index - index[0]
    off = since % pd.Timedelta(hours=1) != pd.Timedelta(0)
    if off.any():
        problems.append(
            describe(
                f"{int(off.sum())} stamps lie between the hours",
                expected="one row an hour",
                got=index[off][0].isoformat(),
                cure="read the file through read_weather, which sums and picks",
            )
        )
    ends = index.min().timestamp() / 3600, index.max().timestamp() / 3600
    if has_wrong_date(*ends, len(index)):
        problems.append(
            describe(
                "the table spans more than a century, with few rows",
                expected="real dates",
                got=f"{index.min().date()} to {index.max().date()}",
            )
        )
    return problems


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


@dataclass(frozen=True)
class Column:
    """One column of the table: unit, and the physical range outside which a value is an error."""

    unit: str
    low: float
    high: float
    meaning: str
    kind: str = "instant"  # "instant" (on the stamp), "total", "mean" or "maximum" (over the hour)
    short: str = ""

    @property
    def name(self) -> str:
        """What growers call it, shorter than its meaning."""
        return self.short or self.meaning


REQUIRED: dict[str, Column] = {
    "temp_c": Column("degC", -60.0, 60.0, "air temperature", short="temperature"),
    "dew_point_c": Column("degC", -80.0, 45.0, "dew point"),
    "wind_ms": Column("m/s", 0.0, 90.0, "wind speed at 10 m", short="wind"),
    "rain_mm": Column("mm", 0.0, 310.0, "rain, sum over the hour", "total", "rain"),
}
OPTIONAL: dict[str, Column] = {
    "gust_ms": Column("m/s", 0.0, 115.0, "wind gust", "maximum", "gusts"),
    "wind_from_deg": Column(
        "deg", 0.0, 360.0, "direction the wind comes from", short="wind direction"
    ),
    "rain_chance": Column(
        "fraction", 0.0, 1.0, "chance of rain in the hour", "maximum", "chance of rain"
    ),
    "cloud": Column("fraction", 0.0, 1.0, "share of sky under cloud", short="cloud"),
    "solar_wm2": Column("W/m2", -15.0, 1500.0, "global horizontal radiation", "mean", "radiation"),
    "pressure_hpa": Column("hPa", 450.0, 1090.0, "air pressure at the site", short="pressure"),
}
COLUMNS = REQUIRED | OPTIONAL
DIRECTED_MS = 1.0
"""Below this a wind has any direction [m/s]. Vanes and cups start near 0.5 m/s, which is a calm in
a report, direction 0 (WMO-No. 8 and 306, from memory); speeds are rounded to about 0.5. P."""
COARSE: dict[str, Column] = {
    "rain_total_mm": Column("mm", 0.0, 1500.0, "rain of a longer period"),
    "rain_total_h": Column("h", 1.0, 24.0, "length of that period"),
    "rain_total_hour": Column("h", 0.0, 23.0, "number of the hour in that period"),
    "temp_min_c": Column("degC", -60.0, 60.0, "lowest air temperature of a longer step"),
    "temp_max_c": Column("degC", -60.0, 60.0, "highest air temperature of a longer step"),
    "wind_min_ms": Column("m/s", 0.0, 90.0, "lowest wind speed between two readings"),
    "wind_max_ms": Column("m/s", 0.0, 90.0, "highest wind speed of the hour's readings"),
}
PERIOD_COLUMNS = ("rain_total_mm", "rain_total_h", "rain_total_hour")
"""A rain total of a longer period, repeated on each of its hours: the total [mm], the length of
the period [h], and the number of this hour within it (0 is the first)."""
RANGE_COLUMNS = ("temp_min_c", "temp_max_c", "wind_min_ms", "wind_max_ms")
"""Lowest and highest air temperature that the hour can have [degC], where a service gives the
extremes of a longer step or a file several readings of the hour; the highest wind of these [m/s].
The wind on the hour stays beside it: for drift the highest is the safe side, for an inversion and
for drying wood it is not."""

IMPOSSIBLE_SHARE = 0.001
"""More impossible values than this share of a column suggest a wrong unit."""
DEW_EXCESS_C = 1.0
"""A dew point up to this much above the air is rounding (whole degrees Fahrenheit) and is
clipped [degC]; P: common practice, no source."""
HISTORY_H, AHEAD_H = 264, 264
"""What an evening's answer works with [h]: eleven days, for the rain of the ten before, and
after."""


def check_hourly(table: pd.DataFrame, *, name: str = "weather") -> pd.DataFrame:
    """Check a weather table once and give it back complete: every hour a row, gaps as NaN.

    Parameters
    ----------
    table : pandas.DataFrame
        tz-aware UTC index, hourly, stamps at the start of the hour; columns as in `REQUIRED`
        and `OPTIONAL`, and the coarser ones of `PERIOD_COLUMNS` and `RANGE_COLUMNS`.
    name : str
        What the table is called in messages.

    Returns
    -------
    pandas.DataFrame
        float columns on a gap-free hourly index; NaN is unknown. ``attrs["notes"]`` lists what
        was mended (hours missing, values out of range), and rain that looks like inches.

    Raises
    ------
    WeatherError
        All problems at once: missing columns, text in numbers, an index that is not UTC,
        shuffled, duplicated or finer than hourly; more than 0.1 % impossible values in a column.
    """
    attrs = table.attrs
    table = pd.DataFrame(table)  # bare: pandas copies attrs, and all in them, at every column read
    problems = index_problems(table.index)
    missing = [column for column in REQUIRED if column not in table.columns]
    if missing:
        problems.append(
            describe(
                "missing column " + ", ".join(missing),
                expected=", ".join(REQUIRED),
                got=list(map(str, table.columns)),
            )
        )
    problems += _column_problems(table)
    if problems:
        raise WeatherError(f"{name}: {one_line(problems)}")

    full = pd.date_range(table.index[0], table.index[-1], freq="h", name="time")
    notes: list[str] = list(attrs.get("notes", []))
    known = [column for column in (*COLUMNS, *COARSE) if column in table.columns]
    out: pd.DataFrame = table[known].apply(pd.to_numeric).astype("float64")
    if len(full) != len(out):
        notes.append(f"{len(full) - len(out)} missing hours are unknown")
        out = out.reindex(full)
    else:
        out.index = full
    for column, rule in (COLUMNS | COARSE).items():
        if column in out.columns:
            _mend_range(out, column, rule, problems, notes)
    _mend_dew_point(out, problems, notes)
    notes += [note for note in rain_unit_note(out["rain_mm"].to_numpy()) if note not in notes]
    if problems:
        raise WeatherError(f"{name}: {one_line(problems)}")
    out.attrs = {**attrs, "notes": notes}
    return out


def mended(columns: Mapping[str, Array]) -> tuple[dict[str, Array], NDArray[np.bool_]]:
    """What `check_hourly` mends, of many places at once, and the places that it would refuse.

    Parameters
    ----------
    columns : mapping of str to array [hour, ...]
        Columns of the table, the required ones among them.

    Returns
    -------
    columns : dict of str to array [hour, ...]
        Impossible values are NaN, dew points no higher than the air.
    refused : bool array [...]
        Where more than `IMPOSSIBLE_SHARE` of a column is impossible: its unit is wrong.
    """
    out = dict(columns)
    refused = np.zeros(columns["temp_c"].shape[1:], dtype=bool)
    for name, values in columns.items():
        bad = _impossible(values, (COLUMNS | COARSE)[name])
        if bad.any():
            refused |= bad.sum(axis=0) > IMPOSSIBLE_SHARE * (~np.isnan(values)).sum(axis=0)
            out[name] = np.where(bad, np.nan, values)
        if name == "solar_wm2":
            out[name] = np.maximum(out[name], 0.0)  # a pyranometer's night offset
    temp, dew = out["temp_c"], out["dew_point_c"]
    above, far = _above_air(dew, temp)
    if above.any():
        refused |= far.sum(axis=0) > IMPOSSIBLE_SHARE * len(far)
        out["dew_point_c"] = np.where(far, np.nan, np.where(above, temp, dew))
    return out, refused


def _impossible(values: Array, rule: Column) -> NDArray[np.bool_]:
    with np.errstate(invalid="ignore"):
        return np.asarray((values < rule.low) | (values > rule.high))


def _above_air(dew: Array, temp: Array) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Where the dew point is above the air, and where by more than rounding makes it so."""
    with np.errstate(invalid="ignore"):
        return dew > temp, dew > temp + DEW_EXCESS_C


def known_at(table: pd.DataFrame, now: pd.Timestamp) -> pd.DataFrame:
    """Cut a table to what an evening works with: `HISTORY_H` before now, `AHEAD_H` after it.

    Hours from now on are forecast by definition: ``attrs["forecast_from"]`` is set where the
    table does not say otherwise.

    Raises
    ------
    WeatherError
        If the table does not hold `now`.
    """
    first, last = table.index[0], table.index[-1] + pd.Timedelta(hours=1)

    def minutes(time: pd.Timestamp) -> str:
        return time.tz_convert("UTC").isoformat(timespec="minutes")

    if not first <= now <= last:
        raise WeatherError(
            "the weather does not hold the time of the answer",
            got=minutes(now),
            expected=f"{minutes(first)} to {minutes(last)}",
            cure="give another --now, or newer weather",
        )
    out = table.loc[now - pd.Timedelta(hours=HISTORY_H) : now + pd.Timedelta(hours=AHEAD_H)]
    out.attrs = {"forecast_from": now - (now - first) % pd.Timedelta(hours=1), **table.attrs}
    return out


def _column_problems(table: pd.DataFrame) -> list[str]:
    problems = [
        describe(f"column {column} stands twice", expected="each column once")
        for column in table.columns[table.columns.duplicated()].unique()
        if column in COLUMNS or column in COARSE
    ]
    if problems:
        return problems
    absent = [column for column in PERIOD_COLUMNS if column not in table.columns]
    if 0 < len(absent) < len(PERIOD_COLUMNS):
        problems.append(
            describe("missing column " + ", ".join(absent), expected=", ".join(PERIOD_COLUMNS))
        )
    for column in (*COLUMNS, *COARSE):
        if column in table.columns and not pd.api.types.is_numeric_dtype(table[column]):
            text = table[column].astype("str")
            bad = pd.to_numeric(text, errors="coerce").isna() & table[column].notna()
            if bad.any():
                problems.append(
                    describe(
                        "text in numbers",
                        where=column,
                        expected="numbers",
                        got=text[bad].iloc[0],
                    )
                )
    return problems


def _mend_range(
    out: pd.DataFrame, column: str, rule: Column, problems: list[str], notes: list[str]
) -> None:
    values = out[column].to_numpy()
    bad = _impossible(values, rule)
    count = int(np.count_nonzero(bad))
    if count:
        if count > IMPOSSIBLE_SHARE * np.count_nonzero(~np.isnan(values)):
            worst = values[bad][np.argmax(np.abs(values[bad]))]
            problems.append(
                describe(
                    f"{count} impossible values",
                    where=column,
                    expected=f"{rule.low:g} to {rule.high:g} {rule.unit}",
                    got=float(worst),
                    cure="is the unit right, or is it a code for missing?",
                )
            )
        notes.append(f"{column}: {count} impossible values are unknown")
        values = np.where(bad, np.nan, values)
        out[column] = values
    if column == "solar_wm2":
        out[column] = np.maximum(values, 0.0)  # a pyranometer's night offset


def _mend_dew_point(out: pd.DataFrame, problems: list[str], notes: list[str]) -> None:
    temp, dew = out["temp_c"].to_numpy(), out["dew_point_c"].to_numpy()
    above, far = _above_air(dew, temp)
    count = int(np.count_nonzero(far))
    if count:
        if count > IMPOSSIBLE_SHARE * len(out):
            problems.append(
                describe(
                    f"{count} dew points above the air temperature",
                    where="dew_point_c",
                    expected="dew point <= temp_c",
                    got=float(np.nanmax(dew - temp)),
                    cure="are they swapped?",
                )
            )
        notes.append(f"dew_point_c: {count} values far above the air are unknown")
    if above.any():
        mended = np.where(above, temp, dew)
        out["dew_point_c"] = np.where(far, np.nan, mended)

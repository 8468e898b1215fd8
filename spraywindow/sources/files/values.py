"""Numbers of one column of a file, in the unit of the weather table."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import describe
from spraywindow.sources.files.column_map import KINDS, ValueColumn
from spraywindow.units import convert
from spraywindow.weather import IMPOSSIBLE_SHARE, MEASURABLE_MM, wind_factor

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
WIND_HEIGHT_M = 10.0
SKY_OBSCURED_OKTAS = 8.0
TRACE_MM = 0.253
"""Stands for a trace of rain, and is the most that one can be: `MEASURABLE_MM` is no trace."""
LARGEST_FRACTION = 1.5
"""Shares that never exceed this are fractions, a hygrometer above saturation included."""


def read_values(
    rows: pd.DataFrame, key: str, part: ValueColumn, problems: list[str], notes: list[str]
) -> tuple[Floats, Flags]:
    """Numbers of a raw column in the unit of `key`, and where the file says nothing at all.

    Missing codes become NaN, traces of rain `TRACE_MM`, and isolated impossible values NaN, so that
    none of them is summed or interpolated. Many impossible values are a problem, and so is a
    relative humidity [%] that never exceeds `LARGEST_FRACTION`.

    Parameters
    ----------
    rows : pandas.DataFrame
        As read: numbers, or text where any cell is not a number.
    key : str
        Column of the weather table, of its coarser knowledge, or relative humidity.
    part : ValueColumn
        Unit, scale and codes.
    problems, notes : list of str
        Added to.

    Returns
    -------
    values, blank : arrays
        `blank` marks the cells that are empty in the file.
    """
    where = f"{key} ({part.column})"
    raw = rows[str(part.column)]
    blank = np.asarray(raw.isna())
    for column, allowed in part.when.items():
        meant = rows[column].astype("str").str.strip().isin(allowed)
        raw, blank = raw.where(meant), blank & meant.to_numpy()
    number, traces = _numbers(raw, part, where, problems, notes)
    if part.unit in ("oktas", "okta"):
        # Sky obscured (fog, snow): the cloud above is not known, and full cover would
        # take the sun and the dew away.
        obscured = number > SKY_OBSCURED_OKTAS
        if obscured.any():
            notes.append(f"{key}: {int(obscured.sum())} hours with the sky obscured are unknown")
        number = np.where(obscured, np.nan, number)
    rule = KINDS[key]
    values = np.asarray(convert(number * part.scale, part.unit, rule.unit), dtype=float)
    if part.height is not None:
        values = values * wind_factor(WIND_HEIGHT_M, part.height)
    with np.errstate(invalid="ignore"):
        bad = (values < rule.low) | (values > rule.high)
    count = int(np.count_nonzero(bad))
    if count > IMPOSSIBLE_SHARE * np.count_nonzero(~np.isnan(values)):
        common, times = _most_common(number[bad])
        cure = "is the unit right?"
        if times > 0.5 * count:
            cure = f"if {common:g} stands for a missing value, add missing = [{common:g}]"
        problems.append(
            describe(
                f"{count} impossible values",
                where=where,
                expected=f"{rule.low:g} to {rule.high:g} {rule.unit}",
                got=float(common),
                cure=cure,
            )
        )
    elif count:
        notes.append(f"{key}: {count} impossible values are unknown")
    if key == "rh_pct" and 0.0 < np.nanmax(values, initial=0.0) <= LARGEST_FRACTION:
        # Air that dry would make every hour dry, were it only in the wrong unit.
        problems.append(
            describe(
                f"all values are at most {LARGEST_FRACTION:g} %",
                where=where,
                expected="relative humidity in percent",
                got=float(np.nanmax(values)),
                cure='are these fractions? then unit = "fraction" in a column map',
            )
        )
    if key == "rain_mm":
        values = np.where(traces, TRACE_MM, values)
    return np.where(bad, np.nan, values), blank


def _numbers(
    raw: pd.Series, part: ValueColumn, where: str, problems: list[str], notes: list[str]
) -> tuple[Floats, Flags]:
    """The numbers of a column, traces as 0, and where the traces are."""
    if pd.api.types.is_bool_dtype(raw):
        problems.append(describe("true and false in numbers", where=where, expected="numbers"))
        return np.full(len(raw), np.nan), np.zeros(len(raw), dtype=bool)
    if pd.api.types.is_numeric_dtype(raw):
        number = raw.to_numpy(dtype=float, na_value=np.nan)
    else:
        text = raw.astype("object").map(
            lambda cell: cell.strip() if isinstance(cell, str) else cell
        )
        if part.flags:
            ending = "(?:" + "|".join(re.escape(flag) for flag in part.flags) + ")+$"
            plain = text.astype("str").str.replace(ending, "", regex=True)
            text = text.where(text.isna() | text.isin(_words(part)), plain)
        for code in _words(part):
            text = text.mask(text == code, 0.0 if code in part.trace else np.nan)
        text = text.mask(text == "")
        numeric = pd.to_numeric(text, errors="coerce")
        wrong = text[numeric.isna() & text.notna()]
        if len(wrong):
            problems.append(
                describe(
                    f"text in numbers, {len(wrong)} times",
                    where=f"{where}, row {int(wrong.index[0]) + 1}",
                    expected="numbers",
                    got=str(wrong.iloc[0]),
                    cure="missing, trace and flags in the column map say what such text means",
                )
            )
        number = numeric.to_numpy(dtype=float)
    number = np.where(np.isin(number, _code_numbers(part.missing)), np.nan, number)
    traces = np.isin(number, _code_numbers(part.trace))
    if words := [code for code in part.trace if isinstance(code, str)]:
        traces |= raw.astype("str").str.strip().isin(words).to_numpy()
    if traces.any():
        notes.append(
            f"{where}: {int(traces.sum())} traces count as more than nothing and less than "
            f"{MEASURABLE_MM} mm"
        )
    infinite = np.isinf(number)
    if infinite.any():
        notes.append(f"{where}: {int(infinite.sum())} infinite values are unknown")
    return np.where(infinite, np.nan, np.where(traces, 0.0, number)), traces


def _words(part: ValueColumn) -> list[str]:
    return [code for code in (*part.missing, *part.trace) if isinstance(code, str)]


def _code_numbers(codes: Sequence[float | str]) -> list[float]:
    """The codes that are numbers, those written as text too."""
    numbers = pd.to_numeric(pd.Series(codes, dtype="object"), errors="coerce")
    return [float(number) for number in numbers.dropna()]


def _most_common(values: Floats) -> tuple[float, int]:
    found: Any = np.unique(values, return_counts=True)
    most = int(np.argmax(found[1]))
    return float(found[0][most]), int(found[1][most])

"""Members of an ensemble side by side: the weather table with one more axis.

Each member is a whole forecast of its own, so that what belongs together in it (rain and wind,
one hour and the next) stays together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import WeatherError, one_line
from spraywindow.sources import LONGEST_PLAIN_STEP_H, LONGEST_TOTAL_H
from spraywindow.weather import PERIOD_COLUMNS, check_hourly

Array = NDArray[np.float64]
LEAST_ROUNDING_MM = -0.1
"""Amounts made of differences of sums fall a little below none [mm]; P: common practice, no
source."""


@dataclass(frozen=True, eq=False)
class Members:
    """Forecasts of one issue for one place.

    Attributes
    ----------
    index : DatetimeIndex
        Gap-free hours, UTC; a stamp marks the start of its hour.
    columns : mapping of str to array [hour, member]
        Columns of the weather table; NaN is unknown.
    attrs : dict
        ``source`` {name, issued, fetched, credit, stale}, ``forecast_from`` and ``notes``, as a
        weather table has them: its age is that of `spraywindow.weather.weather_source`.
    limits_of_use : str
        Who may use it, and what the hours are made of.
    """

    index: pd.DatetimeIndex
    columns: Mapping[str, Array]
    attrs: dict[str, Any]
    limits_of_use: str

    @property
    def count(self) -> int:
        """How many members there are."""
        return int(self.columns["temp_c"].shape[1])

    def table(self, member: int) -> pd.DataFrame:
        """One member, from 0, as a weather table."""
        columns = {name: values[:, member] for name, values in self.columns.items()}
        table = pd.DataFrame(columns, index=self.index)
        table.attrs.update(self.attrs)
        return table


def side_by_side(tables: Sequence[pd.DataFrame], limits_of_use: str, name: str) -> Members:
    """Put the tables of members side by side, each checked as any weather table is.

    Rain that several hours running share to the last digit was made of a longer total: it is put
    together again (`whole_totals`), for a total spread evenly would make wet hours dry.

    Parameters
    ----------
    tables : sequence of DataFrame
        One a member; hours and columns that one of them lacks are unknown. The first one's
        ``attrs`` count for all.
    limits_of_use, name : str
        For people; what they are called in messages.

    Raises
    ------
    WeatherError
        If there is no member, or one breaks the contract.
    """
    if not tables:
        raise WeatherError(f"{name}: no members")
    problems, checked = [], []
    for number, table in enumerate(tables, start=1):
        try:
            checked.append(check_hourly(_with_totals(table), name=f"member {number}"))
        except WeatherError as error:
            problems.append(str(error))
    if problems:
        raise WeatherError(f"{name}: {one_line(problems)}")
    first = min(table.index[0] for table in checked)
    index = pd.date_range(first, max(t.index[-1] for t in checked), freq="h", name="time")
    names = dict.fromkeys(column for table in checked for column in table.columns)
    whole = [table.reindex(index=index, columns=list(names)) for table in checked]
    columns = {
        column: np.stack([table[column].to_numpy(dtype=float) for table in whole], axis=1)
        for column in names
    }
    notes = list(dict.fromkeys(note for table in checked for note in table.attrs["notes"]))
    attrs = {str(key): value for key, value in checked[0].attrs.items()} | {"notes": notes}
    return Members(index, columns, attrs, limits_of_use)


def _with_totals(table: pd.DataFrame) -> pd.DataFrame:
    rain, periods = whole_totals(table["rain_mm"].to_numpy(dtype=float))
    out = table.assign(rain_mm=rain, **dict(zip(PERIOD_COLUMNS, periods, strict=True)))
    out.attrs = table.attrs
    return out


def whole_totals(rain_mm: Array) -> tuple[Array, Array]:
    """Put amounts together again that were spread evenly over several hours.

    Parameters
    ----------
    rain_mm : array [hour]
        NaN is unknown.

    Returns
    -------
    rain_mm : array [hour]
        NaN where a total stands; one spread over more than `LONGEST_TOTAL_H` hours is unknown.
    periods : array [3, hour]
        In the order of `PERIOD_COLUMNS`.
    """
    rain = np.where((rain_mm < 0.0) & (rain_mm >= LEAST_ROUNDING_MM), 0.0, rain_mm)
    periods = np.full((len(PERIOD_COLUMNS), rain.size), np.nan)
    edges = np.flatnonzero(np.diff(rain, prepend=np.nan, append=np.nan) != 0.0)
    for start, end in pairwise(edges):
        hours = end - start
        if hours == 1 or not rain[start] > 0.0:
            continue
        if hours <= LONGEST_TOTAL_H:
            periods[0, start:end] = rain[start] * hours
            periods[1, start:end] = hours
            periods[2, start:end] = np.arange(hours)
        rain[start:end] = np.nan
    return rain, periods


def without_long_lines(temp_c: Array) -> Array:
    """Leave temperatures out that lie on a straight slope: they were interpolated over a long step.

    Parameters
    ----------
    temp_c : array [hour]
        NaN is unknown.

    Returns
    -------
    array [hour]
        NaN between the ends of each slope of more than `LONGEST_PLAIN_STEP_H` hours.
    """
    slope = np.diff(temp_c)
    bends = np.flatnonzero(~(np.abs(np.diff(slope)) < 1e-9) | (slope[1:] == 0.0)) + 1
    ends = np.concatenate([[0], bends, [temp_c.size - 1]])
    out = temp_c.copy()
    for start, end in pairwise(ends):
        if end - start > LONGEST_PLAIN_STEP_H:
            out[start + 1 : end] = np.nan
    return out

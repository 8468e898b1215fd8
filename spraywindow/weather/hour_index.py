"""The hours of a weather table: UTC, ascending, each once, a whole number of hours apart."""

from __future__ import annotations

import numpy as np
import pandas as pd

from spraywindow.errors import describe

LONGEST_H = 1_000_000
"""A longer span than this is a wrong date [h]: a gap-free table of it would not be worth having."""


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
    if index.max() - index.min() > pd.Timedelta(hours=LONGEST_H):
        problems.append(
            describe(
                "the table spans more than a century",
                expected="real dates",
                got=f"{index.min().date()} to {index.max().date()}",
            )
        )
    return problems

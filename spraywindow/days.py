"""Local days and clock hours: as people say them, safe in leap years and where clocks change."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError


def day_words(date: dt.date) -> str:
    """A local day: "Tue 13 Jan"."""
    return f"{date:%a} {date.day} {date:%b}"


def clock_words(hours: float) -> str:
    """Hours from midnight as a clock time: "07:30"."""
    minutes = round(hours * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def next_date(month_day: tuple[int, int], start: dt.date) -> dt.date:
    """The first date of a day of the year from `start` on; a 29 February counts as the 28th.

    Examples
    --------
    >>> next_date((2, 29), dt.date(2023, 7, 1))
    datetime.date(2024, 2, 28)
    """
    month, day = month_day
    found = dt.date(start.year, month, min(day, 28) if month == 2 else day)
    return found if found >= start else found.replace(year=start.year + 1)


HOUR = pd.Timedelta(hours=1)


def zoned(now: pd.Timestamp) -> pd.Timestamp:
    """A time as it is; `InputError` where it has no zone."""
    if now.tzinfo is None:
        raise InputError(
            "the time has no zone", where="now", expected="tz-aware", got=now.isoformat()
        )
    return now


def local_dates(times: pd.DatetimeIndex, timezone: str) -> pd.DatetimeIndex:
    """Local date of each instant, as a time without zone at 0 h.

    A zoned midnight would not do: some clocks jump over it.
    """
    return times.tz_convert(timezone).tz_localize(None).normalize()


def at_clock(day: pd.Timestamp, hour: float, timezone: str) -> pd.Timestamp:
    """Instant of a clock hour on a local day: the first of two, or the next that there is."""
    clock = day + hour * HOUR
    return clock.tz_localize(timezone, ambiguous=True, nonexistent="shift_forward")


def days_of(weather: pd.DataFrame, timezone: str) -> tuple[pd.DatetimeIndex, NDArray[np.int_]]:
    """All local days that a table touches, and the row at which each begins, and the last ends.

    The first and the last of the rows lie outside the table unless it holds whole days.
    """
    dates = local_dates(pd.DatetimeIndex(weather.index[[0, -1]]), timezone)
    days = pd.date_range(dates[0], dates[-1], freq="D")
    ends = [*days, days[-1] + pd.Timedelta(days=1)]
    return days, np.array([row_at(weather, at_clock(day, 0, timezone)) for day in ends])


def days_from(weather: pd.DataFrame, timezone: str, now: pd.Timestamp) -> pd.DatetimeIndex:
    """Local days from that of `now` to the last of the table; at least one."""
    instants = pd.DatetimeIndex([now.tz_convert("UTC"), weather.index[-1]])
    first, last = local_dates(instants, timezone)
    return pd.date_range(first, max(first, last), freq="D")


def row_at(weather: pd.DataFrame, time: pd.Timestamp) -> int:
    """Row number of the hour that holds an instant; it may lie outside the table."""
    return int((time - weather.index[0]) // HOUR)

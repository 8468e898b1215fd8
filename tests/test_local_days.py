"""Local days where clocks jump over, or repeat, midnight (IANA time zone data); leap years."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

from spraywindow.days import at_clock, days_from, days_of, next_date


@pytest.mark.parametrize(
    ("timezone", "day", "hours", "first"),
    [
        ("America/Santiago", "2021-09-05", 23, "2021-09-05T01:00:00-03:00"),  # no midnight
        ("America/Havana", "2021-11-07", 25, "2021-11-07T00:00:00-04:00"),  # two of them
        ("Europe/Athens", "2021-03-28", 23, "2021-03-28T00:00:00+02:00"),
        ("Asia/Kathmandu", "2021-03-28", 24, "2021-03-28T00:00:00+05:45"),
    ],
)
def test_length_and_start_of_a_day(timezone: str, day: str, hours: int, first: str) -> None:
    start = pd.Timestamp(day, tz="UTC") - pd.Timedelta(days=2)
    index = pd.date_range(start, periods=120, freq="h")
    weather = pd.DataFrame({"rain_mm": 0.0}, index=index)
    days, edges = days_of(weather, timezone)
    number = days.get_loc(pd.Timestamp(day))
    assert edges[number + 1] - edges[number] == hours
    assert at_clock(pd.Timestamp(day), 0, timezone).isoformat() == first
    assert edges[0] <= 0
    assert edges[-1] >= len(weather)


def test_days_from_now_even_past_the_table() -> None:
    index = pd.date_range("2021-03-01", periods=48, freq="h", tz="UTC")
    weather = pd.DataFrame({"rain_mm": 0.0}, index=index)
    now = pd.Timestamp("2021-03-01 23:00", tz="UTC")  # already the next day on site
    assert days_from(weather, "Europe/Athens", now).strftime("%d").tolist() == ["02", "03"]
    late = pd.Timestamp("2021-04-01", tz="UTC")
    assert len(days_from(weather, "Europe/Athens", late)) == 1


@pytest.mark.parametrize(
    ("month_day", "start", "date"),
    [
        ((12, 1), (2023, 7, 1), (2023, 12, 1)),
        ((2, 29), (2023, 7, 1), (2024, 2, 28)),
        ((2, 29), (2024, 2, 29), (2025, 2, 28)),  # the 28th has gone by
        ((7, 1), (2023, 7, 1), (2023, 7, 1)),
        ((6, 30), (2023, 7, 1), (2024, 6, 30)),
        ((1, 1), (2023, 1, 2), (2024, 1, 1)),
    ],
)
def test_a_day_of_the_year_from_a_day_on(
    month_day: tuple[int, int], start: tuple[int, int, int], date: tuple[int, int, int]
) -> None:
    assert next_date(month_day, dt.date(*start)) == dt.date(*date)

"""Wet days of winters against counts that others made of the same gauge."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from spraywindow.place import Place
from spraywindow.spray.conditions import Setting
from spraywindow.weather.rain import MEASURABLE_MM
from spraywindow.weather.table import check_hourly
from spraywindow.winters.block import winter_block
from tests.conftest import SHARED, needs_records

DAVIS = Place(38.54, -121.78, 18.0, "Etc/GMT+8")  # its days are those of Pacific standard time
NOV_TO_FEB_D = 120


def davis_hours() -> pd.DataFrame:
    """Daily totals of the gauge as what they are: one total over the hours of its day."""
    raw = pd.read_csv(
        SHARED / "data" / "davis-daily" / "test_data.csv", index_col=0, encoding="utf-8-sig"
    )
    inches = pd.to_numeric(raw["precip"], errors="coerce")
    days = pd.DatetimeIndex(pd.to_datetime(raw.index)).tz_localize(DAVIS.timezone)
    hours = pd.date_range(days[0], days[-1] + pd.Timedelta(hours=23), freq="h").tz_convert("UTC")
    total = np.repeat(inches.to_numpy() * 25.4, 24)
    table = pd.DataFrame(
        {
            "temp_c": 8.0,
            "dew_point_c": 4.0,
            "wind_ms": 2.0,
            "rain_mm": np.where(total == 0.0, 0.0, np.nan),
            "rain_total_mm": total,
            "rain_total_h": np.where(np.isnan(total), np.nan, 24.0),
            "rain_total_hour": np.where(
                np.isnan(total), np.nan, np.tile(np.arange(24.0), len(days))
            ),
        },
        index=hours,
    )
    return check_hourly(table)


@needs_records
def test_wet_days_of_davis_are_those_counted_from_the_gauge() -> None:
    # November to February 1994-2018, days of 0.01 in and more: median 41, from 15 to 63; the
    # normal of 1981-2010 is 43.1 (NOAA 1981-2010 climate normals, Davis 2 WSW)
    starts = [dt.date(year, 11, 1) for year in range(1994, 2018)]
    block = winter_block(davis_hours(), DAVIS, Setting(), starts, NOV_TO_FEB_D)
    assert (np.isinf(block.conditions.rain.hourly.high).mean(axis=0) < 0.02).all()
    midnight = np.array([np.searchsorted(column, 0) for column in block.day.T])
    rows = midnight + 24 * np.arange(NOV_TO_FEB_D)[:, None]
    fallen = block.conditions.rain.ahead(24).low[rows, np.arange(len(starts))]
    wet = (fallen >= MEASURABLE_MM).sum(axis=0)
    assert (np.median(wet), wet.min(), wet.max()) == (41, 15, 63)
    assert wet[:16].mean() == pytest.approx(_normal_of_davis(), rel=0.1)


def _normal_of_davis() -> float:
    """Days of at least 0.01 in from November to February, from the table of normals."""
    path = SHARED / "data" / "normals-1981-2010" / "mly-prcp-avgnds-ge001hi-west.txt"
    row = next(line for line in path.read_text().splitlines() if line.startswith("USC00042294"))
    months = [int(field.rstrip("CSRPQ")) / 10.0 for field in row.split()[1:]]
    normal = sum(months[month - 1] for month in (11, 12, 1, 2))
    assert normal == pytest.approx(43.1)
    return normal

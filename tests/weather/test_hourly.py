"""The weather table's one check: what is refused, what is mended, and that both are said."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import WeatherError
from spraywindow.weather.table import AHEAD_H, HISTORY_H, NOTE, check_hourly, known_at


def table(hours: int = 48, start: str = "2024-01-10", **columns: object) -> pd.DataFrame:
    index = pd.date_range(start, periods=hours, freq="h", tz="UTC")
    base = {"temp_c": 10.0, "dew_point_c": 5.0, "wind_ms": 2.0, "rain_mm": 0.0}
    return pd.DataFrame(base | columns, index=index)


def with_value(column: str, value: float, hours: int = 3000) -> pd.DataFrame:
    out = table(hours, **{"solar_wm2": 100.0, "cloud": 0.5, "gust_ms": 4.0, "rain_chance": 0.1})
    out.iloc[7, out.columns.get_loc(column)] = value
    return out


def test_a_good_table_comes_back_as_floats() -> None:
    given = table(rain_mm=0, note="dry", wind_ms=pd.array([2] * 47 + [None], dtype="Int64"))
    out = check_hourly(given)
    assert list(out.columns) == ["temp_c", "dew_point_c", "wind_ms", "rain_mm"]
    assert (out.dtypes == "float64").all()
    assert out["wind_ms"].isna().sum() == 1
    assert out.attrs["notes"] == []


def test_attributes_are_kept_and_the_input_is_not_touched() -> None:
    given = table().drop(index=table().index[5])
    given.attrs = {"source": {"name": "station"}, "notes": ["a"]}
    out = check_hourly(given)
    assert out.attrs == {
        "source": {"name": "station"},
        "notes": ["a", "1 missing hours are unknown"],
    }
    assert given.attrs["notes"] == ["a"]
    assert len(given) == 47


def test_rain_in_inches_is_suspected_once() -> None:
    hundredths = np.where(np.arange(4320) % 20 == 0, np.arange(4320) // 20 % 9 / 100, 0.0)
    out = check_hourly(table(4320, rain_mm=hundredths))
    assert out.attrs["notes"] == [NOTE]
    assert check_hourly(out).attrs["notes"] == [NOTE]
    assert check_hourly(table(4320, rain_mm=25.4 * hundredths)).attrs["notes"] == []


def test_a_gap_is_made_explicit_and_counted() -> None:
    out = check_hourly(table().drop(index=table().index[10:15]))
    assert len(out) == 48
    assert out.iloc[10:15].isna().all(axis=None)
    assert out.attrs["notes"] == ["5 missing hours are unknown"]
    assert check_hourly(out).attrs["notes"] == ["5 missing hours are unknown"]


@pytest.mark.parametrize(
    ("bad", "match"),
    [
        (table().drop(columns=["rain_mm", "wind_ms"]), "missing column wind_ms, rain_mm; expected"),
        (table().tz_localize(None), "the times are not UTC.*got 'None'"),
        (table().tz_convert("Europe/Athens"), "not UTC.*got 'Europe/Athens'; use tz_localize"),
        (table().iloc[[0, 2, 1, *range(3, 48)]], "the hours are out of order.*2024-01-10T01:00"),
        (table().iloc[[0, 1, 1, 2]], "1 hours stand twice.*2024-01-10T01:00"),
        (table().iloc[:0], "the table is empty"),
        (table().reset_index(drop=True), "the index is not of times.*got 'RangeIndex'"),
        (table().set_axis([pd.NaT, *table().index[1:]]), "1 stamps are not times"),
        (table().resample("15min").ffill(), "141 stamps lie between the hours.*00:15"),
        (table().set_axis(table().index[:-1].append(table().index[-1:] + pd.Timedelta("9min"))),
         "1 stamps lie between the hours; expected one row an hour.*23:09"),
        (pd.concat([table(2, "1850-01-01"), table(2)]), "more than a century.*1850-01-01 to 2024"),
        (table(temp_c="mild"), "temp_c: text in numbers; expected numbers; got 'mild'"),
        (table(temp_c=["1,5", *["2"] * 47]), "temp_c: text in numbers.*got '1,5'"),
        (table(temp_c=pd.Timestamp("2024-01-01")), "temp_c: text in numbers.*got '2024-01-01"),
        (table(rain_total_mm=1.0, rain_total_h=6.0), "missing column rain_total_hour"),
        (pd.concat([table(), table()[["temp_c"]]], axis=1), "column temp_c stands twice"),
    ],
)  # fmt: skip
def test_what_is_refused(bad: pd.DataFrame, match: str) -> None:
    with pytest.raises(WeatherError, match=f"^winter.csv: .*{match}"):
        check_hourly(bad, name="winter.csv")


def test_all_problems_at_once() -> None:
    bad = table(temp_c="mild").drop(columns="rain_mm").iloc[[0, 1, 1]]
    with pytest.raises(WeatherError, match=r"stand twice.*missing column rain_mm.*text in numbers"):
        check_hourly(bad)


def test_numbers_that_came_as_text_are_numbers() -> None:
    out = check_hourly(table(temp_c="10.5", wind_ms=pd.array([2] * 47 + [pd.NA], dtype=object)))
    assert out["temp_c"].iloc[0] == 10.5
    assert np.isnan(out["wind_ms"].iloc[-1])


@pytest.mark.parametrize("start", ["2024-01-10 00:30", "2024-01-10 05:45"])
def test_half_and_quarter_hour_zones(start: str) -> None:
    assert len(check_hourly(table(start=start))) == 48


def test_one_wind_of_1048_mph_in_a_long_table_is_unknown() -> None:
    out = check_hourly(with_value("wind_ms", 468.5))
    assert np.flatnonzero(out["wind_ms"].isna()).tolist() == [7]
    assert out.attrs["notes"] == ["wind_ms: 1 impossible values are unknown"]


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("temp_c", -9999.0), ("temp_c", 999.9), ("temp_c", 200.0), ("dew_point_c", -9999.0),
        ("rain_mm", 999.9), ("rain_mm", -1.0), ("gust_ms", np.inf), ("cloud", 75.0),
        ("rain_chance", -0.1), ("solar_wm2", -9999.0), ("temp_c", -np.inf),
    ],
)  # fmt: skip
def test_an_isolated_impossible_value_is_unknown(column: str, value: float) -> None:
    out = check_hourly(with_value(column, value))
    assert np.flatnonzero(out[column].isna()).tolist() == [7]
    assert f"{column}: 1 impossible values are unknown" in out.attrs["notes"]


@pytest.mark.parametrize(
    ("column", "value", "unit"),
    [("temp_c", 200.0, "degC"), ("temp_c", -9999.0, "degC"), ("wind_ms", 468.5, "m/s"),
     ("rain_mm", 999.9, "mm")],
)  # fmt: skip
def test_many_impossible_values_suspect_the_unit(column: str, value: float, unit: str) -> None:
    with pytest.raises(
        WeatherError, match=f"{column}: 48 impossible values; .*{unit}; got {value}.*unit right"
    ):
        check_hourly(table(**{column: value}))


def test_the_share_is_of_the_values_that_are_there() -> None:
    sparse = table(3000, rain_mm=[*[0.0] * 500, *[np.nan] * 2499, -1.0])
    with pytest.raises(WeatherError, match="rain_mm: 1 impossible"):
        check_hourly(sparse)


def test_a_pyranometer_at_night_reads_nothing() -> None:
    hours = with_value("solar_wm2", -9999.0)
    hours.iloc[20, hours.columns.get_loc("solar_wm2")] = -3.0
    assert check_hourly(hours)["solar_wm2"].iloc[20] == 0.0


def test_an_impossible_total_is_unknown() -> None:
    # a negative total would lower the rain of a window
    hours = table(3000, rain_total_mm=2.0, rain_total_h=6.0, rain_total_hour=0.0)
    hours.iloc[7, hours.columns.get_loc("rain_total_mm")] = -9999.0
    assert np.isnan(check_hourly(hours)["rain_total_mm"].iloc[7])
    with pytest.raises(WeatherError, match="temp_min_c: 48 impossible values"):
        check_hourly(table(temp_min_c=-9999.0, temp_max_c=12.0))


def test_a_dew_point_little_above_the_air_is_clipped() -> None:
    out = check_hourly(table(dew_point_c=10.9))
    assert (out["dew_point_c"] == 10.0).all()
    assert out.attrs["notes"] == []


def test_a_dew_point_far_above_the_air() -> None:
    out = check_hourly(with_value("dew_point_c", 12.0))
    assert np.flatnonzero(out["dew_point_c"].isna()).tolist() == [7]
    assert out.attrs["notes"] == ["dew_point_c: 1 values far above the air are unknown"]
    with pytest.raises(WeatherError, match=r"48 dew points above the air.*got 4\.0.*swapped"):
        check_hourly(table(dew_point_c=14.0))


def test_what_an_evening_works_with() -> None:
    hours = check_hourly(table(2000))
    now = hours.index[1000] + pd.Timedelta(minutes=20)
    cut = known_at(hours, now)
    assert (cut.index[0], cut.index[-1]) == (
        hours.index[1000 - HISTORY_H + 1], hours.index[1000 + AHEAD_H],
    )  # fmt: skip
    assert cut.attrs["forecast_from"] == hours.index[1000]
    hours.attrs["forecast_from"] = hours.index[990]
    assert known_at(hours, now).attrs["forecast_from"] == hours.index[990]


def test_the_hour_under_way_is_forecast_in_half_hour_zones_too() -> None:
    hours = check_hourly(table(start="2024-01-10 00:30"))
    now = pd.Timestamp("2024-01-10 10:10", tz="UTC")
    assert known_at(hours, now).attrs["forecast_from"] == pd.Timestamp("2024-01-10 09:30Z")


@pytest.mark.parametrize("hours", [-1, 49])
def test_a_now_outside_the_table(hours: int) -> None:
    now = table().index[0] + pd.Timedelta(hours=hours)
    with pytest.raises(WeatherError, match=r"not hold the time of the answer.*another --now"):
        known_at(table(), now)
    assert len(known_at(table(), table().index[-1] + pd.Timedelta(hours=1))) == 48

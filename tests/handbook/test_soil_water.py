"""Rain of runs of hours, water demand and the soil bucket."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraywindow.handbook.water_store import SOILS, bucket, soil_water
from spraywindow.place import Place
from spraywindow.weather.air import dew_point_from_humidity
from spraywindow.weather.evapotranspiration import water_demand
from spraywindow.weather.rain import rain_between

PLACE = Place(38.0, 23.0, 100.0, "Europe/Athens")
START = pd.Timestamp("2021-03-01", tz="UTC")


def table(days: int = 20) -> pd.DataFrame:
    index = pd.date_range(START, periods=24 * days, freq="h", name="time")
    temp = 14 + 6 * np.sin((index.hour.to_numpy() - 8) / 12 * np.pi)
    return pd.DataFrame(
        {"temp_c": temp, "dew_point_c": 6.0, "wind_ms": 2.0, "rain_mm": 0.0}, index=index
    )


def rained(mm: float, first: int, hours: int = 1) -> pd.DataFrame:
    weather = table()
    weather.iloc[first : first + hours, weather.columns.get_loc("rain_mm")] = mm
    return weather


@given(st.data())
def test_rain_bounds_against_counting_by_hand(data: st.DataObject) -> None:
    blocks = data.draw(st.lists(st.tuples(st.sampled_from("hmt"), st.integers(1, 4),
                                          st.integers(0, 9)), min_size=1, max_size=6))  # fmt: skip
    rows: list[tuple[float, float, float, float, int]] = []
    for number, (kind, length, mm) in enumerate(blocks):
        for hour in range(length):
            hourly = float(mm) if kind == "h" else math.nan
            total = (float(mm), float(length), float(hour)) if kind == "t" else (math.nan,) * 3
            rows.append((hourly, *total, number))
    cut = data.draw(st.integers(0, len(rows) - 1))  # a table may begin inside a period
    rows = rows[cut:]
    weather = pd.DataFrame(
        [row[:4] for row in rows],
        columns=["rain_mm", "rain_total_mm", "rain_total_h", "rain_total_hour"],
    )
    begin = data.draw(st.integers(-2, len(rows)))
    end = data.draw(st.integers(begin + 1, len(rows) + 2))
    low, high = rain_between(weather, np.array([begin]), np.array([end]))
    window = range(begin, end)
    least = most = 0.0
    for number in {row[4] for row in rows}:
        kind, length, mm = blocks[number]
        inside = [i for i in window if 0 <= i < len(rows) and rows[i][4] == number]
        if kind == "h":
            least, most = least + mm * len(inside), most + mm * len(inside)
        elif kind == "t" and inside:
            least, most = least + mm * (len(inside) == length), most + mm
        elif kind == "m" and inside:
            most = math.inf
    if any(i < 0 or i >= len(rows) for i in window):
        most = math.inf
    assert (low[0], high[0]) == (least, most)


def test_demand_is_hargreaves_by_whole_days_without_radiation() -> None:
    demand = water_demand(table(3), PLACE)
    day = demand[demand.index.tz_convert(PLACE.timezone).normalize() == "2021-03-02 00:00+02:00"]
    # FAO-56 eqs 21-25 by hand: dr 1.0164, declination -0.1364, sunset 1.4634, Ra 24.97 MJ;
    # eq. 52: 0.0023 * (14 + 17.8) * sqrt(20 - 8) * 24.97 * 0.408
    assert day["low_mm"].sum() == pytest.approx(2.58, abs=0.01)
    assert (day["low_mm"] == day["high_mm"]).all()
    cut = demand.iloc[:20]  # the first local day lacks two hours: bounds only
    assert cut["low_mm"].sum() == 0
    assert cut["high_mm"].sum() > 5


def test_demand_with_radiation_is_known_by_the_hour() -> None:
    weather = table(2).assign(solar_wm2=300.0)
    demand = water_demand(weather, PLACE)
    assert (demand["low_mm"] == demand["high_mm"]).all()
    weather.loc[weather.index[12], "wind_ms"] = np.nan
    weather.loc[weather.index[12], "temp_c"] = np.nan
    gap = water_demand(weather, PLACE).iloc[12]
    assert gap["low_mm"] == 0 < gap["high_mm"]


def test_demand_of_one_hour_is_example_19_of_fao_56() -> None:
    # 1 October, 14 to 15 h: 38 degC, 52 %, 3.3 m/s at 2 m, 2.450 MJ -> 0.63 mm; 28 degC, 90 %,
    # 1.9 m/s at night -> 0.00 mm
    place = Place(16.22, -16.25, 8.0, "UTC")
    index = pd.date_range("2021-10-01", periods=24, freq="h", tz="UTC")
    weather = pd.DataFrame(
        {
            "temp_c": 38.0,
            "dew_point_c": dew_point_from_humidity(38.0, 52.0),
            "wind_ms": 3.3 / 0.748,
            "solar_wm2": 2.450 / 0.0036,
        },
        index=index,
    )
    assert water_demand(weather, place)["low_mm"].iloc[15] == pytest.approx(0.63, abs=5e-3)
    measured = water_demand(weather.assign(pressure_hpa=1012.0), place)
    assert measured["low_mm"].iloc[15] == pytest.approx(0.63, abs=5e-3)
    night = weather.assign(
        temp_c=28.0, dew_point_c=dew_point_from_humidity(28.0, 90.0), wind_ms=1.9 / 0.748
    )
    damp = water_demand(night, place).iloc[3]  # a clearer sky than the example's: 0.7 for 0.8
    assert damp.tolist() == pytest.approx([0.0, 0.0], abs=1e-2)
    unseen = weather.assign(solar_wm2=weather["solar_wm2"].where(index.hour > 5))
    windy = water_demand(unseen, place).iloc[3]  # a night needs no pyranometer
    assert 0.05 < windy["low_mm"] == windy["high_mm"]
    calm_and_damp = weather.assign(temp_c=5.0, dew_point_c=5.0, wind_ms=0.0)
    assert water_demand(calm_and_damp, place)["low_mm"].min() == 0  # dew is no negative demand


def test_the_extremes_of_longer_steps_widen_the_day() -> None:
    weather = table(3)
    wide = weather.assign(temp_min_c=weather["temp_c"] - 2, temp_max_c=weather["temp_c"] + 2)
    ratio = water_demand(wide, PLACE)["low_mm"].sum() / water_demand(weather, PLACE)["low_mm"].sum()
    assert ratio == pytest.approx(math.sqrt(16 / 12))  # eq. 52: the root of the spread


def test_bucket_closed_forms() -> None:
    loam = SOILS["loam"]
    wettest, end = bucket([1000.0, 0.0], [0.0, 0.0], loam, loam.capacity_mm)
    excess = loam.full_mm - loam.capacity_mm  # half of it drains a day
    assert wettest.tolist() == pytest.approx([loam.full_mm, loam.capacity_mm + excess / 2])
    assert end.tolist() == pytest.approx(
        [loam.capacity_mm + excess / 2, loam.capacity_mm + excess / 4]
    )
    _, end = bucket([0.0], [5.0], loam, loam.capacity_mm)
    assert end[0] == pytest.approx(loam.capacity_mm - 5)
    _, end = bucket(np.zeros(400), np.full(400, 9.0), loam, loam.capacity_mm)
    assert end[-1] == pytest.approx(loam.wilting_mm, abs=0.1)
    _, end = bucket([0.0], [1000.0], loam, loam.capacity_mm)
    assert end[0] == loam.wilting_mm  # a greedy day takes no more than there is
    assert bucket(np.zeros((3, 2)), 1.0, loam, [80.0, 40.0])[1].shape == (3, 2)


@given(
    rain=st.lists(st.floats(0, 80), min_size=3, max_size=3),
    more=st.floats(0, 50),
    demand=st.floats(0, 10),
)
def test_more_rain_never_dries_the_soil(rain: list[float], more: float, demand: float) -> None:
    for soil in SOILS.values():
        less, _ = bucket(rain, demand, soil, soil.capacity_mm)
        wetter, _ = bucket([rain[0] + more, *rain[1:]], demand, soil, soil.capacity_mm)
        assert (wetter >= less - 1e-9).all()


def test_soil_bounds_hold_each_other_and_close() -> None:
    water = soil_water(rained(20.0, 5 * 24, 10), PLACE, SOILS["loam"])
    assert (water["end_low_mm"] <= water["end_high_mm"]).all()
    assert water["wettest_low_mm"].iloc[5] == pytest.approx(SOILS["loam"].full_mm)
    whole_days = Place(38.0, 23.0, 100.0, "UTC")
    first = soil_water(table(), whole_days, SOILS["loam"]).iloc[0]
    assert first["wettest_high_mm"] == SOILS["loam"].full_mm
    assert first["wettest_low_mm"] == SOILS["loam"].wilting_mm
    hidden = rained(20.0, 5 * 24, 10)
    hidden.loc[hidden.index[7 * 24 : 9 * 24], "temp_c"] = np.nan
    unsure = soil_water(hidden, PLACE, SOILS["loam"])
    assert unsure["end_low_mm"].iloc[9] < water["end_low_mm"].iloc[9]
    assert unsure["end_high_mm"].iloc[9] > water["end_high_mm"].iloc[9]
    gap = water["end_high_mm"] - water["end_low_mm"]
    assert gap.iloc[6] < 0.2 * gap.iloc[0]

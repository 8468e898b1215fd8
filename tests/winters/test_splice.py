"""A forecast in front of past winters: the join, and what is carried over it."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from spraywindow.sources.demo.samples import DEMO_PLACE, demo_forecast
from spraywindow.spray.conditions import FORECAST_FROST_C, Setting
from spraywindow.winters.block import HourBlock, last_known_rain, winter_block
from tests.season_values import winters

TOMORROW = dt.date(2026, 1, 13)


def spliced(forecast: pd.DataFrame) -> HourBlock:
    starts = [dt.date(year, 1, 13) for year in (2015, 2016, 2021)]
    front = (TOMORROW, forecast)
    return winter_block(winters(), DEMO_PLACE, Setting(), starts, 30, forecast=front)


def ended(forecast: pd.DataFrame, known_rain: int) -> pd.DataFrame:
    out = forecast.copy()
    out.iloc[known_rain:, out.columns.get_loc("rain_mm")] = np.nan
    return out


def test_the_join_is_at_the_last_known_rain_and_not_at_the_end_of_the_table() -> None:
    forecast = demo_forecast()
    short = ended(forecast, 150)
    assert last_known_rain(short) == forecast.index[149]
    block = spliced(short)
    temp = block.conditions.columns["temp_c"]
    first = pd.Timestamp(int(block.epoch_h[0]) * 3600, unit="s", tz="UTC")
    hours = int((forecast.index[149] - forecast.index[0]) / pd.Timedelta(hours=1)) + 1
    same = np.isclose(temp, temp[:, :1]).all(axis=1)
    assert same.sum() == hours
    # the rain behind it is each winter's own, and none of it is unknown
    assert np.isfinite(block.conditions.columns["rain_mm"][np.flatnonzero(same)[-1] + 1 :]).all()
    assert first.tz_convert(None).year == 2015


def test_a_longer_total_counts_as_known_rain() -> None:
    forecast = ended(demo_forecast(), 100)
    for name, value in (("rain_total_mm", 3.0), ("rain_total_h", 6.0)):
        forecast[name] = np.nan
        forecast.iloc[100:106, forecast.columns.get_loc(name)] = value
    forecast["rain_total_hour"] = np.nan
    forecast.iloc[100:106, forecast.columns.get_loc("rain_total_hour")] = np.arange(6.0)
    assert last_known_rain(forecast) == forecast.index[105]


def test_a_forecast_without_any_rain_joins_at_its_first_hour() -> None:
    forecast = ended(demo_forecast(), 0)
    assert last_known_rain(forecast) == forecast.index[0]


def test_the_water_store_goes_over_the_join() -> None:
    # it rains hard in the forecast's last hours: the next winter's first hours find wet wood
    dry, wet = demo_forecast(), demo_forecast()
    end = int(np.flatnonzero(dry["rain_mm"].notna())[-1])
    for table, rain in ((dry, 0.0), (wet, 9.0)):
        table.iloc[end - 5 : end + 1, table.columns.get_loc("rain_mm")] = rain
        table.iloc[end - 5 : end + 1, table.columns.get_loc("dew_point_c")] = -5.0
    stores = []
    for table in (dry, wet):
        block = spliced(table)
        temp = block.conditions.columns["temp_c"]
        join = int(np.flatnonzero(np.isclose(temp, temp[:, :1]).all(axis=1))[-1]) + 1
        stores.append(block.conditions.water.low[join])
    assert (stores[1] > 0.2).all()
    assert (stores[0] < stores[1]).all()


def test_frost_is_uncertain_in_the_forecast_only() -> None:
    block = spliced(demo_forecast())
    known = np.isfinite(block.conditions.temp.low)
    taken = np.where(known, block.conditions.temp.low, 0.0)
    taken = taken - np.where(known, block.conditions.frost_temp.low, 0.0)
    forecast = block.conditions.forecast
    assert forecast is not None
    assert np.allclose(taken[forecast], FORECAST_FROST_C)
    behind = ~forecast & (np.arange(len(forecast)) > np.flatnonzero(forecast)[-1])
    assert (taken[behind] == 0).all()
    past = winter_block(winters(), DEMO_PLACE, Setting(), [dt.date(2015, 1, 13)], 30)
    assert past.conditions.frost_temp is past.conditions.temp

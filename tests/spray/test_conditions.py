from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from spraywindow.spray.conditions import Conditions, Setting
from spraywindow.spray.hours import sun_of, weather_columns
from spraywindow.spray.material import Limit
from spraywindow.spray.quantities import QUANTITIES
from tests.weeks import NIGHT, NOON, PLACE, fortnight


def conditions(table: pd.DataFrame, **setting: float) -> Conditions:
    sun = sun_of(pd.DatetimeIndex(table.index), PLACE)
    return Conditions(weather_columns(table), sun, Setting(**setting))  # type: ignore[arg-type]


def test_before_the_data_the_wood_may_have_been_dry_or_wet_for_ever() -> None:
    dry = conditions(fortnight(cloud=None)).hours_dry
    assert dry.low[0] == -1.0  # the four hours before may have rained
    assert np.isinf(dry.high[0])
    assert dry.low[20] < 20
    assert np.isinf(dry.high[20])
    wetted = conditions(fortnight(cloud=None, rain_mm={NOON: 1.0})).hours_dry
    assert wetted.high[NOON] == wetted.low[NOON] == -1.0
    assert wetted.high[NOON + 3] == wetted.low[NOON + 3] == 0.0
    assert wetted.high[NOON + 7] == wetted.low[NOON + 7] == 4.0


def test_a_drier_site_does_not_make_the_last_hours_surely_wet() -> None:
    # The hour after the data may be dry, so a wood that dries an hour earlier may be dry now.
    damp = fortnight(12.0, 95.0, cloud=None)
    as_modelled = conditions(damp).hours_dry
    earlier = conditions(damp, dew_off_h=-1.0).hours_dry
    assert as_modelled.high[-2] == -1.0
    assert earlier.high[-3] == -1.0
    assert earlier.high[-1] >= 0.0
    assert earlier.low[-1] == -1.0


def test_the_same_hours_as_a_forecast_differ_in_frost_alone() -> None:
    # everything that a limit can look at, before and after the record's own was worked out
    table = fortnight(1.0, 80.0, rain_mm={NOON: 1.0}, rain_chance=0.1, gust_ms=3.0,
                      wind_from_deg=90.0)  # fmt: skip
    record = conditions(table, frost_hollow_c=1.0, neighbours_deg=(0.0,))
    asked = Limit("x", "", "at least", 0.0, 1.0, "", "hard", "", "", "", hours=24.0)
    told = {name: each.compute(record, asked) for name, each in QUANTITIES.items()}
    ahead = record.as_forecast()
    alone = Conditions(record.columns, record.sun, record.setting,
                       forecast=np.ones(len(table), dtype=bool))  # fmt: skip
    differ = set()
    for name, quantity in QUANTITIES.items():
        found, wanted = quantity.compute(ahead, asked), quantity.compute(alone, asked)
        np.testing.assert_array_equal(found, wanted)
        np.testing.assert_array_equal(told[name], quantity.compute(record, asked))
        if not np.array_equal(found, told[name], equal_nan=True):
            differ.add(name)
    assert differ == {
        "lowest_temp", "lowest_temp_until_dry", "lowest_temp_either_side",
        "hours_dry_before_trouble",
    }  # fmt: skip


def test_step_extremes_widen_the_temperature_each_on_its_own() -> None:
    low = conditions(fortnight(temp_min_c={NOON: 9.0})).temp
    assert (low.low[NOON], low.high[NOON]) == (9.0, 12.0)
    high = conditions(fortnight(temp_max_c={NOON: 15.0})).temp
    assert (high.low[NOON], high.high[NOON]) == (12.0, 15.0)
    assert (high.low[NOON + 1], high.high[NOON + 1]) == (12.0, 12.0)


def test_the_highest_wind_of_an_hour_widens_it_upwards_only() -> None:
    wind = conditions(fortnight(wind_max_ms={NOON: 9.0, NOON + 1: 1.0})).wind
    assert (wind.low[NOON], wind.high[NOON]) == (2.5, 9.0)
    assert (wind.low[NOON + 1], wind.high[NOON + 1]) == (2.5, 2.5)
    unread = conditions(fortnight(wind_ms={NOON: np.nan}, wind_max_ms={NOON: 3.0})).wind
    assert (unread.low[NOON], unread.high[NOON]) == (0.0, np.inf)


@pytest.mark.parametrize(("cloud", "low", "high"), [(0.2, 9.0, 9.0), (np.nan, 9.0, 12.0)])
def test_where_the_cloud_is_unknown_the_hollow_may_be_colder(
    cloud: float, low: float, high: float
) -> None:
    table = fortnight(cloud={NIGHT: cloud}, wind_ms={NIGHT: 1.9})
    temp = conditions(table, frost_hollow_c=3.0).temp
    assert (temp.low[NIGHT], temp.high[NIGHT]) == (low, high)
    assert temp.low[NOON] == temp.high[NOON] == 12.0


def test_a_spray_dries_until_rain_or_frost() -> None:
    # 2 h to dry at 10 degC and above where only humidity tells: common practice.
    table = fortnight(cloud=None, rain_mm={NOON + 5: 0.254}, temp_c=12.0)
    spare = conditions(table).hours_dry_before_trouble
    assert spare.low[NOON] == spare.high[NOON] == 3.0
    trace = conditions(fortnight(cloud=None, rain_mm={NOON + 5: 0.253})).hours_dry_before_trouble
    assert trace.low[NOON] > 100.0
    assert trace.low[-1] == 1.0 - 2.0
    assert np.isinf(trace.high[NOON])  # what comes after the data is not known

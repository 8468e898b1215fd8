from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from spraywindow.spray.catalogue import OIL
from spraywindow.spray.conditions import Conditions, Setting
from spraywindow.spray.hours import sun_of, weather_columns
from spraywindow.spray.kernel import margin_of
from spraywindow.spray.quantities import QUANTITIES
from spraywindow.weather.intervals import Interval
from tests.weeks import NOON, PLACE, fortnight


def value(quantity: str, table: pd.DataFrame, row: int = NOON, **changes: object) -> float:
    limit = replace(OIL.limit("cold"), quantity=quantity, **changes)  # type: ignore[arg-type]
    sun = sun_of(pd.DatetimeIndex(table.index), PLACE)
    found = QUANTITIES[quantity].compute(
        Conditions(weather_columns(table), sun, Setting(neighbours_deg=(90.0,))), limit
    )
    assert found.low[row] == found.high[row]
    return float(found.low[row])


def test_the_wind_is_that_of_the_tree_top() -> None:
    # FAO-56 eq. 47: 10 m to 4 m is times 0.86 (0.857)
    assert value("wind_at_top", fortnight(wind_ms=5.0)) == pytest.approx(0.857 * 5.0, abs=0.003)


def test_wet_bulb_depression_of_the_published_example() -> None:
    # Stull 2011: 20 degC, 50 % gives 13.7 degC, error -1 to +0.65 K; a ventilated psychrometer
    gap = value("wet_bulb_depression", fortnight(20.0, 50.0), bound="at most")
    assert gap == pytest.approx(20.0 - 13.7, abs=0.35)


def test_rain_before_and_ahead_meet_at_the_stamp() -> None:
    table = fortnight(rain_mm={NOON - 1: 3.0, NOON: 5.0})
    assert value("rain_before", table, hours=24.0) == 3.0
    assert value("rain_ahead", table, hours=24.0) == 5.0


def test_downwind_is_opposite_of_where_the_wind_comes_from() -> None:
    assert value("degrees_off_downwind", fortnight(wind_from_deg=270.0)) == 0.0
    assert value("degrees_off_downwind", fortnight(wind_from_deg=30.0)) == 120.0


def test_instants_are_judged_at_the_worse_end_of_the_hour() -> None:
    table = fortnight(wind_ms={NOON + 1: 4.0})
    factor = value("wind_at_top", fortnight(wind_ms=1.0))
    assert value("wind_at_top", table, bound="at most") == pytest.approx(4.0 * factor)
    assert value("wind_at_top", table, bound="at least") == pytest.approx(2.5 * factor)


@pytest.mark.parametrize(
    ("bound", "kind", "values", "margins"),
    [
        ("at least", "hard", [2.0, 4.0, 6.0, 8.0, 99.0], [-0.5, 0.0, 0.5, 1.0, 1.0]),
        ("at most", "hard", [6.0, 4.0, 2.0, 0.0, -99.0], [-0.5, 0.0, 0.5, 1.0, 1.0]),
        ("at least", "soft", [2.0, 4.0, 6.0, 8.0, 99.0], [0.0, 0.0, 0.5, 1.0, 1.0]),
        ("at most", "caution", [6.0, 4.0, 2.0, 0.0, -99.0], [-0.5, 0.0, 0.5, 1.0, 1.0]),
    ],
)
def test_margins(bound: str, kind: str, values: list[float], margins: list[float]) -> None:
    limit = replace(OIL.limit("cold"), value=4.0, width=4.0, bound=bound, kind=kind)  # type: ignore[arg-type]
    array = np.array(values)
    low, high = margin_of(limit, Interval(array, array))
    assert low is high
    assert list(low) == margins
    # a value that is itself outside
    strict = {"at least": "above", "at most": "below"}[bound]
    outside = margin_of(replace(limit, bound=strict), Interval(array, array)).low  # type: ignore[arg-type]
    np.testing.assert_allclose(outside, margins, atol=1e-8)
    assert (outside[1] < 0) == (kind != "soft")
    assert outside[3] == 1.0


def test_margins_of_an_interval_are_its_worse_and_better_end() -> None:
    limit = replace(OIL.limit("heat"), value=10.0, width=10.0)
    quantity = Interval(np.array([0.0, 5.0, -np.inf]), np.array([0.0, 15.0, np.inf]))
    low, high = margin_of(limit, quantity)
    assert list(low) == [1.0, -0.5, -np.inf]
    assert list(high) == [1.0, 0.5, 1.0]
    # converting units may leave a rounding error at the limit: it does not decide
    near = np.array([10.0 + 2e-15, 10.0 + 1e-11])
    assert list(margin_of(limit, Interval(near, near)).low >= 0.0) == [True, False]

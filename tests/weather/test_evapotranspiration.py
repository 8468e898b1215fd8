"""Reference evapotranspiration against the worked examples of FAO-56 (Allen et al. 1998)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraywindow.weather.air import pressure_at_kpa, saturation_vapour_pressure_kpa
from spraywindow.weather.evapotranspiration import (
    extraterrestrial_radiation_daily,
    extraterrestrial_radiation_hourly,
    hargreaves_daily,
    net_radiation_hourly,
    reference_evapotranspiration_hourly,
    relative_radiation,
)

# Example 19: 1 October, 16.22 N, 16.25 W, 8 m; the clock of the example is 15 degrees west.
LATITUDE, LONGITUDE, HEIGHT_M = 16.22, -16.25, 8.0


def test_example_19_afternoon() -> None:
    saturation = saturation_vapour_pressure_kpa(38.0)
    vapour = 0.52 * saturation
    above = extraterrestrial_radiation_hourly(274, 15.5, LATITUDE, LONGITUDE)
    ratio = relative_radiation([2.450], [above], elevation_m=HEIGHT_M)
    net = net_radiation_hourly([2.450], ratio, 38.0, vapour)
    pressure = pressure_at_kpa(HEIGHT_M)
    evaporation = reference_evapotranspiration_hourly(
        38.0, vapour, 3.3, net, daylight=True, pressure_kpa=pressure
    )
    assert saturation == pytest.approx(6.625, abs=5e-4)
    assert vapour == pytest.approx(3.445, abs=5e-4)
    assert above == pytest.approx(3.543, abs=1e-3)
    assert ratio == pytest.approx([0.922], abs=1e-3)
    assert net == pytest.approx([1.749], abs=1e-3)
    assert evaporation == pytest.approx([0.63], abs=5e-3)


def test_example_19_night() -> None:
    assert extraterrestrial_radiation_hourly(274, 3.5, LATITUDE, LONGITUDE) == 0
    vapour = 0.90 * saturation_vapour_pressure_kpa(28.0)
    net = net_radiation_hourly(0.0, 0.8, 28.0, vapour)  # the example takes 0.8 for the night
    assert net == pytest.approx(-0.100, abs=1e-3)
    evaporation = reference_evapotranspiration_hourly(
        28.0, vapour, 1.9, net, daylight=False, pressure_kpa=pressure_at_kpa(HEIGHT_M)
    )
    assert evaporation == pytest.approx(0.00, abs=5e-3)


def test_daily_radiation_and_hargreaves() -> None:
    # From memory: example 8 (3 September, 20 S: 32.2 MJ) and example 20 (15 July, 45.72 N,
    # 14.8 to 26.6 degC: Ra 40.6 MJ, 5.0 mm/day).
    assert extraterrestrial_radiation_daily(246, -20.0) == pytest.approx(32.2, abs=0.05)
    above = extraterrestrial_radiation_daily(196, 45.72)
    assert above == pytest.approx(40.6, abs=0.1)
    assert hargreaves_daily(14.8, 26.6, above) == pytest.approx(5.0, abs=0.05)


@given(
    day=st.integers(1, 365),
    latitude=st.floats(-60, 60),
    longitude=st.floats(-180, 180),
)
def test_hours_add_up_to_the_day(day: int, latitude: float, longitude: float) -> None:
    hours = extraterrestrial_radiation_hourly(day, np.arange(24) + 0.5, latitude, longitude)
    daily = extraterrestrial_radiation_daily(day, latitude)
    assert hours.min() >= 0
    assert hours.sum() == pytest.approx(float(daily), rel=1e-6, abs=1e-6)


def test_the_cloud_ratio_is_carried_through_the_night() -> None:
    above = np.array([0.0, 2.0, 2.0, 0.1, 0.0])
    solar = np.array([0.0, 0.5, 0.75, 0.1, 0.0])
    ratio = relative_radiation(solar, above, elevation_m=0.0)
    assert ratio == pytest.approx([0.7, 1 / 3, 0.5, 0.5, 0.5])
    solar[2] = np.nan
    unknown = np.isnan(relative_radiation(solar, above, elevation_m=0.0))
    assert unknown.tolist() == [False, False, True, True, True]


def test_unknown_stays_unknown_and_extra_axes_pass() -> None:
    temp = np.array([[20.0, np.nan], [25.0, 30.0]])
    out = reference_evapotranspiration_hourly(
        temp, 1.5, 2.0, 1.0, daylight=True, pressure_kpa=101.3
    )
    assert np.isnan(out).tolist() == [[False, True], [False, False]]
    assert relative_radiation(np.ones((3, 2)), np.full((3, 2), 2.0), elevation_m=0.0).shape == (
        3,
        2,
    )

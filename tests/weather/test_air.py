"""Moisture and wind against FAO-56, Stull (2011) and psychrolib."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraywindow.weather import air

psychrolib.SetUnitSystem(psychrolib.SI)
TEMP, HUMIDITY = np.meshgrid(np.arange(-5.0, 41.0), np.arange(5.0, 101.0, 5.0), indexing="ij")


def test_saturation_against_fao56_example_3() -> None:
    assert air.saturation_vapour_pressure_kpa(15.0) == pytest.approx(1.705, abs=5e-4)
    assert air.saturation_vapour_pressure_kpa(24.5) == pytest.approx(3.075, abs=5e-4)


def test_saturation_against_fao56_example_19() -> None:
    saturation = air.saturation_vapour_pressure_kpa(38.0)
    dew_point = air.dew_point_from_humidity(38.0, 52.0)
    assert saturation == pytest.approx(6.625, abs=5e-4)
    assert air.saturation_vapour_pressure_kpa(dew_point) == pytest.approx(3.445, abs=5e-4)


def test_slope_is_the_derivative() -> None:
    step = 1e-4
    rise = np.diff([air.saturation_vapour_pressure_kpa(20.0 + x) for x in (-step, step)])
    slope = air.vapour_pressure_slope_kpa(20.0)
    # FAO-56 eq. 13 rounds the constant 17.27 * 237.3 = 4098.17 to 4098
    assert slope == pytest.approx(rise[0] / (2 * step), rel=1e-4)
    assert air.vapour_pressure_slope_kpa(20.0, 2 * 2.338) == pytest.approx(2 * slope, rel=1e-3)


def test_psychrometer_against_fao56_example() -> None:
    # dry 25.6, wet 19.5 at 87.9 kPa: vapour pressure 1.91 kPa
    dew_point = air.dew_point_from_humidity(
        25.6, 100 * 1.91 / air.saturation_vapour_pressure_kpa(25.6)
    )
    assert air.wet_bulb_c(25.6, dew_point, 87.9) == pytest.approx(19.5, abs=0.02)


def test_pressure_against_fao56_example_2() -> None:
    assert air.pressure_at_kpa(1800.0) == pytest.approx(81.8, abs=0.05)  # from memory
    assert air.pressure_at_kpa(0.0) == pytest.approx(101.3)


def test_wind_at_two_metres_against_fao56() -> None:
    assert 3.2 * air.wind_factor(2.0) == pytest.approx(2.4, abs=0.05)
    assert air.wind_factor(2.0) == pytest.approx(0.748, abs=5e-4)
    assert air.wind_factor(4.0) == pytest.approx(0.86, abs=5e-3)
    assert air.wind_factor(10.0) == 1.0
    assert air.wind_factor(10.0, measured_at_m=2.0) == pytest.approx(1 / air.wind_factor(2.0))
    with pytest.raises(ValueError, match=r"at least 0\.5 m"):
        air.wind_factor(0.05)


def test_wet_bulb_against_stulls_example() -> None:
    # Stull (2011), J. Appl. Meteor. Climatol. 50:2267: 20 degC and 50 % give 13.7
    assert air.wet_bulb_c(20.0, air.dew_point_from_humidity(20.0, 50.0)) == pytest.approx(
        13.7, abs=0.2
    )


@pytest.mark.parametrize("pressure_pa", [101325.0, 85000.0])
def test_wet_bulb_against_psychrolib(pressure_pa: float) -> None:
    # psychrolib gives the thermodynamic wet bulb (ASHRAE 2017), over ice below freezing: a
    # psychrometer reads up to 0.25 K higher in hot dry air; ours is of water below freezing too
    theirs = np.vectorize(psychrolib.GetTWetBulbFromRelHum)(TEMP, HUMIDITY / 100, pressure_pa)
    ours = air.wet_bulb_c(TEMP, air.dew_point_from_humidity(TEMP, HUMIDITY), pressure_pa / 1000)
    error = ours - theirs
    water = theirs > 0.0
    assert np.abs(error[water]).max() < 0.25
    assert np.abs(error[water & (HUMIDITY >= 50)]).max() < 0.15
    assert np.abs(error[~water]).max() < 1.0


def test_dew_point_against_psychrolib() -> None:
    # above freezing; below it psychrolib gives the frost point
    theirs = np.vectorize(psychrolib.GetTDewPointFromRelHum)(TEMP, HUMIDITY / 100)
    wet = theirs > 0.0
    assert air.dew_point_from_humidity(TEMP, HUMIDITY)[wet] == pytest.approx(theirs[wet], abs=0.02)


@given(st.floats(-20, 50), st.floats(1, 100), st.floats(60, 108))
def test_wet_bulb_solves_its_equation(temp: float, humidity: float, pressure: float) -> None:
    dew_point = air.dew_point_from_humidity(temp, humidity)
    wet = air.wet_bulb_c(temp, dew_point, pressure)
    assert dew_point - 1e-9 <= wet <= temp + 1e-9
    saturation = air.saturation_vapour_pressure_kpa(wet)
    balance = saturation - air.PSYCHROMETER * pressure * (temp - wet)  # FAO-56 eq. 15
    assert balance == pytest.approx(air.saturation_vapour_pressure_kpa(dew_point), abs=1e-6)


@given(st.floats(-30, 50), st.floats(1, 100))
def test_humidity_and_dew_point_are_inverse(temp: float, humidity: float) -> None:
    dew_point = air.dew_point_from_humidity(temp, humidity)
    assert air.relative_humidity(temp, dew_point) == pytest.approx(humidity, rel=1e-9)


def test_unknown_stays_unknown() -> None:
    for pair in ((np.nan, 5.0), (5.0, np.nan)):
        assert np.isnan(air.wet_bulb_c(*pair))
        assert np.isnan(air.relative_humidity(*pair))
        assert np.isnan(air.dew_point_from_humidity(*pair))
    assert np.isnan(air.dew_point_from_humidity(5.0, [0.0, -1.0])).all()


def test_a_dew_point_above_the_air_is_saturated() -> None:
    assert air.wet_bulb_c(5.0, 5.5) == 5.0

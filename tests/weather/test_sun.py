"""The sun against the NREL example, pvlib and FAO-56."""

from __future__ import annotations

import os
import sys
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pvlib
import pytest

from spraywindow.place import Place
from spraywindow.weather import sun


def hours(start: str, days: int, minutes: int = 30) -> pd.DatetimeIndex:
    return pd.date_range(start, periods=24 * days, freq="h", tz="UTC") + pd.Timedelta(
        minutes=minutes
    )


def test_nrel_example() -> None:
    # NREL/TP-560-34302 appendix A.5: 2003-10-17 12:30:30, UTC-7; 820 hPa, 11 degC.
    # Zenith 50.111622 holds refraction (eq. 42 at 820 hPa and 11 degC).
    place = Place(39.742476, -105.1786, 1830.14, "America/Denver")
    time = pd.DatetimeIndex(["2003-10-17 12:30:30"]).tz_localize("Etc/GMT+7")
    elevation = sun.sun_at(time, place).elevation_deg
    bend = 1.02 / (60 * np.tan(np.radians(elevation + 10.3 / (elevation + 5.11))))
    refraction = 820 / 1010 * 283 / (273 + 11) * bend
    assert 90.0 - elevation - refraction == pytest.approx([50.111622], abs=0.003)


@pytest.mark.parametrize("latitude", [-60.0, -34.0, 0.0, 16.2, 38.0, 51.0, 65.0])
@pytest.mark.parametrize("year", [1950, 2003, 2050])
def test_position_against_pvlib(latitude: float, year: int) -> None:
    times = hours(f"{year}-01-01", 366, minutes=37)
    place = Place(latitude, 22.5, 0.0, "UTC")
    theirs = pvlib.solarposition.get_solarposition(times, latitude, 22.5, method="nrel_numpy")
    error = np.abs(sun.sun_at(times, place).elevation_deg - theirs["elevation"].to_numpy())
    away = np.abs(theirs["elevation"].to_numpy()) < 85.0
    assert error[away].max() < 0.004
    assert error.max() < 0.15  # the arcsine is steep at the zenith and the nadir


def test_the_algorithm_by_itself_is_that_of_the_package(monkeypatch: pytest.MonkeyPatch) -> None:
    alone = sun.solar_position_algorithm()
    assert alone is not pvlib.spa
    asked = np.array([1.0e9]), 38.0, 22.5, 60.0, 1013.25, 12.0, 67.0, 0.5667
    ours, theirs = (each.solar_position_numpy(*asked, None) for each in (alone, pvlib.spa))
    np.testing.assert_array_equal(np.asarray(ours), np.asarray(theirs))
    # a release without that file, or whose file needs its package, is imported whole
    sun.solar_position_algorithm.cache_clear()
    monkeypatch.setattr(sun, "find_spec", lambda name: None)
    assert sun.solar_position_algorithm() is pvlib.spa
    sun.solar_position_algorithm.cache_clear()


def test_an_instant_has_one_answer_in_every_table() -> None:
    place = Place(38.0, 22.5, 0.0, "UTC")
    long, short = hours("2003-01-01", 90), hours("2003-02-11", 3)
    whole = sun.sun_at(long, place).elevation_deg[long.isin(short)]
    # the same but for delta T, which pvlib takes by the month
    assert sun.sun_at(short, place).elevation_deg == pytest.approx(whole, abs=1e-7)


@pytest.mark.parametrize("latitude", [-45.0, 0.0, 38.0, 60.0])
def test_rise_and_set_against_pvlib(latitude: float) -> None:
    noon = pd.date_range("2021-01-01 12:00", periods=365, freq="D", tz="UTC")
    theirs = pvlib.solarposition.sun_rise_set_transit_spa(noon, latitude, 0.0)
    place = Place(latitude, 0.0, 0.0, "UTC")
    for event in ("sunrise", "sunset"):
        at = pd.DatetimeIndex(theirs[event])
        # within two minutes (FAO's and the almanac's horizon differ by 0.04 degrees)
        assert np.abs(sun.sun_at(at, place).hours_from_rise_or_set).max() < 2 / 60
        inward = pd.Timedelta(hours=1 if event == "sunrise" else -1)
        assert sun.sun_at(at + inward, place).hours_from_rise_or_set == pytest.approx(1, abs=0.04)
        assert sun.sun_at(at - inward, place).hours_from_rise_or_set == pytest.approx(-1, abs=0.04)


def test_day_length_against_fao56_example_9() -> None:
    # day 246 at 20 degrees south: 11.7 h, of the sun's centre on a flat horizon; the paper's
    # declination (eq. 24) is half a degree off there
    times = pd.date_range("2021-09-03", periods=1440, freq="min", tz="UTC")
    elevation = sun.sun_at(times, Place(-20.0, 0.0, 0.0, "UTC")).elevation_deg
    assert (elevation > 0).sum() / 60 == pytest.approx(11.7, abs=0.07)


def test_clear_sky_against_fao56_example_19() -> None:
    # 1 October, 16.22 N, 16.25 W, 8 m, 14:00-15:00 of the clock 15 degrees west: Ra 3.543 MJ
    time = pd.DatetimeIndex(["2021-10-01 15:30"], tz="UTC")
    # the middle of the hour stands for the hour, and the paper's declination is a formula
    clear = sun.sun_at(time, Place(16.22, -16.25, 8.0, "UTC")).clear_wm2
    assert clear == pytest.approx([(0.75 + 2e-5 * 8) * 3.543e6 / 3600], rel=0.02)


def test_polar_day_and_night() -> None:
    place = Place(78.0, 15.0, 0.0, "Arctic/Longyearbyen")
    assert (sun.sun_at(hours("2021-06-10", 10), place).hours_from_rise_or_set == 12).all()
    night = sun.sun_at(hours("2021-12-10", 10), place)
    assert (night.hours_from_rise_or_set == -12).all()
    assert (night.clear_wm2 == 0).all()


def test_southern_summer_is_in_january() -> None:
    north, south = (
        sun.sun_at(hours("2021-01-05", 1), Place(lat, 0, 0, "UTC")) for lat in (38.0, -38.0)
    )
    assert north.elevation_deg.max() < 32 < 70 < south.elevation_deg.max()


def test_no_times_give_no_sun() -> None:
    none = pd.DatetimeIndex([], tz="UTC")
    assert sun.sun_at(none, Place(38, 0, 0, "UTC")).elevation_deg.shape == (0,)


def test_full_cloud_lets_a_quarter_through() -> None:
    # Kasten and Czeplak (1980), eq. 5
    assert sun.transmitted_share(np.array([0.0, 1.0])) == pytest.approx([1.0, 0.25])


def test_compiled_functions_of_pvlib_are_not_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    """Numba's functions take numbers by their signature only, arrays raise its `TypeError`."""

    def jit(*_: object, **__: object) -> object:
        def refuse(*_: object) -> None:
            raise TypeError("No matching definition for argument type(s) array(float64, 1d, C)")

        return lambda function: refuse

    monkeypatch.setitem(sys.modules, "numba", SimpleNamespace(jit=jit))
    monkeypatch.setenv("PVLIB_USE_NUMBA", "1")
    place, times = Place(38.0, 22.5, 0.0, "UTC"), hours("2026-01-01", 2)
    wanted = sun.sun_at(times, place).elevation_deg
    sun.solar_position_algorithm.cache_clear()
    assert (sun.sun_at(times, place).elevation_deg == wanted).all()
    assert os.environ["PVLIB_USE_NUMBA"] == "1"

"""Water on the bark: the dew arithmetic, the walk against a loop, and what is not known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from spraywindow.weather import wetness
from spraywindow.weather.intervals import Array, Interval, interval
from spraywindow.weather.wetness import Radiation, net_radiation_wm2, radiation
from tests.weather.test_radiation import clear

ROWS = st.integers(1, 40)
FEW_ROWS = st.integers(1, 16)
SHAPES = st.one_of(st.tuples(ROWS), st.tuples(ROWS, st.integers(1, 3)))
STEPS = hnp.arrays(float, SHAPES, elements=st.integers(-9, 9).map(lambda x: x / 16))


def some(low: float, high: float, shape: tuple[int, ...]) -> st.SearchStrategy[Array]:
    values = st.one_of(st.floats(low, high).map(lambda x: round(x, 2)), st.just(np.nan))
    return hnp.arrays(float, shape, elements=values)


def assert_wider(wide: Interval, narrow: Interval) -> None:
    assert (wide.low <= narrow.low + 1e-9).all()
    assert (wide.high >= narrow.high - 1e-9).all()


def of_sky(solar_wm2: Array, cloud: Array) -> Radiation:
    return Radiation(interval(solar_wm2), interval(cloud), interval(solar_wm2))


def test_dew_arithmetic() -> None:
    # 100 W/m2 evaporates 0.147 mm/h, so 0.2 mm takes 1.4 h (2.45 MJ/kg, FAO-56)
    hourly_mm = 100 * wetness.MM_PER_WM2_HOUR
    assert hourly_mm == pytest.approx(0.147, abs=5e-4)
    assert 0.2 / hourly_mm == pytest.approx(1.4, abs=0.05)
    steady = interval(np.full(4, hourly_mm))
    assert wetness.drying_hours(steady, 0.2).low[0] == 2.0  # the whole hour that holds 1.4 h


def test_surface_balance_by_hand() -> None:
    # 10 degC, dew point 5, 2 m/s, Rn of 100 W/m2 of sun and full cloud, by a pocket calculator:
    # s 0.8228 hPa/K, es - ea 12.280 - 8.723 = 3.557 hPa, rb 307 sqrt(0.035) = 57.43 s/m
    sky = of_sky(np.array([100.0]), np.array([1.0]))
    ten, five, two = (np.array([x]) for x in (10.0, 5.0, 2.0))
    out = wetness.wet_surface_evaporation_mm(ten, five, two, sky)
    # a level round limb sees half sky, half ground; its upper half 1/2 + 1/pi sky
    for found, view in ((out.limb.low, 0.5), (out.dew.high, 0.5), (out.dew.low, 0.5 + 1 / np.pi)):
        net = net_radiation_wm2(ten, np.array([0.8723]), np.array([100.0]), np.array([1.0]), view)
        expected = (0.8228 * net + 1200 * 3.557 / 57.43) / (0.8228 + 0.64) * 3600 / 2.45e6
        assert found == pytest.approx(expected, rel=1e-3)
    assert out.limb.known


def test_a_clear_calm_night_brings_dew_and_the_morning_takes_it() -> None:
    hours = 24
    night = np.arange(hours) < 12
    sky = of_sky(np.where(night, 0.0, 300.0), np.zeros(hours))
    temp = np.where(night, 6.0, 12.0)
    evaporation = wetness.wet_surface_evaporation_mm(temp, np.full(hours, 5.5), np.ones(hours), sky)
    assert (evaporation.dew.high[night] < 0).all()
    water = wetness.surface_water_mm(evaporation.dew, interval(np.zeros(hours)), 0.3)
    # Ritter et al. (2019), HESS 23:1179: 0.14 +/- 0.12 mm a night, here a strong one
    assert 0.1 < water.low[12] < 0.14 + 0.12
    assert water.low[12] < water.high[12] <= 0.3
    assert water.high[16] < wetness.DRY_MM


def test_more_cloud_more_wind_drier_air() -> None:
    shape = (3,)
    sky = of_sky(np.zeros(shape), np.array([0.0, 0.5, 1.0]))
    out = wetness.wet_surface_evaporation_mm(np.full(shape, 8.0), np.full(shape, 7.9),
                                             np.ones(shape), sky).limb.low  # fmt: skip
    assert out[0] < out[1] < out[2]
    calm = of_sky(np.zeros(shape), np.ones(shape))
    wind = wetness.wet_surface_evaporation_mm(np.full(shape, 8.0), np.full(shape, 2.0),
                                              np.array([0.0, 0.5, 4.0]), calm).limb.low  # fmt: skip
    assert wind[0] == wind[1] < wind[2]


def loop_walk(steps: Array, top: float, start: float) -> Array:
    out = [np.full(steps.shape[1:], start)]
    for step in steps:
        out.append(np.clip(out[-1] + step, 0.0, top))
    return np.stack(out)


@given(STEPS, st.sampled_from([0.0, 0.25, 0.75]))
def test_the_store_against_a_loop(steps: Array, top: float) -> None:
    dry = interval(np.zeros(steps.shape))
    water = wetness.surface_water_mm(interval(-steps), dry, top)
    np.testing.assert_allclose(water.low, loop_walk(steps, top, 0.0), atol=1e-12)
    np.testing.assert_allclose(water.high, loop_walk(steps, top, top), atol=1e-12)
    soaked = wetness.surface_water_mm(interval(-steps), Interval(dry.low, dry.low + np.inf), top)
    assert (soaked.high == top).all()


def test_empty_and_full_meet() -> None:
    wave = interval(np.tile([-0.1, -0.1, -0.1, 0.2, 0.2, 0.2], 4))
    water = wetness.surface_water_mm(wave, interval(np.zeros(24)), 0.3)
    assert water.low[0] != water.high[0]
    assert (water.low[6:] == water.high[6:]).all()


@given(hnp.arrays(float, SHAPES, elements=st.integers(-3, 9).map(lambda x: x / 50)))
def test_drying_against_a_loop(evaporation: Array) -> None:
    ours = wetness.drying_hours(interval(evaporation), 0.2)
    for end, beyond in ((ours.low, wetness.DRYING_MOST_MM_H), (ours.high, 0.0)):
        for at in np.ndindex(evaporation.shape):
            left, hours = 0.2, 0
            while left > 1e-9 and hours <= wetness.SLOWEST_DRYING_H:
                row = at[0] + hours
                known = row < len(evaporation)
                left -= max(evaporation[(row, *at[1:])], 0.0) if known else beyond
                hours += 1
            assert end[at] == hours


@given(st.data(), st.one_of(st.tuples(FEW_ROWS), st.tuples(FEW_ROWS, st.integers(1, 3))))
def test_taking_data_away_only_widens(data: st.DataObject, shape: tuple[int, ...]) -> None:
    temp = data.draw(some(-5, 30, shape))
    dew = np.minimum(data.draw(some(-10, 25, shape)), temp)
    wind, rain = data.draw(some(0, 9, shape)), data.draw(some(0, 2, shape))
    solar, cloud = data.draw(some(0, 700, shape)), data.draw(some(0, 1, shape))
    gone = [data.draw(hnp.arrays(bool, shape)) for _ in range(6)]
    columns = st.sampled_from(["solar", "cloud", "both", "neither"])
    carried, fewer = data.draw(columns), data.draw(columns)
    up, clear_wm2 = clear(shape)
    cut = data.draw(st.integers(1, shape[0]))

    def answers(values: list[Array], *told: str) -> list[Interval]:
        temp, dew, wind, rain, solar, cloud = values
        count = len(temp)
        sky = radiation(up[:count], clear_wm2[:count],
                        solar if {*told} <= {"solar", "both"} else None,
                        cloud if {*told} <= {"cloud", "both"} else None)  # fmt: skip
        evaporation = wetness.wet_surface_evaporation_mm(temp, dew, wind, sky)
        fall = interval(rain, 0.0)
        return [
            sky.solar_wm2, sky.drying_wm2, sky.cloud, evaporation.limb, evaporation.dew,
            wetness.surface_water_mm(evaporation.dew, fall, 0.3),
            wetness.drying_hours(evaporation.limb),
            wetness.humid_surface_mm(interval(dew * 10, 0, 100), fall, interval(temp)),
        ]  # fmt: skip

    values = [temp, dew, wind, rain, solar, cloud]
    full = answers(values, carried)
    gaps = [np.where(g, np.nan, x) for g, x in zip(gone, values, strict=True)]
    less = answers(gaps, carried, fewer)  # and whole columns
    short = answers([x[:cut] for x in values], carried)
    for whole, wide, front in zip(full, less, short, strict=True):
        assert (whole.low <= whole.high + 1e-9).all()
        assert_wider(wide, whole)
        rows = max(map(len, front))
        assert_wider(front, Interval(whole.low[:rows], whole.high[:rows]))


@given(st.data(), st.tuples(FEW_ROWS, st.integers(2, 3)))
def test_columns_do_not_mix(data: st.DataObject, shape: tuple[int, int]) -> None:
    temp, solar = data.draw(some(-5, 30, shape)), data.draw(some(0, 700, shape))
    up, clear_wm2 = clear(shape)

    def answers(temp: Array, solar: Array, up: Array, clear_wm2: Array) -> list[Interval]:
        sky = radiation(up, clear_wm2, solar, None)
        wind = np.full(temp.shape, 2.0)
        evaporation = wetness.wet_surface_evaporation_mm(temp, temp - 1.0, wind, sky)
        rain = interval(np.zeros(temp.shape))
        return [
            sky.drying_wm2,
            wetness.surface_water_mm(evaporation.dew, rain, 0.3),
            wetness.drying_hours(evaporation.limb),
            wetness.humid_surface_mm(interval(temp * 5, 0, 100), rain, interval(temp)),
        ]

    together = answers(temp, solar, up, clear_wm2)
    beside = answers(temp, solar, up[:, :1], clear_wm2[:, :1])  # one sun for all columns
    for column in range(shape[1]):
        alone = answers(temp[:, column], solar[:, column], up[:, 0], clear_wm2[:, 0])
        for many, broad, one in zip(together, beside, alone, strict=True):
            for whole in (many, broad):
                np.testing.assert_allclose(whole.low[:, column], one.low, atol=1e-9)
                np.testing.assert_allclose(whole.high[:, column], one.high, atol=1e-9)


def humid(humidity: list[float], rain: list[float], temp: float) -> Interval:
    return wetness.humid_surface_mm(
        interval(np.array(humidity), 0.0, 100.0), interval(np.array(rain), 0.0),
        interval(np.full(len(rain), temp)),
    )  # fmt: skip


def wet_rows(values: Array) -> list[int]:
    return np.flatnonzero(values > wetness.DRY_MM).tolist()


def test_humidity_rule_at_its_edge() -> None:
    # wet at 90 % and above, perhaps from 87 % on: Sentelhas et al. (2008); dry air without rain
    # is known to be dry
    out = humid([60, 60, 60, 60, 86.9, 87.0, 90.0, 60], [0] * 8, 12.0)
    assert wet_rows(out.low) == [6]
    assert wet_rows(out.high) == [0, 1, 5, 6, 8]  # rain before, and humidity after, are not known


@pytest.mark.parametrize(("temp", "last"), [(10.0, 7), (9.9, 9)])
def test_humidity_rule_after_rain(temp: float, last: int) -> None:
    # rain in the hour 5: its stamp, and 2 h (4 h below 10 degC) after; common practice, no source
    out = humid([60] * 12, [0, 0, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0], temp)
    assert wet_rows(out.low) == list(range(5, last + 1))


def test_humidity_rule_with_unknown_air() -> None:
    out = humid([60, 60, 60, 60, 60, np.nan, 60, 60], [0] * 8, 12.0)
    assert 5 not in wet_rows(out.low)
    assert 5 in wet_rows(out.high)

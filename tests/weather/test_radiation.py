"""Radiation and cloud, each from the other, and net radiation, against the papers."""

from __future__ import annotations

import numpy as np
import pytest

from spraywindow.weather.intervals import Array, Interval
from spraywindow.weather.wetness import STEFAN_BOLTZMANN_WM2, net_radiation_wm2, radiation


def clear(shape: tuple[int, ...]) -> tuple[Array, Array]:
    """Six hours of sun, six of night, and so on."""
    up = (np.arange(shape[0]) // 6 % 2 == 0).reshape(-1, *[1] * (len(shape) - 1))
    return np.broadcast_to(np.where(up, 30.0, -20.0), shape), np.broadcast_to(up * 500.0, shape)


def test_net_radiation_against_fao56_example_19() -> None:
    # 38 degC, ea 3.445 kPa, 2.450 MJ of 2.658 under a clear sky: Rn 1.749 MJ/m2/h; at night
    # 28 degC, ea 3.402, relative radiation 0.8: Rn -0.100
    assert pytest.approx(2.043e-10 * 1e6 / 3600, rel=1e-3) == STEFAN_BOLTZMANN_WM2
    for temp, vapour, solar_mj, share, expected in (
        (38.0, 3.445, 2.450, 0.922, 1.749), (28.0, 3.402, 0.0, 0.8, -0.100),
    ):  # fmt: skip
        cloud = ((1 - share) / 0.75) ** (1 / 3.4)
        net = net_radiation_wm2(*(np.array([x]) for x in (temp, vapour, solar_mj / 0.0036, cloud)))
        assert net * 0.0036 == pytest.approx([expected], abs=2e-3)


def test_an_overcast_night_loses_a_little() -> None:
    # FAO-56 p. 43: relative radiation is about 0.33 under dense cloud, so some loss remains
    clear_sky, overcast = net_radiation_wm2(
        np.full(2, 10.0), np.full(2, 1.0), np.zeros(2), np.array([0.0, 1.0])
    )
    assert 0.04 < overcast / clear_sky < 0.12


def test_without_radiation_and_cloud_there_is_no_balance() -> None:
    assert radiation(*clear((6,)), None, None) is None


def test_the_night_keeps_the_afternoon() -> None:
    # FAO-56 p. 75: the relative radiation of the afternoon stands for the night after it
    up, clear_wm2 = clear((18,))
    reference = np.where(up > 0, 500.0 * np.exp(-0.059), 0.0)  # Haurwitz, the sun at 30 degrees
    half = (0.5 / 0.75) ** (1 / 3.4)  # Kasten and Czeplak (1980) for half the clear sky

    def cover(solar: Array) -> Interval:
        sky = radiation(up, clear_wm2, solar, None)
        assert sky is not None
        return sky.cloud

    assert cover(0.5 * reference).low == pytest.approx(np.full(18, half))
    assert cover(0.5 * reference).known
    solar = np.where(np.arange(18) < 5, reference, 0.25 * reference)
    falling = cover(solar).low
    assert falling[:5] == pytest.approx(np.zeros(5))
    assert falling[5] == pytest.approx(1.0)  # its own hour
    assert falling[6:12] == pytest.approx(np.full(6, (0.25 / 0.75) ** (1 / 3.4)))  # three hours'
    for gone in (3, 4, 5):
        solar = 0.5 * reference
        solar[gone] = np.nan
        part = cover(solar)
        assert (part.low[[gone, *range(6, 12)]] == 0).all()
        assert (part.high[[gone, *range(6, 12)]] == 1).all()
        assert part.low[12] == part.high[12] == pytest.approx(half)
    late = radiation(up[4:], clear_wm2[4:], 0.5 * reference[4:], None)  # begins with two hours
    assert late is not None
    assert (late.cloud.low[2:8] == 0).all()
    assert (late.cloud.high[2:8] == 1).all()


def test_unknown_radiation_is_anything_up_to_clear_sky() -> None:
    up, clear_wm2 = clear((6,))
    sky = radiation(up, clear_wm2, np.array([np.nan, 9999.0, -5.0, 20.0, 20.0, 20.0]), None)
    assert sky is not None
    assert sky.solar_wm2.low.tolist() == pytest.approx([0, 550, 0, 20, 20, 20])
    assert sky.solar_wm2.high.tolist() == pytest.approx([550, 550, 0, 20, 20, 20])


def test_cloud_gives_radiation_where_none_is_measured() -> None:
    up, clear_wm2 = clear((6,))
    sky = radiation(up, clear_wm2, None, np.array([0.0, 1.0, np.nan, 0.5, 0.5, 0.5]))
    assert sky is not None
    reference = 500.0 * np.exp(-0.059)
    assert sky.solar_wm2.low[:3] == pytest.approx([reference, 0.25 * reference, 0.25 * reference])
    assert sky.solar_wm2.high[:3] == pytest.approx([reference, 0.25 * reference, reference])

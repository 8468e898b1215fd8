"""Radiation and cloud as told, and net radiation, against the papers."""

from __future__ import annotations

import numpy as np
import pytest

from spraywindow.weather.intervals import Array
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


def test_the_sky_is_only_what_is_told() -> None:
    up, clear_wm2 = clear((12,))
    told = radiation(up, clear_wm2, np.full(12, 200.0), None)
    # thin cloud and broken cloud let the same through, and the night is not the afternoon's
    assert (told.cloud.low == 0).all()
    assert (told.cloud.high == 1).all()
    assert told.solar_wm2.known
    bare = radiation(up, clear_wm2, None, None)
    assert bare.solar_wm2.low.max() == 0
    assert bare.solar_wm2.high.tolist() == pytest.approx([550] * 6 + [0] * 6)


def test_unknown_radiation_is_anything_up_to_clear_sky() -> None:
    up, clear_wm2 = clear((6,))
    sky = radiation(up, clear_wm2, np.array([np.nan, 9999.0, -5.0, 20.0, 20.0, 20.0]), None)
    assert sky.solar_wm2.low.tolist() == pytest.approx([0, 550, 0, 20, 20, 20])
    assert sky.solar_wm2.high.tolist() == pytest.approx([550, 550, 0, 20, 20, 20])


def test_wood_counts_on_what_its_cloud_lets_through() -> None:
    up, clear_wm2 = clear((6,))
    reference = 500.0 * np.exp(-0.059)  # Haurwitz, the sun at 30 degrees
    half = reference * 0.75 * (1 - 0.75 * 0.5**3.4)  # Kasten and Czeplak (1980), less a quarter
    cloud = np.array([0.0, 1.0, np.nan, 0.5, 0.5, 0.5])
    sky = radiation(up, clear_wm2, None, cloud)
    low = [0.75 * reference, 0.25 * reference, 0.25 * reference, half, half, half]
    assert sky.drying_wm2.low.tolist() == pytest.approx(low)
    assert sky.drying_wm2.high.tolist() == pytest.approx([550.0] * 6)
    measured = radiation(up, clear_wm2, np.array([400.0, 40.0, 40.0, 350.0, 1.0, np.nan]), cloud)
    low = [400.0, 0.25 * reference, 0.25 * reference, 350.0, half, half]
    assert measured.drying_wm2.low.tolist() == pytest.approx(low)

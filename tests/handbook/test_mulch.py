"""Compost and mulch: geometry by closed form, the watering rule common practice (no source)."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import InputError
from spraywindow.handbook.ground_cover import Ring, compost, layer_need, mulch, water_in
from spraywindow.units import convert, quantity

NOW_ROW = 14 * 24
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


def test_ring_volume_closed_form() -> None:
    ring = Ring(10, drip_line_diameter_m=4.0, trunk_gap_m=0.2, trunk_diameter_m=0.1)
    need = layer_need([ring], mulch(0.075), bag_l=50.0)
    exact = math.pi * (2.0**2 - 0.25**2) * 0.075
    assert need.per_tree_m3 == (pytest.approx(exact),)
    assert need.site_m3 == pytest.approx(10 * exact)
    assert need.bags == math.ceil(10 * exact / 0.05)
    assert need.warnings == ()


def test_a_cubic_yard_covers_324_square_feet_an_inch_deep() -> None:
    across = math.sqrt(4 / math.pi * convert(324.0, "ft2", "m2"))
    need = layer_need([Ring(1, across, 0.0)], compost(quantity("1 in", "m")))
    assert convert(need.site_m3, "m3", "yd3") == pytest.approx(1.0)
    assert "trunk gap of 0 mm" in str(need.warnings[0])


def test_odd_layers_and_bad_rings() -> None:
    ring = Ring(1, 4.0, 0.2)
    assert "usual are 25-51 mm" in str(layer_need([ring], compost(0.2)).warnings[0])
    with pytest.raises(InputError, match="beyond the drip line"):
        Ring(1, 0.5, 0.3)
    with pytest.raises(InputError, match=r"trees.*drip line.*trunk gap"):
        Ring(0, 0.0, -0.1)
    with pytest.raises(InputError, match="depth"):
        compost(0.0)
    with pytest.raises(InputError, match=r"no trees.*bag"):
        layer_need([], mulch(0.07), bag_l=0.0)


@pytest.mark.parametrize(
    ("mm", "first", "needed"),
    [(0.0, 0, True), (5.0, NOW_ROW - 20, False), (5.0, NOW_ROW + 20, False),
     (4.9, NOW_ROW + 20, True), (math.nan, NOW_ROW + 20, None), (math.nan, NOW_ROW + 60, True)],
)  # fmt: skip
def test_watering_in(mm: float, first: int, needed: bool | None) -> None:
    assert water_in(rained(mm, first), START + pd.Timedelta(hours=NOW_ROW)).needed is needed

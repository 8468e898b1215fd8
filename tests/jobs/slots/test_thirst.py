"""Thirsty trees by the water in the soil: FAO-56 eq. 84, water stress below p = 0.5 (table 22)."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from spraywindow.jobs.slots.answer import Evening
from spraywindow.jobs.slots.words import cautions
from tests.jobs.slots.test_evening import answer, site
from tests.site_files import NOW, steady

START = "2025-10-24 00:00"
DAYS = 92
EVENING = (pd.Timestamp(NOW) - pd.Timestamp(START)) // pd.Timedelta(hours=1)


def dry_spell() -> pd.DataFrame:
    """Mild days with a swing of 10 K, which take 1 to 2 mm each: FAO-56 eq. 52."""
    table = steady(24 * DAYS, START)
    hour = np.arange(len(table)) % 24
    return table.assign(temp_c=12.0 + 5.0 * np.sin(2 * np.pi * (hour - 9) / 24))


def evening_after(rain: dict[int, float], days: int = 80, material: str = "oil") -> Evening:
    """An evening after so many days of weather, with rain so many days before it [mm]."""
    table = dry_spell()
    for days_ago, amount_mm in rain.items():
        row = EVENING - 24 * days_ago
        table.iloc[row : row + 5, table.columns.get_loc("rain_mm")] = amount_mm / 5
    return answer(site(), table.iloc[EVENING - 24 * days :], material=material)


def warned(evening: Evening) -> bool:
    assert evening.slots
    return any("may be thirsty" in line for line in cautions(evening))


def test_months_without_rain_make_thirsty_and_rain_of_the_month_does_not() -> None:
    dry = evening_after({})
    assert dry.thirsty is True
    assert warned(dry)
    # no drop in the last ten days, but 40 mm in the weeks before
    watered = evening_after({12: 20.0, 11: 20.0})
    assert watered.thirsty is False
    assert not warned(watered)


@pytest.mark.parametrize("days", [0, 3, 12])
def test_weather_too_short_to_tell_is_neither_thirsty_nor_watered(days: int) -> None:
    short = evening_after({}, days)
    assert short.thirsty is None
    assert not warned(short)


def test_unknown_rain_is_not_drought() -> None:
    table = dry_spell()
    table.iloc[EVENING - 24 * 20 : EVENING - 24 * 10, table.columns.get_loc("rain_mm")] = np.nan
    assert answer(site(), table).thirsty is None


def test_only_a_material_that_burns_thirsty_trees_asks() -> None:
    assert evening_after({}, material="copper").thirsty is None

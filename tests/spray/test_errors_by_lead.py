"""Chance of a frost-free night against 74 US cities: forecasts of 2014 to 2017, minima observed.

How the archive's nights are paired with mornings stands in notebooks/frost_errors.py.
"""

from __future__ import annotations

import runpy
from collections.abc import Callable
from statistics import NormalDist
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.spray.errors_by_lead import NIGHT_MINIMUM, frost_chance
from tests.conftest import ROOT, SHARED, needs_records

SCRIPT = runpy.run_path(str(ROOT / "notebooks" / "frost_errors.py"))
tenths: Callable[..., pd.DataFrame] = SCRIPT["tenths"]


@pytest.fixture(scope="module")
def nights() -> Any:
    return SCRIPT["nights"](SHARED / "data" / "us-forecasts-2014-2017")


def furthest_apart(nights: pd.DataFrame, said: Any) -> float:
    """Most by which said and came differ at a tenth with 100 cases."""
    came = (nights.forecast_c + nights.error_k > SCRIPT["LIMIT_C"]).to_numpy(dtype=float)
    table = tenths(np.asarray(said), came)
    table = table[table.n >= 100]
    assert len(table) == 10
    return float((table.said - table.came).abs().max())


@needs_records
def test_the_script_gives_the_coefficients_that_stand_in_the_package(nights: pd.DataFrame) -> None:
    bias, first, growth = SCRIPT["fit"](SCRIPT["near_frost"](nights))
    assert bias == pytest.approx(NIGHT_MINIMUM.bias_k, abs=0.05)
    assert first == pytest.approx(NIGHT_MINIMUM.first_day_k, abs=0.05)
    assert growth == pytest.approx(NIGHT_MINIMUM.each_day_k, abs=0.02)


@needs_records
def test_said_and_came_agree_in_cities_left_out(nights: pd.DataFrame) -> None:
    said = SCRIPT["crossed"](nights)
    assert furthest_apart(nights, said) <= 0.05
    mild = nights[nights.mild]
    assert mild.city.nunique() > 20
    assert furthest_apart(mild, said[mild.index]) <= 0.05


@needs_records
@pytest.mark.parametrize("winter", [2015, 2016, 2017])
def test_said_and_came_agree_in_each_winter(nights: pd.DataFrame, winter: int) -> None:
    one = nights[nights.winter == winter]
    lead_h = 24.0 * one.night - 12.0
    # the calmest of the three, 2016, came up to 0.053 better than said
    assert furthest_apart(one, frost_chance(one.forecast_c, lead_h, SCRIPT["LIMIT_C"])) <= 0.06


@needs_records
def test_rows_as_they_stand_pair_nights_with_the_wrong_morning(nights: pd.DataFrame) -> None:
    # a night's error must grow with the lead: it does only where the morning is the right one
    first, last = (nights[nights.night == night] for night in (2, 6))
    assert last.error_k.std() > 1.25 * first.error_k.std()
    assert last.as_stand_k.std() < 1.1 * first.as_stand_k.std()
    assert first.as_stand_k.std() > 1.3 * first.error_k.std()


def test_a_chance_is_the_normal_distribution_of_the_measured_error() -> None:
    said = frost_chance(4.0, 12.0, 1.0)
    assert float(said) == pytest.approx(1.0 - NormalDist(-1.0, 2.6).cdf(-3.0))
    assert float(frost_chance(1.0, 12.0)) == pytest.approx(0.5)  # the bias lies on the limit


def test_a_longer_lead_or_a_tighter_limit_never_raises_the_chance_of_a_mild_night() -> None:
    lead_h = np.arange(0.0, 145.0, 6.0)
    chances = frost_chance(5.0, lead_h)
    assert (np.diff(chances) <= 0.0).all()
    assert chances[0] > chances[-1]
    by_limit = frost_chance(np.full(5, 5.0), 60.0, np.array([-2.0, 0.0, 1.0, 2.0, 4.4]))
    assert (np.diff(by_limit) < 0.0).all()


def test_nothing_is_said_beyond_the_leads_measured_of_a_record_or_of_an_unknown_night() -> None:
    lead_h = np.array([-1.0, 144.0, 145.0, 12.0])
    lowest_c = np.array([5.0, 5.0, 5.0, np.nan])
    assert np.isnan(frost_chance(lowest_c, lead_h)).tolist() == [True, False, True, True]

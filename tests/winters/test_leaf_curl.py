"""What copper covers: on weather made so that the answer is known."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from spraywindow.program.program import Program
from spraywindow.sources.demo.samples import DEMO_PLACE
from spraywindow.spray.catalogue import COPPER
from spraywindow.trees.flowering import Need
from spraywindow.winters.copper import CopperLeft
from spraywindow.winters.leaf_curl import CurlCover, curl_cover
from spraywindow.winters.past import PastWinters, past_season
from tests.season_values import ACCESS, season

FIRST = dt.date(2025, 12, 2)


def one_winter(*wet_from: str) -> PastWinters:
    """Mild and dry but for spells of 56 h at 8 degC in steady rain of 0.2 mm an hour."""
    hours = pd.date_range("2014-07-01", "2016-06-30 23:00", freq="h", tz="UTC")
    table = pd.DataFrame(
        {"temp_c": 12.0, "dew_point_c": 4.0, "wind_ms": 1.5, "rain_mm": 0.0, "cloud": 0.6}, hours
    )
    for start in wet_from:
        spell = pd.date_range(start, periods=56, freq="h", tz="UTC")
        table.loc[spell, ["temp_c", "dew_point_c", "cloud"]] = [8.0, 8.0, 1.0]
        table.loc[spell, "rain_mm"] = 0.2
    built = past_season(
        table, DEMO_PLACE, Program.of(copper=(5, 5)), {"copper": COPPER}, first=FIRST,
        need=Need(None, (2, 20)), access=ACCESS,
    )  # fmt: skip
    return replace(built, bud_swell=np.zeros(2))  # swollen from day 0 on


def cover_of(season_: PastWinters, which: int, rounds: np.ndarray, **more) -> CurlCover:
    start = season_.starts[:, which]
    return curl_cover(season_, which, rounds & (start >= 0), [rounds & (start >= 0)], start, **more)


def made(season_: PastWinters, *days: int) -> np.ndarray:
    out = np.zeros((len(season_.chances), len(season_.labels)), dtype=bool)
    out[list(days), -1] = True
    return out


def test_a_round_before_a_spell_covers_it_less_what_the_rain_took() -> None:
    one = one_winter("2015-12-20")
    assert one.labels == ("2014/15", "2015/16")
    cover = cover_of(one, 0, made(one, 10))
    # 0.5 ** (11.2 mm / 25 mm) is left after the rain of the spell (Ontario 2020), all before it;
    # the whole severity, from 48 h at 8 degC on, is 1 (end points of Rossi et al. 2006)
    assert cover.risk[-1] == pytest.approx(1.0, abs=0.05)
    assert 0.5 ** (11.2 / 25) <= cover.coming[-1] < 1.0
    assert cover.worth[0, -1] == pytest.approx(cover.coming[-1])
    # a winter without infection weather has nothing to cover
    assert cover.risk[0] == 0
    assert np.isnan(cover.coming[0])


def test_a_round_after_the_spell_covers_nothing() -> None:
    one = one_winter("2015-12-20")
    assert cover_of(one, 0, made(one, 30)).coming[-1] == 0


def test_a_spell_after_the_last_copper_day_is_no_risk_of_the_season() -> None:
    one = one_winter("2015-12-20", "2016-01-20")
    assert cover_of(one, 0, made(one, 10)).risk[-1] == pytest.approx(2.0, abs=0.1)
    ending = replace(one.ending, actual=np.full((1, 2), 30.0))
    early = replace(one, ending=ending)
    assert cover_of(early, 0, made(one, 10)).risk[-1] == pytest.approx(1.0, abs=0.05)


def test_copper_on_the_wood_counts_from_day_0_on() -> None:
    one, none = one_winter("2015-12-20"), np.zeros((81, 2), dtype=bool)
    assert cover_of(one, 0, none[: len(one.chances)]).coming[-1] == 0
    found = cover_of(one, 0, none[: len(one.chances)], left=CopperLeft(0.5))
    # half of a deposit, less what the 11.2 mm of the spell take (Ontario 2020)
    assert 0.5 * 0.5 ** (11.2 / 25) <= found.coming[-1] < 0.5
    assert found.bare[-1] == found.coming[-1]


def test_dormant_wood_is_no_risk() -> None:
    one = one_winter("2015-12-20", "2016-01-20")
    rounds = made(one, 10)
    swell = replace(one, bud_swell=np.array([np.nan, 35.0]))  # 6 January: after the first spell
    assert cover_of(replace(one, bud_swell=np.full(2, np.nan)), 0, rounds).risk[-1] == (
        pytest.approx(2.0, abs=0.1)
    )
    late = cover_of(swell, 0, rounds)
    assert late.risk[-1] == pytest.approx(1.0, abs=0.05)
    # 0.5 ** (mm / 25) of the first spell's 11.2 mm and the second's (Ontario 2020)
    assert 0.5 ** (22.4 / 25) <= late.coming[-1] < 0.5 ** (11.2 / 25)


def test_who_is_served_better_by_fewer_rounds_makes_fewer() -> None:
    one = one_winter("2015-12-20")
    start = one.starts[:, 0]
    good, late = made(one, 10), made(one, 30)
    found = curl_cover(one, 0, late, [good, late, good | late], start)
    assert found.coming[-1] == 0
    np.testing.assert_array_equal(found.by_rounds[:, -1], [found.by_rounds[0, -1]] * 3)


def test_an_hour_of_unknown_rain_does_not_wash_the_copper_off() -> None:
    whole = season()
    rain = whole.block.conditions.columns["rain_mm"].copy()
    day = whole.block.day
    unknown = (day >= 0) & (day % 9 == 4) & (rain == 0.0)
    unknown &= np.cumsum(unknown, axis=0) % 24 == 0
    old = whole.block.conditions
    holes = type(old)(
        {**old.columns, "rain_mm": np.where(unknown, np.nan, rain)}, old.sun, old.setting,
        pressure_kpa=old.pressure_kpa,
    )  # fmt: skip
    gappy = replace(whole, block=replace(whole.block, conditions=holes))
    rounds = np.isfinite(whole.chances[:, 1]) & (np.arange(len(whole.chances)) % 20 == 3)[:, None]
    kept, lost = (cover_of(each, 1, rounds).coming for each in (whole, gappy))
    np.testing.assert_allclose(kept, lost, atol=0.25)
    assert lost.mean() == pytest.approx(kept.mean(), abs=0.05)

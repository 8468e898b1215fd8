"""After the round: rain and advice, the weather at the time."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraywindow.jobs.log.advice import copper_share_words
from spraywindow.record.after_rain import after_rain
from spraywindow.record.entry import Application
from spraywindow.record.weather_then import came, extremes_between, rain_between, with_weather
from spraywindow.spray.catalogue import CATALOGUE, COPPER, OIL
from spraywindow.spray.material import Rainfast

START = datetime(2031, 1, 11, 18, tzinfo=UTC)
DONE = START + timedelta(hours=2)
LATER = DONE + timedelta(days=5)


def weather(hours: int = 200, **columns: Any) -> pd.DataFrame:
    """Dry, calm hours from START on; `rain` sets hours after the round by number."""
    rain = columns.pop("rain", {})
    table = pd.DataFrame(
        {"temp_c": 10.0, "dew_point_c": 5.0, "wind_ms": 2.0, "rain_mm": 0.0} | columns,
        index=pd.date_range(START, periods=hours, freq="h"),
    )
    for hour, amount in rain.items():
        table.loc[pd.Timestamp(DONE) + pd.Timedelta(hours=hour), "rain_mm"] = amount
    return table


def entry(**changes: Any) -> Application:
    plain: dict[str, Any] = {
        "site": "Hill garden",
        "timezone": "America/Los_Angeles",
        "start": START,
        "end": DONE,
        "material": "oil",
        "product": "Orchard oil A",
    }
    return Application.read(plain | changes)


# rain as an interval


def test_an_hour_partly_inside_counts_towards_the_most_only() -> None:
    half = DONE + timedelta(minutes=30)
    assert rain_between(weather(rain={0: 3.0, 1: 1.0}), half, half + timedelta(hours=1)) == (0, 4)


def test_a_total_counts_whole_where_it_overlaps() -> None:
    table = weather()
    six = pd.date_range(pd.Timestamp(DONE) + pd.Timedelta(hours=6), periods=6, freq="h")
    table.loc[six, "rain_mm"] = np.nan
    table["rain_total_mm"] = pd.Series(5.0, six)
    table["rain_total_h"] = pd.Series(6.0, six)
    table["rain_total_hour"] = pd.Series(range(6), six, dtype=float)
    for hours, expected in ((6, (0, 0)), (7, (0, 5)), (12, (5, 5)), (24, (5, 5))):
        assert rain_between(table, DONE, DONE + timedelta(hours=hours)) == expected
    # while the period runs its total is a forecast
    running = came(table, DONE + timedelta(hours=10))
    assert rain_between(running, DONE, DONE + timedelta(hours=10)) == (0, np.inf)


def test_hours_unknown_or_outside_leave_the_most_open() -> None:
    day = timedelta(days=1)
    assert rain_between(weather(rain={5: np.nan, 6: 2.0}), DONE, DONE + day) == (2, np.inf)
    assert rain_between(weather(10), DONE, DONE + day) == (0, np.inf)
    assert np.isnan(extremes_between(weather(10), DONE, DONE + day)).all()


def test_the_extremes_of_a_longer_step_are_used() -> None:
    table = weather(temp_min_c=np.nan, temp_max_c=np.nan)
    table.iloc[5, -2:] = [-1.5, 13.0]
    assert extremes_between(table, DONE, DONE + timedelta(hours=24)) == (-1.5, 13.0)


def test_forecast_hours_have_not_come() -> None:
    table = weather()
    table.attrs["forecast_from"] = pd.Timestamp(DONE) + pd.Timedelta(hours=3)
    assert came(table, LATER).index[-1] == pd.Timestamp(DONE) + pd.Timedelta(hours=2)
    assert came(weather(), DONE + timedelta(minutes=59)).index[-1] < pd.Timestamp(DONE)


# keep, inspect, redo


@pytest.mark.parametrize(
    ("rain", "verdict"),
    [
        ({}, "keep"),
        ({23: 0.3}, "redo"),  # within the 24 h commonly printed (practice, no source)
        ({23: 0.2}, "keep"),  # a trace: below 0.01 in, the least that a gauge reports
        ({24: 3.0}, "inspect"),  # after the minimum, within the 72 h wanted
        ({24: 1.5}, "keep"),  # drizzle within the wanted hours
        ({72: 30.0}, "keep"),  # later
        ({23: np.nan}, "unknown"),
        ({50: np.nan}, "unknown"),
        ({50: np.nan, 5: 1.0}, "redo"),  # nothing unknown can mend it
        ({100: np.nan}, "keep"),
    ],
)
def test_oil_by_the_rain_that_came(rain: dict[int, float], verdict: str) -> None:
    assert after_rain(entry(), weather(rain=rain), now=LATER, material=OIL).verdict == verdict


def test_the_label_stands_in_for_the_minimum() -> None:
    table = weather(rain={5: 3.0})
    assert after_rain(entry(rain_free_h=4.0), table, now=LATER, material=OIL).verdict == "inspect"
    told = after_rain(entry(rain_free_h=6.0), table, now=LATER, material=OIL)
    assert (told.verdict, str(told.reason)) == (
        "redo",
        "3.0 mm fell within the label's minimum of 6 h",
    )
    assert "usual minimum" in str(after_rain(entry(), table, now=LATER, material=OIL).reason)
    labelled = replace(OIL, rainfast=Rainfast(6, "a label", of_label=True))
    assert after_rain(entry(), table, now=LATER, material=labelled) == told
    sooner = after_rain(entry(rain_free_h=4.0), table, now=LATER, material=labelled)
    assert sooner.verdict == "inspect"  # the record's own goes first


def test_before_the_wanted_hours_are_over_nothing_is_promised() -> None:
    told = after_rain(entry(), weather(), now=DONE + timedelta(hours=20), material=OIL)
    assert told.verdict == "unknown"
    assert str(told.reason) == "too early to say: 20 of 72 h have passed, no rain known so far"
    assert told.rain_wanted_mm == (0.0, None)
    long = after_rain(
        entry(rain_free_h=96.0), weather(), now=DONE + timedelta(hours=80), material=OIL
    )
    assert "80 of 96 h" in str(long.reason)


@pytest.mark.parametrize(
    ("rain", "verdict"),
    [
        ({1: 0.3}, "redo"),  # rain within 2 h: assume lost (Ontario, Rainfastness of fungicides)
        ({3: 1.0}, "keep"),
        ({3: 3.0}, "inspect"),  # within the 24 h wanted (practice, no source)
        ({60: 24.0}, "keep"),  # Kansas State: < 25 negligible, 25-50 half, > 50 spray again
        ({60: 26.0}, "inspect"),
        ({60: 26.0, 90: 25.0}, "redo"),
        ({110: np.nan}, "unknown"),
    ],
)
def test_copper_by_amount(rain: dict[int, float], verdict: str) -> None:
    told = after_rain(entry(material="copper"), weather(rain=rain), now=LATER, material=COPPER)
    assert told.verdict == verdict


def test_copper_half_goes_with_25_mm() -> None:
    # Ontario agriculture ministry 2020: about 50 % per 25 mm
    now = DONE + timedelta(days=4, minutes=30)  # the running hour must not make it unknown
    told = after_rain(entry(material="copper"), weather(rain={60: 50.0}), now=now, material=COPPER)
    assert told.residue_share == (0.25, 0.25)
    unknown = after_rain(
        entry(material="copper"), weather(rain={60: np.nan}), now=now, material=COPPER
    )
    assert unknown.residue_share == (0.0, 1.0)
    assert copper_share_words((0.0, 1.0)) == "how much of it is left is not known"  # no figure
    assert copper_share_words((0.0, 0.5)) == "at most about 50 % of it is left"
    assert copper_share_words((0.25, 0.5)) == "about 25 to 50 % of it is left"


@given(
    st.dictionaries(st.integers(0, 110), st.floats(0, 40), max_size=5),
    st.integers(0, 110),
    st.sampled_from(["oil", "copper"]),
)
def test_more_rain_never_helps_and_gaps_never_promise(
    rain: dict[int, float], hour: int, material: str
) -> None:
    order = ("keep", "inspect", "redo")

    def verdict(extra: dict[int, float]) -> str:
        return after_rain(
            entry(material=material),
            weather(rain=rain | extra),
            now=LATER,
            material=CATALOGUE[material],
        ).verdict

    known = verdict({})
    more = verdict({hour: rain.get(hour, 0.0) + 10.0})
    assert order.index(more) >= order.index(known)
    assert verdict({hour: np.nan}) in (known, "unknown")


# the weather at the time


def test_weather_is_filled_in_and_marked() -> None:
    table = weather(temp_c=np.arange(200.0), wind_from_deg=[350.0, 10.0, 0.0] + [90.0] * 197)
    table.attrs["source"] = {"name": "demo"}
    filled = with_weather(entry(wind_ms=4.0), table)
    assert (filled.temp_c, filled.wind_ms, filled.wind_from_deg) == (1.0, 4.0, 0.0)
    assert filled.estimated == ("temp_c", "wind_from_deg")
    assert filled.weather_source == "demo"
    calm = weather(wind_from_deg=0.0, wind_ms=0.3)  # direction 0 of a calm is a code: WMO-No. 306
    assert with_weather(entry(), calm).wind_from_deg is None
    table.attrs["forecast_from"] = pd.Timestamp(START)
    assert with_weather(filled, table).weather_source == "demo (forecast)"


def test_weather_that_is_not_known_stays_empty() -> None:
    assert with_weather(entry(), weather(temp_c=np.nan, wind_ms=np.nan)) == entry()
    early = entry(start=START - timedelta(days=9), end=None)
    assert with_weather(early, weather()) == early

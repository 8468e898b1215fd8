"""Washing mornings. The rules are common practice without a source; the tests hold the edges."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import InputError
from spraywindow.jobs.hose.answer import HosingDay, HosingRules, hosing_days
from spraywindow.place import Place
from spraywindow.spray.access import Access

PLACE = Place(38.0, 23.0, 100.0, "Europe/Athens")
START = pd.Timestamp("2021-06-01", tz="UTC")
NOW = START + pd.Timedelta(days=20, hours=1)  # four in the morning on site, 21 June
FIRST = 20 * 24 + 3  # row of six o'clock on site that day


def table(days: int = 26) -> pd.DataFrame:
    index = pd.date_range(START, periods=24 * days, freq="h", name="time")
    temp = 24 + 7 * np.sin((index.hour.to_numpy() - 7) / 12 * np.pi)
    return pd.DataFrame(
        {"temp_c": temp, "dew_point_c": 12.0, "wind_ms": 2.0, "rain_mm": 0.0}, index=index
    )


def rained(mm: float, row: int) -> pd.DataFrame:
    weather = table()
    weather.iloc[row, weather.columns.get_loc("rain_mm")] = mm
    return weather


def first(weather: pd.DataFrame, stage: int | None = 79, now: pd.Timestamp = NOW,
          place: Place = PLACE, **options: object) -> HosingDay:  # fmt: skip
    return hosing_days(weather, place, now, stage_bbch=stage, **options)[0]  # type: ignore[arg-type]


def test_a_dusty_summer_morning_is_go() -> None:
    day = first(table())
    assert (day.day, day.verdict, day.jet) == (date(2021, 6, 21), "go", "hard")
    assert 2 < day.drying_low_mm == day.drying_high_mm < 8


@pytest.mark.parametrize(
    ("stage", "verdict", "jet"),
    [(59, "no-go", "hard"), (60, "no-go", "hard"), (69, "no-go", "hard"), (70, "go", "hard"),
     (71, "go", "gentle"), (75, "go", "gentle"), (76, "go", "hard"), (97, "no-go", "hard"),
     (5, "no-go", "hard"), (None, "unknown", "hard")],
)  # fmt: skip
def test_stages(stage: int | None, verdict: str, jet: str) -> None:
    day = first(table(), stage)
    assert (day.verdict, day.jet) == (verdict, jet)


def test_only_on_working_days() -> None:
    closed = HosingRules(access=Access(closed=frozenset({date(2021, 6, 21)})))
    assert str(first(table(), rules=closed).reason) == "not a working day"
    assert first(table(), rules=HosingRules(access=Access(weekdays=frozenset({0})))).verdict == "go"


def test_flower_is_named() -> None:
    assert str(first(table(), 65).reason) == "the trees are in flower"


def test_dust_since_the_last_washing() -> None:
    held = first(table(), last_wash=date(2021, 6, 8))
    assert (held.verdict, str(held.reason)) == (
        "no-go", "washed on 2021-06-08, by jet or rain: next from 2021-06-22")  # fmt: skip
    assert first(table(), last_wash=date(2021, 6, 7)).verdict == "go"
    today = first(table(), last_wash=date(2021, 6, 21))
    assert (today.day, today.verdict) == (date(2021, 6, 21), "no-go")
    night = first(rained(6.0, FIRST - 2))  # before that day
    assert "washed on 2021-06-21" in str(night.reason)
    assert first(rained(5.0, 10 * 24)).verdict == "no-go"
    assert first(rained(4.9, 10 * 24)).verdict == "go"
    assert first(rained(np.nan, 10 * 24)).verdict == "unknown"


def test_the_time_before_the_table() -> None:
    whole = table().iloc[14 * 24 + 21 :]  # from a local midnight
    assert first(whole).verdict == "unknown"
    short = table().iloc[15 * 24 :]
    assert "say when it was" in str(first(short).reason)
    assert first(short, last_rain=date(2021, 5, 1)).verdict == "go"
    unseen = rained(np.nan, 18 * 24).iloc[15 * 24 :]  # who saw the last rain saw none since
    assert first(unseen, last_rain=date(2021, 5, 1)).verdict == "go"
    assert first(short, last_wash=date(2021, 5, 1)).verdict == "unknown"  # it may have rained since


def test_rain_that_comes() -> None:
    assert str(first(rained(0.3, FIRST + 5)).reason) == "rain is due"
    assert first(rained(0.3, FIRST + 20)).verdict == "go"
    assert str(first(rained(5.1, FIRST + 40)).reason) == "rain is due that washes them"
    gap = first(rained(np.nan, FIRST + 5))
    assert (gap.verdict, str(gap.reason)) == ("unknown", "the coming rain is not known")
    days = hosing_days(table(), PLACE, NOW, stage_bbch=79)
    assert (days[-1].verdict, str(days[-1].reason)) == ("unknown", "too early to say")


def test_it_must_dry_before_evening() -> None:
    dull = table().assign(solar_wm2=20.0, dew_point_c=lambda t: t["temp_c"])
    assert str(first(dull).reason) == "it would not dry before evening"
    assert first(dull, rules=HosingRules(wood_film_mm=0.0, leaf_area_index=0.0)).verdict == "go"
    some = first(table()).drying_low_mm
    assert first(table(), rules=HosingRules(wood_film_mm=some - 0.81)).verdict == "go"
    assert first(table(), rules=HosingRules(wood_film_mm=some - 0.79)).verdict == "no-go"
    gap = table()
    gap.iloc[FIRST + 5, gap.columns.get_loc("temp_c")] = np.nan
    unknown = first(gap, rules=HosingRules(wood_film_mm=3.0))
    assert str(unknown.reason) == "whether it dries before evening is not known"


def test_months_follow_the_hemisphere() -> None:
    south = Place(-33.0, 18.5, 100.0, "Africa/Johannesburg")
    assert str(first(table(), place=south).reason) == "not a rainless month"
    summer = table()
    summer.index = summer.index + pd.Timedelta(days=214)  # January
    assert first(summer, place=south, now=NOW + pd.Timedelta(days=214)).verdict == "go"
    assert first(table(), rules=HosingRules(dry_months=(7,))).verdict == "no-go"


def test_a_morning_that_is_past_is_left_out() -> None:
    assert first(table(), now=NOW + pd.Timedelta(hours=6)).day == date(2021, 6, 22)


def test_bad_input() -> None:
    with pytest.raises(InputError, match=r"last wash: a date in the future.*not a BBCH code"):
        first(table(), 100, last_wash=date(2021, 6, 22))
    with pytest.raises(InputError, match=r"dust_days.*hours out of order.*not a month"):
        HosingRules(dust_days=0, start_hour=12, dry_months=(13,))


def test_washing_keeps_to_the_hours_with_access() -> None:
    access = HosingRules(access=Access(start_h=8.0, end_h=17.0))
    assert access.hours == (8.0, 10.0)
    assert first(table(), rules=access).verdict == "go"
    late = first(table(), rules=HosingRules(access=Access(start_h=10.0)))
    assert (late.verdict, str(late.reason)) == ("no-go", "no access in the morning, 06:00-10:00")

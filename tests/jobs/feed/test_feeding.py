"""When to feed: days and season; sources named at each number."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spraywindow.errors import InputError
from spraywindow.handbook.fertilizer import Dose, Fertilizer, Given, last_feeding_day
from spraywindow.handbook.water_store import SOILS
from spraywindow.jobs.feed.advice import (
    FedTree,
    FeedingAdvice,
    FeedingDay,
    FeedingRules,
    Wake,
    feeding_advice,
    feeding_days,
)
from spraywindow.place import Place
from spraywindow.spray.access import Access

PLACE = Place(38.0, 23.0, 100.0, "Europe/Athens")
START = pd.Timestamp("2021-03-01", tz="UTC")
NOW = START + pd.Timedelta(days=14, hours=4)  # six in the morning on site
FIRST = 14 * 24 + 5  # row of seven o'clock on site that day
GRANULES = Fertilizer("10-10-10", 0.10)
TREE = FedTree(Dose(4.0, "cup"), GRANULES)
AWAKE = Wake(date(2021, 2, 20), observed=True)


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


def first_day(weather: pd.DataFrame, **options: object) -> FeedingDay:
    return feeding_days(weather, PLACE, SOILS["loam"], NOW, **options)[0]  # type: ignore[arg-type]


def advice(weather: pd.DataFrame, wake: Wake | None = AWAKE, tree: FedTree = TREE,
           now: pd.Timestamp = NOW, place: Place = PLACE) -> FeedingAdvice:  # fmt: skip
    days = feeding_days(weather, place, SOILS["loam"], now)
    return feeding_advice(days, place, tree, now, wake=wake)


def test_only_on_working_days() -> None:
    mondays = FeedingRules(access=Access(weekdays=frozenset({0})))
    days = feeding_days(table(), PLACE, SOILS["loam"], NOW, rules=mondays)
    assert [day.verdict for day in days[:2]] == ["go", "no-go"]  # 15 March 2021 was a Monday
    assert str(days[1].reason) == "not a working day"


def test_a_dry_spring_day_is_go() -> None:
    day = first_day(table())
    assert (day.verdict, day.day, day.light_rain) == ("go", date(2021, 3, 15), False)


@pytest.mark.parametrize(
    ("mm", "first", "hours", "verdict"),
    [
        # Ohio ANR-0156: more than 25 mm in 12 h; Florida: more than 50 mm in 24 h
        (25.0, FIRST + 30, 1, "go"),
        (25.1, FIRST + 30, 1, "no-go"),
        (2.2, FIRST + 20, 24, "no-go"),
        (2.0, FIRST + 20, 24, "go"),
        (25.1, FIRST + 48, 1, "go"),  # beyond the look-ahead
        (25.1, FIRST + 47, 1, "no-go"),
    ],
)
def test_heavy_rain_limits(mm: float, first: int, hours: int, verdict: str) -> None:
    day = first_day(rained(mm, first, hours))
    assert day.verdict == verdict
    assert verdict == "go" or str(day.reason).startswith("heavy rain is due")


@pytest.mark.parametrize(
    ("mm", "light"), [(2.9, False), (3.0, True), (12.0, True), (12.1, False), (math.nan, None)]
)
def test_light_rain_is_a_bonus(mm: float, light: bool | None) -> None:
    assert first_day(rained(mm, FIRST + 20)).light_rain is light


def test_unknown_rain_is_never_go() -> None:
    day = first_day(rained(math.nan, FIRST + 20))
    assert (day.verdict, str(day.reason)) == ("unknown", "the coming rain is not known")
    days = feeding_days(table(), PLACE, SOILS["loam"], NOW)
    assert [d.verdict for d in days[-2:]] == ["unknown", "unknown"]
    assert str(days[-1].reason) == "too early to say"


def test_saturated_and_unknown_ground() -> None:
    assert str(first_day(rained(15.0, FIRST - 6, 5)).reason) == "the ground is saturated"
    short = table().iloc[13 * 24 + 20 :].assign(temp_c=14.0)
    assert first_day(short).verdict == "unknown"


def test_frozen_or_snowy_ground() -> None:
    frosty = table()
    frosty["temp_c"] -= 20.0
    assert str(first_day(frosty).reason) == "the ground may be frozen"
    frosty.loc[:, "temp_c"] = np.nan
    assert str(first_day(frosty).reason) == "whether the ground is frozen is not known"
    assert first_day(table(), snow_on_ground=True).verdict == "no-go"
    days = feeding_days(table(), PLACE, SOILS["loam"], NOW, snow_on_ground=True)
    assert days[1].verdict == "unknown"


def test_a_day_that_is_over_is_left_out() -> None:
    evening = NOW + pd.Timedelta(hours=13)  # seven in the evening
    assert feeding_days(table(), PLACE, SOILS["loam"], evening)[0].day == date(2021, 3, 16)


@settings(max_examples=25)  # each judges a fortnight of days twice
@given(row=st.integers(0, 20 * 24 - 1), column=st.sampled_from(["rain_mm", "temp_c", "wind_ms"]))
def test_taking_data_away_never_makes_a_day_go(row: int, column: str) -> None:
    weather = rained(3.0, FIRST - 30, 14)
    before = feeding_days(weather, PLACE, SOILS["loam"], NOW)
    weather.iloc[row, weather.columns.get_loc(column)] = np.nan
    after = feeding_days(weather, PLACE, SOILS["loam"], NOW)
    assert all(b.verdict == "go" or a.verdict != "go" for b, a in zip(before, after, strict=True))


def test_dormant_trees_are_refused_with_the_reason() -> None:
    none = advice(table(), None)
    assert (none.state, none.windows) == ("dormant", ())
    assert "dormant trees are not fed" in str(none.reason)
    assert {day.verdict for day in none.days} == {"no-go"}
    coming = advice(table(), Wake(date(2021, 3, 17), observed=False))
    assert coming.state == "dormant"
    assert "flowering is forecast for 2021-03-17" in str(coming.reason)
    assert str(coming.days[1].reason) == "the trees are dormant"
    assert coming.windows[0].start == date(2021, 3, 17)
    assert any("is a forecast" in str(warning) for warning in coming.warnings)


def test_open_window_prefers_the_day_before_light_rain() -> None:
    found = advice(rained(5.0, FIRST + 60))
    assert found.state == "open"
    (window,) = found.windows
    assert (window.start, window.best) == (date(2021, 3, 15), date(2021, 3, 16))
    assert window.light_rain


def test_a_bad_day_splits_the_windows() -> None:
    weather = rained(26.0, FIRST + 70)
    windows = advice(weather).windows
    assert [(w.start.day, w.stop.day) for w in windows] == [(15, 15), (18, 18)]


def test_rain_that_fell_this_morning_is_not_due() -> None:
    noon = NOW + pd.Timedelta(hours=6)
    assert feeding_days(rained(26.0, FIRST + 1), PLACE, SOILS["loam"], noon)[0].verdict == "go"


def test_late_summer_stops_it() -> None:
    # Clemson: none after mid-August; south of the equator half a year on
    assert last_feeding_day(date(2021, 2, 20), 38.0) == date(2021, 8, 15)
    assert last_feeding_day(date(2021, 8, 20), -33.0) == date(2022, 2, 15)
    late = table()
    late.index = late.index + pd.Timedelta(days=160)
    for days, state in ((152, "open"), (153, "open"), (154, "over")):
        found = advice(late, now=NOW + pd.Timedelta(days=days))
        assert found.state == state
    assert "none after 2021-08-15" in str(found.reason)
    last = advice(late, now=NOW + pd.Timedelta(days=153))
    assert [day.verdict for day in last.days[:2]] == ["go", "no-go"]
    assert str(last.days[1].reason) == "too late in the year: none after 2021-08-15"
    assert not found.windows


def test_impossible_dates() -> None:
    with pytest.raises(InputError, match="flowering seen: a date in the future"):
        advice(table(), Wake(date(2021, 3, 16), observed=True))
    gift = Given(date(2021, 3, 16), Dose(1.0, "cup"))
    with pytest.raises(InputError, match="given: a date in the future"):
        advice(table(), tree=FedTree(Dose(4.0, "cup"), GRANULES, (gift,)))
    with pytest.raises(InputError, match="last feeding day is not after"):
        advice(table(), tree=FedTree(Dose(4.0, "cup"), GRANULES, last_day=date(2021, 1, 1)))
    odd = advice(table(), Wake(date(2020, 9, 20), observed=True))
    assert any("odd time of the year" in str(warning) for warning in odd.warnings)
    old = advice(table(), Wake(date(2020, 2, 20), observed=True))
    assert any("more than a year ago" in str(warning) for warning in old.warnings)
    south = Place(-33.0, 18.5, 100.0, "Africa/Johannesburg")
    september = advice(table(), Wake(date(2020, 9, 20), observed=True), place=south)
    assert not any("odd time" in str(warning) for warning in september.warnings)
    assert (september.state, september.last_day) == ("over", date(2021, 2, 15))


def test_what_was_given_counts() -> None:
    gifts = (Given(date(2021, 2, 25), Dose(1.0, "cup")), Given(date(2020, 7, 1), Dose(9.0, "cup")))
    found = advice(table(), tree=FedTree(Dose(4.0, "cup"), GRANULES, gifts))
    assert found.plan is not None
    assert (found.plan.given, found.plan.left) == (1.0, 3.0)  # last year's does not count
    assert found.plan.next_part is not None
    assert found.plan.next_part.amount == pytest.approx(0.6)
    # the part of the day is given: wait for the next
    assert str(found.days[0].reason) == "the next part is due from 2021-03-20"
    full = (Given(date(2021, 3, 1), Dose(1.0, "qt")),)
    assert advice(table(), tree=FedTree(Dose(4.0, "cup"), GRANULES, full)).state == "fed"


def test_feeding_ends_with_the_access() -> None:
    shut = FeedingRules(access=Access(start_h=8.0, end_h=16.0))
    late = NOW.tz_convert(PLACE.timezone).normalize() + pd.Timedelta(hours=16)
    today = late.date()
    assert feeding_days(table(), PLACE, SOILS["loam"], late)[0].day == today
    assert feeding_days(table(), PLACE, SOILS["loam"], late, rules=shut)[0].day > today

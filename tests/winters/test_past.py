"""Past winters as calendars: which of them are used, why not, and what none of them may know."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from spraywindow.program.worth import Terms
from spraywindow.sources.demo.samples import DEMO_PLACE
from spraywindow.spray.conditions import Setting
from spraywindow.spray.hours import score_hours
from spraywindow.spray.slots import day_margins
from spraywindow.trees import dormancy
from spraywindow.trees.chill_and_heat import past_starts, winter_sums
from spraywindow.trees.flowering import models_of
from spraywindow.winters.evenings import decided, seen_mornings
from spraywindow.winters.past import PastWinters, past_season, within
from spraywindow.winters.replays import ErrorModel
from tests.season_values import ACCESS, FIRST, MATERIALS, NEED, PROGRAM, season, winters
from tests.season_winters import many_winters


def past(table: pd.DataFrame, first: dt.date = FIRST, **changes) -> PastWinters:
    settings = {"need": NEED, "access": ACCESS} | changes
    return past_season(table, DEMO_PLACE, PROGRAM, MATERIALS, first=first, **settings)


def policy(of: PastWinters, table: pd.DataFrame) -> np.ndarray:
    (seen,) = seen_mornings(of, table, DEMO_PLACE, [ErrorModel(seed=1)], 4)
    return decided(of, PROGRAM, seen.chances, Terms.usual(PROGRAM, of.materials)).visits


def test_chances_up_to_a_last_day() -> None:
    kept = within(np.ones((5, 1, 2)), np.array([[1.0, np.inf]]))
    np.testing.assert_array_equal(np.isfinite(kept[:, 0]).sum(axis=0), [2, 5])


def test_chances_are_the_days_of_the_public_functions() -> None:
    for column, name in enumerate(("oil", "copper")):
        whole = day_margins(score_hours(winters(), DEMO_PLACE, MATERIALS[name]), 2, access=ACCESS)
        for winter in (0, 6):
            start = season().block.starts[season().used[winter]]
            wanted = whole.reindex(pd.date_range(start, periods=len(season().chances)))
            np.testing.assert_allclose(
                season().chances[:, column, winter], wanted, rtol=0, atol=1e-9
            )


def test_weather_after_the_known_mornings_changes_no_evening_before(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # the usual winter is the site's, as a usual date is: it holds all winters, and is kept here
    kept = models_of(winter_sums(winters()["temp_c"], DEMO_PLACE), NEED)
    monkeypatch.setattr(dormancy, "models_of", lambda sums, need: kept)
    # from 25 January on, one winter's weather is another's: rain, wind, warmth, buds
    table = winters().copy()
    changed = pd.date_range("2020-01-25", "2020-06-30 23:00", freq="h", tz="UTC")
    other = pd.date_range("2016-01-25", periods=len(changed), freq="h", tz="UTC")
    table.loc[changed] = table.loc[other].to_numpy()
    table.loc[changed, ["temp_c", "dew_point_c"]] += 3.0
    before, after = past(winters()), past(table)
    winter = before.labels.index("2019/20")
    assert before.ending.actual[1, winter] != after.ending.actual[1, winter]
    # an evening knows seven days, each up to a day early or late
    safe = (dt.date(2020, 1, 25) - before.block.starts[winter]).days - 7 - 2
    old, new = policy(before, winters()), policy(after, table)
    changes = old[:safe, :, winter] != new[:safe, :, winter]
    # the early date by which oil ends in the other winters is of all winters, this one too
    assert changes.mean() < 0.01
    assert (old[:safe] != new[:safe]).any()  # the others may


def test_days_that_what_is_done_bars_are_no_chance() -> None:
    done = PROGRAM.with_done({"oil": [dt.date(2026, 1, 10)]})
    found = past_season(
        winters(), DEMO_PLACE, done, MATERIALS, first=dt.date(2026, 1, 12), need=NEED
    )
    assert np.isnan(found.chances[:3, 0]).all()
    assert not found.free[:3, 0].any()
    assert found.free[3, 0]


def test_a_record_that_ends_within_a_winter_leaves_it_out_and_says_so() -> None:
    found = past(winters().loc[:"2025-01-10"])
    assert list(found.left_out) == ["2024/25"]
    # as far as the flowers by the model, on the usual temperatures of the other winters
    assert found.left_out["2024/25"].startswith(
        "the record ends in it on 2025-01-11; temperatures are needed from 2024-09-01 to 2025-03-"
    )
    assert found.rain_missing == ()
    assert len(found.labels) == 11


def test_a_logger_that_runs_in_winter_only_is_told_what_temperatures_are_needed() -> None:
    # chill is counted from 1 September on (from memory), heat up to the end of the growing year
    needed = "temperatures are needed from 2018-09-01 to 2019-06-30"
    cut = past(winters().loc["2018-10":"2019-04"]).left_out["2018/19"]
    assert cut == (f"the record begins in it on 2018-10-01 and ends in it on 2019-05-01; {needed}")
    # whose temperatures go on must know the rest up to the flowers
    rest = winters().copy()
    rest.loc[:"2013-12-20", ["rain_mm", "wind_ms"]] = np.nan
    assert past(rest).left_out == {"2013/14": "rain unknown in 22 % of its hours"}
    every = winters().copy()
    every.loc[~every.index.month.isin([10, 11, 12, 1, 2, 3, 4])] = np.nan
    told = past(every).left_out
    assert len(told) == 12
    assert told["2018/19"].endswith(
        "hours without temperature, which chill and heat need from 2018-09-01 to 2019-06-30"
    )


@pytest.mark.parametrize(
    ("column", "words"),
    [("wind_ms", "wind"), ("dew_point_c", "dew point"), ("gust_ms", "gusts"), ("cloud", "cloud")],
)
def test_a_winter_without_a_column_that_decides_is_left_out_by_name(
    column: str, words: str
) -> None:
    table = winters().loc["2016-09":"2020-08"].copy()
    table.loc["2018-11":"2019-04", column] = np.nan
    found = past(table)
    assert list(found.left_out) == ["2018/19"]
    assert found.left_out["2018/19"].endswith(f" hours without {words}")
    assert found.rain_missing == ()
    assert (found.usable.sum(axis=0) > 0).all()


def test_a_column_that_no_limit_looks_at_leaves_no_winter_out() -> None:
    table = winters().loc["2016-09":"2020-08"].copy()
    table.loc["2018-11":"2019-04", "wind_from_deg"] = np.nan
    assert past(table).left_out == {}  # the site has no neighbours
    near = past(table, setting=Setting(neighbours_deg=(90.0,)))
    assert list(near.left_out) == ["2018/19"]
    assert near.left_out["2018/19"].endswith(" hours without wind direction")
    # now and then a station leaves it out: in a calm
    now_and_then = winters().loc["2016-09":"2020-08"].copy()
    now_and_then.loc[now_and_then.index.hour % 3 == 0, "wind_from_deg"] = np.nan
    assert past(now_and_then, setting=Setting(neighbours_deg=(90.0,))).left_out == {}


def test_a_winter_of_missing_rain_or_temperature_is_named() -> None:
    table = winters().copy()
    table.loc["2017-12-01":"2018-02-28", "rain_mm"] = np.nan
    table.loc["2014-10-01":"2015-02-28", "temp_c"] = np.nan
    found = past(table)
    assert set(found.left_out) == {"2014/15", "2017/18"}
    assert "without temperature" in found.left_out["2014/15"]
    assert found.rain_missing == ("2017/18",)


def test_the_winter_at_hand_is_no_past_winter() -> None:
    for first in (dt.date(2024, 12, 2), dt.date(2025, 1, 13), dt.date(2025, 2, 28)):
        found = past(winters(), first)
        assert "2024/25" not in found.labels
        assert len(found.labels) == 11


def test_the_leap_day_begins_on_the_day_before_in_other_winters() -> None:
    sums = winter_sums(winters()["temp_c"], DEMO_PLACE)
    _, starts = past_starts(sums, dt.date(2024, 2, 29), DEMO_PLACE.latitude, dt.date(2025, 8, 31))
    assert {(start.month, start.day) for start in starts} == {(2, 28)}


@pytest.mark.parametrize("first", [dt.date(2025, 10, 2), dt.date(2026, 3, 20)])
def test_calendars_go_over_new_year_and_begin_in_it(first: dt.date) -> None:
    found = past(winters(), first)
    assert len(found.labels) == 12
    years = {start.year for start in found.block.starts}
    assert years == set(range(2013, 2025)) if first.month > 6 else set(range(2014, 2026))


def test_many_winters_are_the_same_winters_again() -> None:
    found = past(many_winters(30))
    assert len(found.labels) == 30
    again = past(winters())
    last = np.isfinite(found.chances[:60, :, -12:]).sum(axis=(0, 1))
    np.testing.assert_array_equal(last, np.isfinite(again.chances[:60]).sum(axis=(0, 1)))


def test_what_the_forecast_in_front_does_not_tell_leaves_no_past_winter_out() -> None:
    first = dt.date(2025, 1, 20)
    record = winters().loc[:"2025-01-19"]
    ahead = winters().loc["2025-01-19":"2025-01-29"].drop(columns="rain_chance", errors="ignore")
    ahead.attrs["forecast_from"] = pd.Timestamp("2025-01-19 16:00", tz="UTC")
    ahead.loc["2025-01-22":, "wind_ms"] = np.nan
    found = past(record, first, forecast=ahead)
    assert found.left_out == {}
    assert np.isnan(found.chances[3:8]).all()  # and none of these mornings is usable


def test_warmth_that_is_forecast_counts_where_the_record_meets_it() -> None:
    # a record up to tomorrow, and a forecast behind it: very warm, the buds are ahead
    first = dt.date(2025, 1, 20)
    record = winters().loc[:"2025-01-19"]
    ahead = winters().loc["2025-01-17":"2025-01-29"].drop(columns="rain_chance", errors="ignore")
    warm = ahead.copy()
    warm.loc["2025-01-20":, ["temp_c", "dew_point_c"]] += 10.0
    ends = [past(record, first, forecast=table).ending.actual[1].mean() for table in (ahead, warm)]
    assert ends[1] < ends[0] - 3
    # one that lies a season behind the record says nothing of the winter's chill so far
    far = warm.set_axis(warm.index + pd.DateOffset(years=2))
    alone = past(record, dt.date(2027, 1, 20))
    spliced = past(record, dt.date(2027, 1, 20), forecast=far)
    np.testing.assert_array_equal(spliced.ending.actual, alone.ending.actual)
    assert spliced.labels == alone.labels


def test_a_record_that_goes_on_behind_day_0_tells_nothing_of_the_buds_to_come() -> None:
    first = dt.date(2025, 1, 13)
    longer, cut = past(winters(), first), past(winters().loc[:"2025-01-12 21:00"], first)
    np.testing.assert_array_equal(longer.ending.actual, cut.ending.actual)
    np.testing.assert_array_equal(longer.ending.forecast, cut.ending.forecast)


def test_a_winter_without_rows_is_not_called_one_of_missing_rain() -> None:
    """Rain that a record lacks by itself is probably rain; where it has no row nothing says so."""
    table = winters().copy()
    table.loc["2018-12-20":"2019-01-25"] = np.nan
    found = past(table)
    assert list(found.left_out) == ["2018/19"]
    assert "888 hours without temperature" in found.left_out["2018/19"]
    assert "rain" not in found.left_out["2018/19"]
    assert found.rain_missing == ()

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraywindow.sources.coarse import settle_totals
from spraywindow.sources.files.on_hours import (
    between,
    directions,
    held_maxima,
    instants,
    within_hour,
)
from spraywindow.sources.files.read_file import read_weather
from spraywindow.sources.files.steps import local_steps, usual_step
from spraywindow.weather.rain import Rain, rain_of
from spraywindow.weather.table import PERIOD_COLUMNS
from tests.weather_files import MAP, write

NO = np.nan


def grid(hours: int) -> np.ndarray:
    return np.arange(hours, dtype=np.int64) * 60


def settle(rain: list[float], totals: dict[int, float], length_h: int) -> tuple[np.ndarray, ...]:
    first = np.array(sorted(totals), dtype=np.int64)
    values = np.array([totals[hour] for hour in sorted(totals)], dtype=float)
    rain_mm, periods, _ = settle_totals(
        np.array(rain, float),
        np.full((3, len(rain)), NO),
        first,
        values,
        length_h,
    )
    return rain_mm, periods


def ahead(rain: np.ndarray, periods: np.ndarray, hours: int) -> list[tuple[float, float]]:
    """Least and most rain of so many hours from each on, as far as these are there."""
    bounds = Rain(rain, *periods).ahead(hours)
    return list(zip(bounds.low.tolist(), bounds.high.tolist(), strict=True))[: 1 - hours or None]


def test_step_is_the_commonest_one() -> None:
    assert usual_step(np.array([0, 180, 360, 900, 1080])) == 180
    assert usual_step(np.array([0])) == 60


def test_instants_bridge_one_step_and_no_more() -> None:
    at = np.array([0, 180, 540])  # the report of 06 is missing
    out = instants(grid(10), at, np.array([0.0, 3.0, 9.0]), 180)
    np.testing.assert_array_equal(out, [0, 1, 2, 3, NO, NO, NO, NO, NO, 9])


def test_an_unknown_report_is_not_bridged() -> None:
    out = instants(grid(7), np.array([0, 180, 360]), np.array([0.0, NO, 6.0]), 180)
    np.testing.assert_array_equal(out, [0, NO, NO, NO, NO, NO, 6])


def test_columns_side_by_side_are_read_as_each_alone() -> None:
    rng = np.random.default_rng(5)
    at = np.array([0, 60, 120, 300, 480, 840, 1200])  # hourly, 3-hourly, 6-hourly
    values = rng.normal(size=(at.size, 5, 3))
    values[rng.random(values.shape) < 0.2] = NO
    hours, steps = grid(21), local_steps(at)
    block = instants(hours, at, values, steps)
    ends = between(hours, at, values, block, 0.2)
    for place in np.ndindex(5, 3):
        here = (slice(None), *place)
        alone = instants(hours, at, values[here], steps)
        np.testing.assert_array_equal(block[here], alone)
        np.testing.assert_array_equal(ends[:, *here], between(hours, at, values[here], alone, 0.2))
        known = ~np.isnan(values[here])  # numpy's own line, where the rules draw one
        line = np.interp(hours, at[known], values[here][known])
        drawn = ~np.isnan(alone)
        np.testing.assert_allclose(alone[drawn], line[drawn], rtol=1e-12)


def test_an_hourly_file_and_a_daily_one_are_not_interpolated() -> None:
    out = instants(grid(3), np.array([0, 120]), np.array([0.0, 2.0]), 60)
    np.testing.assert_array_equal(out, [0, NO, 2])
    out = instants(grid(25), np.array([0, 1440]), np.array([0.0, 24.0]), 1440)
    assert np.isnan(out[1:24]).all()


def test_directions_turn_the_short_way() -> None:
    out = directions(grid(4), np.array([0, 180]), np.array([350.0, 20.0]), 180)
    assert out[1] == pytest.approx(0.0, abs=0.5) or out[1] == pytest.approx(360.0, abs=0.5)
    out = directions(grid(3), np.array([0, 120]), np.array([0.0, 180.0]), 120)
    np.testing.assert_array_equal(out, [0, NO, 180])


@pytest.mark.parametrize(("how", "whole"), [("total", 10.0), ("mean", 2.5), ("maximum", 4.0)])
def test_quarter_hours_count_only_when_all_are_there(how: str, whole: float) -> None:
    start = np.array([0, 15, 30, 45, 60, 75, 90, 105, 120])
    values = np.array([1.0, 2.0, 3.0, 4.0, 0.0, NO, 0.0, 0.0, 0.0])
    out = within_hour(grid(4), start, values, 15, how)
    # Missing parts summed as nothing would make the second hour dry.
    np.testing.assert_array_equal(out, [whole, NO, NO, NO])


def test_a_maximum_of_three_hours_holds_on_each() -> None:
    out = held_maxima(grid(5), np.array([60]), np.array([12.0]), 180)
    np.testing.assert_array_equal(out, [NO, 12, 12, 12, NO])


def test_a_total_stays_whole_and_a_zero_settles() -> None:
    rain, periods = settle([NO] * 7, {0: 5.0, 3: 0.0}, 3)
    np.testing.assert_array_equal(rain, [NO, NO, NO, 0, 0, 0, NO])
    np.testing.assert_array_equal(periods[:, :4], [[5, 5, 5, NO], [3, 3, 3, NO], [0, 1, 2, NO]])


def test_more_than_twelve_hours_stay_unknown_unless_dry() -> None:
    rain, periods = settle([NO] * 48, {0: 5.0, 24: 0.0}, 24)
    assert np.isnan(rain[:24]).all()
    assert np.isnan(periods).all()
    assert (rain[24:] == 0).all()


def test_known_hours_take_their_part_of_a_total() -> None:
    rain, periods = settle([1.0, 0.0, NO, NO], {0: 5.0}, 4)
    np.testing.assert_array_equal(rain, [1, 0, NO, NO])
    np.testing.assert_array_equal(periods[:, 2:], [[4, 4], [2, 2], [0, 1]])
    rain, _ = settle([1.0, 0.0, NO, 0.0], {0: 5.0}, 4)
    np.testing.assert_array_equal(rain, [1, 0, 4, 0])
    rain, periods = settle([NO, 0.0, NO, 0.0], {0: 5.0}, 4)  # it may be either
    assert np.isnan(rain[[0, 2]]).all()
    np.testing.assert_array_equal(periods[:, [0, 2]], [[5, 5], [3, 3], [0, 2]])
    assert ahead(rain, periods, 1) == [(0, 5), (0, 0), (0, 5), (0, 0)]


def test_a_wetter_total_takes_dry_hours_back() -> None:
    rain, periods = settle([1.0, 0.0, 0.0, 0.0], {0: 5.0}, 4)
    np.testing.assert_array_equal(rain, [1, NO, NO, NO])
    np.testing.assert_array_equal(periods[0, 1:], [4, 4, 4])


def test_what_rounding_may_hide_is_not_dropped() -> None:
    """0.3 mm in a total of 6 h hid in hours of 0, more than the 0.254 mm that a gauge reports."""
    rain, periods = settle([0.0, 1.0, 0.0, 0.0, 0.0, 0.0], {0: 1.3}, 6)
    assert rain[1] == 1.0
    assert np.isnan(np.delete(rain, 1)).all()
    bounds = ahead(rain, periods, 3)
    assert bounds[2] == (0.0, pytest.approx(0.3))
    assert bounds[0] == (1.0, pytest.approx(1.6))  # either part may hold it, none surely does
    tenth, _ = settle([0.0, 1.0, 0.0, 0.0], {0: 1.1}, 4)
    assert np.isnan(tenth[[0, 2, 3]]).all()
    agreed, _ = settle([0.0, 1.0, 0.0, 0.0], {0: 1.0}, 4)
    np.testing.assert_array_equal(agreed, [0, 1, 0, 0])


def test_a_little_more_than_the_shorter_totals_takes_none_of_them_back() -> None:
    rain, periods = settle([NO] * 3 + [0.0] * 3, {0: 5.0}, 3)
    rain, periods, notes = settle_totals(rain, periods, np.array([0]), np.array([5.2]), 6)
    assert not notes
    assert ahead(rain, periods, 3)[0] == (pytest.approx(5.2), pytest.approx(5.2))
    assert ahead(rain, periods, 1)[3] == (0.0, pytest.approx(0.2))


def test_a_zero_that_another_value_denies_settles_nothing() -> None:
    rain, _ = settle([2.0, NO, NO], {0: 0.0}, 3)
    np.testing.assert_array_equal(rain, [2, NO, NO])


def test_the_later_of_two_overlapping_totals_is_left_out() -> None:
    rain, periods = settle([NO] * 6, {0: 5.0, 2: 7.0}, 4)
    np.testing.assert_array_equal(periods[0], [5, 5, 5, 5, NO, NO])
    assert np.isnan(rain).all()


@given(st.lists(st.sampled_from([0.0, 0.2, 3.0]), min_size=12, max_size=12), st.data())
def test_what_the_table_says_holds_for_the_rain_that_fell(fell: list[float], data) -> None:
    seen = data.draw(st.lists(st.booleans(), min_size=12, max_size=12))
    hourly = [value if is_seen else NO for value, is_seen in zip(fell, seen, strict=True)]
    totals = {start: sum(fell[start : start + 6]) for start in (0, 6)}
    rain, periods = settle(hourly, totals, 6)
    known = ~np.isnan(rain)
    np.testing.assert_allclose(rain[known], np.array(fell)[known], atol=1e-6)
    for hours in range(1, 13):
        for first, (low, high) in enumerate(ahead(rain, periods, hours)):
            assert low - 1e-6 <= sum(fell[first : first + hours]) <= high + 1e-6


def test_a_trace_is_between_nothing_and_what_a_gauge_reports(tmp_path: Path) -> None:
    """Traces of an hour, and of six, as -1 in the NOAA ISD-Lite layout; 0.01 in is measurable."""
    columns = MAP | {
        "rain_mm": [
            {"column": "rain", "unit": "mm", "trace": -1, "stamp": "end", "covers": "1h"},
            {"column": "six", "unit": "mm", "trace": -1, "stamp": "end", "covers": "6h"},
        ]
    }
    hourly = {8: -1, 9: 0.2, 13: 0.0}  # the second six hours say 0 and "-1" by themselves
    six = {6: -1, 12: 0.5, 18: 0.3, 24: 0.0}
    lines = [
        f"{pd.Timestamp('2024-01-01') + pd.Timedelta(hours=h)},10,5,2,"
        f"{hourly.get(h, 0 if 6 < h <= 18 else '')},{six.get(h, '')}"
        for h in range(26)
    ]
    text = "t,temp,dew,wind,rain,six\n" + "\n".join(lines) + "\n"
    table = read_weather(write(tmp_path, text), columns).loc["2024-01-01":]
    rain = rain_of({name: table[name].to_numpy() for name in ("rain_mm", *PERIOD_COLUMNS)})
    wet = rain.ahead(6)
    assert (wet.low[0], wet.high[0]) == (0.0, 0.253)
    assert wet.low[6] >= 0.2
    assert wet.high[6] >= 0.5
    assert wet.high[12] == 0.3  # the 0.3 mm of the total are not lost in hours of nothing
    assert (wet.low[18], wet.high[18]) == (0.0, 0.0)
    assert sum("1 traces count" in note for note in table.attrs["notes"]) == 2

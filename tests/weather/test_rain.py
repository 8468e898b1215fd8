"""Rain windows, longer totals included, against plain loops."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraywindow.weather.intervals import Array, Interval
from spraywindow.weather.rain import MEASURABLE_MM, Rain, rain_of

NAN = np.nan


class Hours(NamedTuple):
    """Four columns of a weather table."""

    rain_mm: Array
    total_mm: Array
    period_h: Array
    hour: Array

    def rain(self) -> Rain:
        return Rain(*self)


@st.composite
def rows(draw: st.DrawFn) -> Hours:
    """Known hours, unknown hours and periods, some cut short at either end."""
    out: list[tuple[float, float, float, float]] = []
    for kind in draw(st.lists(st.sampled_from("kkuppp"), min_size=1, max_size=6)):
        mm = draw(st.integers(0, 6)) / 2
        if kind == "k":
            out.append((mm, NAN, NAN, NAN))
        elif kind == "u":
            out.append((NAN, NAN, NAN, NAN))
        else:
            length = draw(st.integers(1, 6))
            first, last = sorted(draw(st.tuples(*[st.integers(0, length - 1)] * 2)))
            if draw(st.booleans()):
                first, last = 0, length - 1
            out += [(NAN, mm, float(length), float(h)) for h in range(first, last + 1)]
    return Hours(*np.array(out).T)


def loop(hours: Hours, first: int, end: int) -> tuple[float, float]:
    """Least and most rain of the rows first to end - 1, by reading them one after another."""
    low = high = 0.0
    count = len(hours.rain_mm)
    if first < 0 or end > count:
        high = np.inf
    row = 0
    while row < count:
        if not np.isnan(hours.rain_mm[row]):
            stretch, inside = row + 1, first <= row < end
            low, high = low + inside * hours.rain_mm[row], high + inside * hours.rain_mm[row]
        elif np.isnan(hours.total_mm[row]):
            stretch = row + 1
            high = np.inf if first <= row < end else high
        else:
            stretch = row + 1
            while stretch < count and (
                np.isnan(hours.rain_mm[stretch])
                and hours.hour[stretch] == hours.hour[stretch - 1] + 1
                and hours.total_mm[stretch] == hours.total_mm[row]
                and hours.period_h[stretch] == hours.period_h[row]
            ):
                stretch += 1
            if first < stretch and row < end:
                high += hours.total_mm[row]
            if first <= row and stretch <= end and stretch - row == hours.period_h[row]:
                low += hours.total_mm[row]
        row = stretch
    return low, high


@given(rows(), st.integers(0, 8), st.integers(0, 5))
def test_windows_against_a_loop(hours: Hours, length: int, start: int) -> None:
    ahead, before = hours.rain().ahead(length, start), hours.rain().before(length)
    for t in range(len(hours.rain_mm)):
        assert (ahead.low[t], ahead.high[t]) == loop(hours, t + start, t + start + length)
        if length:
            assert (before.low[t], before.high[t]) == loop(hours, t - length, t)


@given(rows(), st.data())
def test_variable_windows_against_a_loop(hours: Hours, data: st.DataObject) -> None:
    count = len(hours.rain_mm)
    spans = data.draw(st.lists(st.integers(0, 9), min_size=count, max_size=count))
    end = np.arange(count) + np.array(spans)
    until = hours.rain().until(end)
    for t in range(count):
        assert (until.low[t], until.high[t]) == loop(hours, t, int(end[t]))


def take_away(hours: Hours, gone: Array) -> Hours:
    return Hours(*[np.where(gone, NAN, column) for column in hours])


@given(rows(), st.integers(1, 8), st.data())
def test_taking_data_away_only_widens(hours: Hours, length: int, data: st.DataObject) -> None:
    count = len(hours.rain_mm)
    gone = np.array(data.draw(st.lists(st.booleans(), min_size=count, max_size=count)))
    cut = data.draw(st.integers(1, count))
    for less, rows_kept in (
        (take_away(hours, gone), count),
        (Hours(*[column[:cut] for column in hours]), cut),
    ):
        for window in (lambda rain: rain.ahead(length, 1), lambda rain: rain.before(length),
                       lambda rain: rain.hourly):  # fmt: skip
            wide, narrow = window(less.rain()), window(hours.rain())
            assert (wide.low <= narrow.low[:rows_kept] + 1e-9).all()
            assert (wide.high >= narrow.high[:rows_kept] - 1e-9).all()


@given(rows(), st.integers(0, 8))
def test_columns_do_not_mix(hours: Hours, length: int) -> None:
    mirrored = Hours(*[column[::-1] for column in hours])
    both = Rain(*[np.stack(pair, axis=1) for pair in zip(hours, mirrored, strict=True)])
    ends = np.arange(len(hours.rain_mm)) + length
    for together, alone in (
        (both.ahead(length), [h.rain().ahead(length) for h in (hours, mirrored)]),
        (both.until(ends[:, None]), [h.rain().until(ends) for h in (hours, mirrored)]),
    ):
        for column, one in enumerate(alone):
            assert np.array_equal(together.low[:, column], one.low)
            assert np.array_equal(together.high[:, column], one.high)


def test_a_total_counts_whole_where_dryness_is_judged() -> None:
    # 6 h with 3 mm, a dry hour on each side: any hour of it may have had all of it
    hours = Hours(
        np.array([0.0, *[NAN] * 6, 0.0]), np.array([NAN, *[3.0] * 6, NAN]),
        np.array([NAN, *[6.0] * 6, NAN]), np.array([NAN, 0, 1, 2, 3, 4, 5, NAN]),
    )  # fmt: skip
    assert hours.rain().ahead(2).high.tolist() == [3, 3, 3, 3, 3, 3, 3, np.inf]
    assert hours.rain().ahead(7).low.tolist() == [3, 3, 0, 0, 0, 0, 0, 0]
    assert hours.rain().hourly.high.tolist() == [0, 3, 3, 3, 3, 3, 3, 0]


def test_two_totals_that_meet_are_not_one() -> None:
    # 1 mm cut off after three of six hours, then 5 mm whose first three are missing: a total
    # taken for the other made the rain of the hours after it negative
    hours = Hours(
        np.array([*[NAN] * 6, 0.0, 0.0]), np.array([1.0, 1, 1, 5, 5, 5, NAN, NAN]),
        np.array([6.0] * 6 + [NAN] * 2), np.array([0.0, 1, 2, 3, 4, 5, NAN, NAN]),
    )  # fmt: skip
    assert hours.rain().ahead(1).high.tolist() == [1, 1, 1, 5, 5, 5, 0, 0]
    assert hours.rain().ahead(1).low.tolist() == [0] * 8


def test_a_total_cut_short_does_not_lower_later_ones() -> None:
    hours = Hours(
        np.array([NAN, NAN, 0.0, NAN, NAN]), np.array([9.0, 9.0, NAN, 2.0, 2.0]),
        np.array([6.0, 6.0, NAN, 2.0, 2.0]), np.array([0.0, 1.0, NAN, 0.0, 1.0]),
    )  # fmt: skip
    assert hours.rain().ahead(2).low[3] == 2.0


def test_sums_keep_the_gauge_step() -> None:
    # a hundredth of an inch stays one after years of sums
    rain = Rain(np.tile([MEASURABLE_MM, 0.0, 0.1], 100_000))
    assert set(rain.ahead(1).low.tolist()) == {MEASURABLE_MM, 0.0, 0.1}
    assert rain.ahead(3).low[-3] == pytest.approx(0.354, abs=1e-12)


def test_before_the_data_all_is_possible() -> None:
    before = Rain(np.ones(4)).before(2)
    assert before == (pytest.approx([0, 1, 2, 2]), pytest.approx([np.inf, np.inf, 2, 2]))


def test_columns_of_a_table() -> None:
    plain = rain_of({"rain_mm": np.array([1.0, NAN])})
    assert plain.hourly.high.tolist() == [1.0, np.inf]
    whole = rain_of({
        "rain_mm": np.array([NAN, NAN]), "rain_total_mm": np.array([2.0, 2.0]),
        "rain_total_h": np.array([2.0, 2.0]), "rain_total_hour": np.array([0.0, 1.0]),
    })  # fmt: skip
    assert whole.ahead(2) == Interval(pytest.approx([2.0, 0.0]), pytest.approx([2.0, np.inf]))

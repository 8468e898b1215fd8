"""Windows over intervals against plain loops; taking data away only widens."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from spraywindow.weather import intervals as iv
from spraywindow.weather.intervals import Array, Interval

VALUES = hnp.arrays(
    float,
    hnp.array_shapes(min_dims=1, max_dims=2, min_side=1, max_side=12),
    elements=st.one_of(st.just(np.nan), st.integers(-5, 5).map(float)),
)
WINDOW = {"hours": st.integers(0, 9), "start": st.integers(0, 4)}


def loop(values: Interval, first: int, last: int, pick: Callable[..., float]) -> Interval:
    """Each row's window from t + first to t + last, one row after another."""
    count, ends = len(values.low), []
    for series, beyond in ((values.low, -np.inf), (values.high, np.inf)):
        out = np.empty_like(series)
        for t in range(count):
            rows = [series[r] if 0 <= r < count else np.full(series.shape[1:], beyond)
                    for r in range(t + first, t + last + 1)]  # fmt: skip
            out[t] = pick(np.stack(rows), axis=0)
        ends.append(out)
    return Interval(*ends)


def assert_same(ours: Interval, theirs: Interval) -> None:
    np.testing.assert_array_equal(ours.low, theirs.low)
    np.testing.assert_array_equal(ours.high, theirs.high)


def assert_wider(wide: Interval, narrow: Interval) -> None:
    assert (wide.low <= narrow.low).all()
    assert (wide.high >= narrow.high).all()


@given(VALUES, WINDOW["hours"], WINDOW["start"])
def test_forward_windows_against_a_loop(values: Array, hours: int, start: int) -> None:
    given_values = iv.interval(values)
    assert_same(
        iv.forward_lowest(given_values, hours, start),
        loop(given_values, start, start + hours, np.min),
    )
    assert_same(
        iv.forward_highest(given_values, hours, start),
        loop(given_values, start, start + hours, np.max),
    )


@given(VALUES, WINDOW["hours"])
def test_windows_around_against_a_loop(values: Array, hours: int) -> None:
    given_values = iv.interval(values)
    assert_same(iv.lowest_around(given_values, hours), loop(given_values, -hours, hours, np.min))


@given(VALUES, st.data())
def test_variable_windows_against_a_loop(values: Array, data: st.DataObject) -> None:
    spans = hnp.arrays(np.int64, values.shape, elements=st.integers(0, 9))
    one, two = data.draw(spans), data.draw(spans)
    hours = Interval(np.minimum(one, two).astype(float), np.maximum(one, two).astype(float))
    given_values = iv.interval(values)
    ours = iv.lowest_until(given_values, hours)
    for at in np.ndindex(values.shape):
        t, column = at[0], at[1:]
        for end, series, span, beyond in (
            (ours.low, given_values.low, hours.high, -np.inf),
            (ours.high, given_values.high, hours.low, np.inf),
        ):
            rows = range(t, t + int(span[at]) + 1)
            least = min(series[(r, *column)] if r < len(values) else beyond for r in rows)
            assert end[at] == least


@given(VALUES, WINDOW["hours"], WINDOW["start"], st.data())
def test_taking_data_away_only_widens(
    values: Array, hours: int, start: int, data: st.DataObject
) -> None:
    gone = data.draw(hnp.arrays(bool, values.shape))
    full, less = iv.interval(values), iv.interval(np.where(gone, np.nan, values))
    length = data.draw(st.integers(1, len(values)))
    for window in (
        lambda x: iv.forward_lowest(x, hours, start),
        lambda x: iv.forward_highest(x, hours, start),
        lambda x: iv.lowest_around(x, hours),
        lambda x: iv.lowest_until(x, iv.interval(np.full(x.low.shape, float(hours)))),
        lambda x: iv.lesser(x, iv.interval(np.zeros(x.low.shape))),
        iv.ends_lowest,
        iv.ends_highest,
    ):
        assert_wider(window(less), window(full))
        cut = window(Interval(full.low[:length], full.high[:length]))
        whole = window(full)
        assert_wider(cut, Interval(whole.low[:length], whole.high[:length]))


@given(VALUES, WINDOW["hours"])
def test_columns_do_not_mix(values: Array, hours: int) -> None:
    if values.ndim == 1:
        values = values[:, None]
    whole = iv.forward_lowest(iv.interval(values), hours)
    for column in range(values.shape[1]):
        one = iv.forward_lowest(iv.interval(values[:, column]), hours)
        assert_same(one, Interval(whole.low[:, column], whole.high[:, column]))


def test_known_values_have_equal_ends() -> None:
    known = iv.interval(np.array([3.0, 1.0, 2.0]))
    assert known.known
    assert (-known).known
    assert known.map(np.exp).known
    assert iv.lesser(known, known).known
    lowest = iv.forward_lowest(known, 1)
    assert lowest.low.tolist() == [1.0, 1.0, -np.inf]
    assert lowest.high.tolist() == [1.0, 1.0, 2.0]
    assert iv.ends_highest(known).low.tolist() == [3.0, 2.0, 2.0]
    assert iv.ends_highest(known).high.tolist() == [3.0, 2.0, np.inf]


def test_an_unknown_takes_the_bounds_given() -> None:
    part = iv.interval(np.array([np.nan, 50.0]), 0.0, 100.0)
    assert (part.low.tolist(), part.high.tolist()) == ([0.0, 50.0], [100.0, 50.0])
    assert (-part).low.tolist() == [-100.0, -50.0]
    assert iv.lesser(part, iv.interval(np.array([20.0, 20.0]))).high.tolist() == [20.0, 20.0]


def test_windows_do_not_change_their_input() -> None:
    values = np.array([3.0, 1.0, 2.0])
    given_values = iv.interval(values)
    for hours in (0, 1, 5):
        iv.forward_highest(given_values, hours)
    assert values == pytest.approx([3.0, 1.0, 2.0])

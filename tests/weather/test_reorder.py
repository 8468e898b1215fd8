"""The Schaake shuffle against its definition (Clark et al. 2004, section 3)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraywindow.weather.reorder import schaake_shuffle


def by_definition(margin: list[float], past: list[float]) -> list[float]:
    """The i-th smallest of the sample stands where the i-th smallest past value stands."""
    places = sorted(range(len(past)), key=lambda place: (past[place], place))
    out = [0.0] * len(past)
    for value, place in zip(sorted(margin), places, strict=True):
        out[place] = value
    return out


def test_ten_members_by_hand() -> None:
    margin = [15.3, 11.2, 8.8, 11.9, 7.5, 9.7, 8.3, 12.5, 10.3, 10.1]
    past = [10.7, 9.3, 6.8, 11.3, 12.2, 13.6, 8.9, 9.9, 11.8, 12.9]  # ranks 5 3 1 6 8 10 2 4 7 9
    expected = [10.1, 8.8, 7.5, 10.3, 11.9, 15.3, 8.3, 9.7, 11.2, 12.5]
    assert schaake_shuffle(np.array(margin), np.array(past)).tolist() == expected


values = st.integers(0, 6).map(float)  # with ties, as dry days have
four = st.integers(1, 12).flatmap(
    lambda n: st.tuples(*[st.lists(values, min_size=n, max_size=n)] * 4)
)


@given(four)
def test_each_margin_keeps_its_values_and_takes_the_ranks_of_the_past(
    columns: tuple[list[float], ...],
) -> None:
    margins, past = np.array(columns[:2]).T, np.array(columns[2:]).T  # (member, 2)
    out = schaake_shuffle(margins, past)
    for number in range(2):
        assert out[:, number].tolist() == by_definition(columns[number], columns[2 + number])
    # a case that exceeds another in the past does so in the members, or equals it
    above = past[:, None, :] > past[None, :, :]
    assert (out[:, None, :] >= out[None, :, :])[above].all()


def test_what_has_no_rank_is_refused() -> None:
    with pytest.raises(ValueError, match="no rank"):
        schaake_shuffle(np.array([1.0, 2.0]), np.array([1.0, np.nan]))
    with pytest.raises(ValueError, match="shape"):
        schaake_shuffle(np.ones(3), np.ones(2))

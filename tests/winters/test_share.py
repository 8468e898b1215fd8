"""A share of winters carries its n and Wilson's interval."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from spraywindow.winters.share import Share


@given(st.integers(1, 60), st.data())
def test_the_interval_is_wilsons(n: int, data: st.DataObject) -> None:
    # Wilson (1927), by scipy
    hits = data.draw(st.integers(0, n))
    found = Share.of(np.arange(n) < hits)
    wanted = binomtest(hits, n).proportion_ci(method="wilson")
    assert (found.low, found.high) == pytest.approx((wanted.low, wanted.high), abs=1e-12)
    assert (found.share, found.n) == (hits / n, n)
    assert found.low <= found.share + 1e-12
    assert found.share <= found.high + 1e-12


def test_no_winter_has_no_share() -> None:
    found = Share.of(np.zeros(0, dtype=bool))
    assert found.n == 0
    assert np.isnan([found.share, found.low, found.high]).all()

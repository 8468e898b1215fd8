"""A share of winters carries its n and Wilson's interval."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from spraywindow.winters.share import Share, chance_by_others


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


def seen_and_came(seed: int, days: int = 400, winters: int = 5) -> tuple[np.ndarray, np.ndarray]:
    """Events that come by a logistic law of what was seen."""
    rng = np.random.default_rng(seed)
    terms = np.concatenate([np.ones((days, winters, 1)), rng.normal(size=(days, winters, 2))], -1)
    chance = 1 / (1 + np.exp(-(terms @ [0.4, 1.5, -0.8])))
    return terms, (rng.random(chance.shape) < chance).astype(float)


def test_a_chance_by_others_is_the_law_that_they_follow() -> None:
    terms, came = seen_and_came(1)
    truth = 1 / (1 + np.exp(-(terms @ [0.4, 1.5, -0.8])))
    assert np.abs(chance_by_others(terms, came) - truth).mean() < 0.02


def test_a_winter_tells_nothing_of_its_own_chance() -> None:
    terms, came = seen_and_came(2, days=60)
    other = came.copy()
    other[:, 3] = 1 - other[:, 3]
    one, two = chance_by_others(terms, came), chance_by_others(terms, other)
    np.testing.assert_array_equal(one[:, 3], two[:, 3])
    assert (one[:, :3] != two[:, :3]).any()
    without = chance_by_others(np.delete(terms, 3, axis=1), np.delete(came, 3, axis=1))
    mine = np.where(np.arange(5) == 3, np.nan, came)  # a winter that nothing is learned from
    np.testing.assert_allclose(chance_by_others(terms, mine)[:, [0, 1, 2, 4]], without, atol=1e-9)


def test_no_chance_where_nothing_was_seen_or_nobody_else_was() -> None:
    terms, came = seen_and_came(3, days=50)
    terms[7, 2, 1] = np.nan
    found = chance_by_others(terms, came)
    assert np.argwhere(np.isnan(found)).tolist() == [[7, 2]]
    assert np.isnan(chance_by_others(terms[:, :1], came[:, :1])).all()

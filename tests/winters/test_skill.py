import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest
from sklearn.metrics import brier_score_loss
from statsmodels.stats.proportion import proportion_confint

from spraywindow.winters import share as skill


def test_counts_and_metrics_of_the_tornado_table() -> None:
    # Finley's tornado forecasts of 1884 (Murphy 1996, Wea. Forecasting 11: 3-20, table 1):
    # 28 hits, 72 false alarms, 23 misses, 2680 correct negatives.
    answered = np.repeat([1, 1, 0, 0], [28, 72, 23, 2680])
    happened = np.repeat([1, 0, 1, 0], [28, 72, 23, 2680])
    table = skill.count(answered, happened)
    assert table == skill.Counts(28, 72, 23, 2680)
    assert table.n == 2803
    assert skill.missed_go_rate(table) == pytest.approx(1 - 0.549, abs=5e-4)
    assert skill.false_go_ratio(table) == pytest.approx(0.720, abs=5e-4)


def test_unknown_pairs_are_counted_apart() -> None:
    table = skill.count([1, np.nan, 0, 1], [1, 1, np.nan, 0])
    assert table == skill.Counts(1, 1, 0, 0, unknown=2)
    with pytest.raises(ValueError, match="shapes differ"):
        skill.count([1, 0], [1])


def test_nothing_to_count_is_unknown() -> None:
    empty = skill.count([], [])
    assert math.isnan(skill.missed_go_rate(empty))
    assert math.isnan(skill.false_go_ratio(empty))
    assert math.isnan(skill.brier_score([], []))
    assert math.isnan(skill.brier_score([np.nan], [1.0]))


@given(st.lists(st.tuples(st.sampled_from(np.linspace(0, 1, 11)), st.booleans()), min_size=1))
def test_brier_score_as_scikit_learn(pairs: list[tuple[float, bool]]) -> None:
    chance, happened = np.array(pairs, dtype=float).T
    expected = float(brier_score_loss(happened, chance, pos_label=1))
    assert skill.brier_score(chance, happened) == pytest.approx(expected)


def test_chances_beyond_one_are_refused() -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        skill.brier_score([30.0], [1.0])


@given(st.integers(1, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_wilson_interval_as_scipy_and_statsmodels(pair: tuple[int, int]) -> None:
    k, n = pair
    low, high = skill.wilson_interval(k, n, level=0.9)
    theirs = binomtest(k, n).proportion_ci(0.9, method="wilson")
    assert (float(low), float(high)) == pytest.approx((theirs.low, theirs.high), abs=1e-12)
    assert (float(low), float(high)) == pytest.approx(
        proportion_confint(k, n, alpha=0.1, method="wilson"), abs=1e-12
    )
    assert low <= k / n <= high


def test_wilson_interval_of_nothing() -> None:
    low, high = skill.wilson_interval([0, 3], [0, 4])
    assert np.isnan([low[0], high[0]]).all()
    assert np.isfinite([low[1], high[1]]).all()
    with pytest.raises(ValueError, match="between 0 and n"):
        skill.wilson_interval(5, 4)

"""Reliability by notebooks/reliability.py: Dimitriadis, Gneiting, Jordan (2021), PNAS 118.

Oracles on synthetic chances: scikit-learn's isotonic regression and Brier score.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from sklearn.isotonic import IsotonicRegression
from sklearn.metrics import brier_score_loss

from tests.conftest import ROOT


@pytest.fixture(scope="module")
def rel() -> Any:
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(Path(ROOT / "notebooks")))
        import reliability  # type: ignore[import-not-found]
    return reliability


def synthetic(seed: int, power: float = 1.0, cases: int = 600) -> tuple[np.ndarray, np.ndarray]:
    """Chances in hundredths, many said more than once, that come at a power of what is said."""
    dice = np.random.default_rng(seed)
    said = dice.beta(0.7, 1.2, cases).round(2)
    return said, (dice.random(cases) < said**power).astype(float)


@pytest.mark.parametrize("power", [0.4, 1.0, 2.5])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_parts_are_those_of_scikit_learn_and_add_up(rel: Any, seed: int, power: float) -> None:
    said, held = synthetic(seed, power)
    parts = rel.corp(said, held)
    again = IsotonicRegression(y_min=0.0, y_max=1.0).fit(said, held).predict(said)
    score, recalibrated = brier_score_loss(held, said), brier_score_loss(held, again)
    base = brier_score_loss(held, np.full(len(held), held.mean()))
    assert parts.score == pytest.approx(score)
    assert parts.miscalibration == pytest.approx(score - recalibrated)
    assert parts.discrimination == pytest.approx(base - recalibrated)
    assert parts.uncertainty == pytest.approx(base)
    assert score == pytest.approx(parts.miscalibration - parts.discrimination + parts.uncertainty)
    assert parts.skill == pytest.approx(1.0 - score / base)
    np.testing.assert_allclose(np.interp(said, parts.said, parts.came), again, atol=1e-9)
    assert min(parts.miscalibration, parts.discrimination) >= 0.0


def test_the_base_rate_itself_tells_nothing_apart(rel: Any) -> None:
    held = np.array([0.0, 1.0, 1.0, 0.0, 1.0])
    parts = rel.corp(np.full(5, 0.6), held)
    assert parts.miscalibration == pytest.approx(0.0)
    assert parts.discrimination == pytest.approx(0.0)
    assert np.isnan(rel.corp(np.full(5, 0.6), np.ones(5)).skill)  # nothing to be skilled at


def test_true_chances_stay_in_the_band_and_too_sure_ones_leave_it(rel: Any) -> None:
    outside = []
    for seed in range(20):
        parts = rel.corp(*synthetic(seed))
        low, high = rel.consistency_band(parts.said, parts.cases, parts.said)
        outside.append(np.mean((parts.came < low - 1e-9) | (parts.came > high + 1e-9)))
    assert np.mean(outside) == pytest.approx(0.1, abs=0.06)
    assert "too sure" in rel.doubts({"sure": rel.corp(*synthetic(1, 2.5))})
    assert "too careful" in rel.doubts({"careful": rel.corp(*synthetic(1, 0.4))})


def test_the_interval_of_skill_holds_the_skill_and_widens_with_the_block(rel: Any) -> None:
    said, held = (pd.Series(each) for each in synthetic(5))
    single, long = (
        rel.skill_interval(said, held, pd.Series(np.arange(600) // length)) for length in (1, 60)
    )
    skill = rel.corp(said, held).skill
    assert single[0] < skill < single[1]
    assert long[0] < skill < long[1]
    twice = pd.concat([said, said]), pd.concat([held, held])  # each case told two times
    own = pd.Series(np.tile(np.arange(600), 2))
    assert rel.skill_interval(*twice, own) == pytest.approx(single)


def test_the_calibration_error_is_the_distance_by_tenths(rel: Any) -> None:
    said = pd.Series([0.05, 0.05, 0.95, 1.0])
    held = pd.Series([0.0, 1.0, 1.0, 0.0])
    assert rel.calibration_error(said, held) == pytest.approx((0.9 + 0.95) / 4)

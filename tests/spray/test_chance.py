from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest

from spraywindow.spray.catalogue import OIL
from spraywindow.spray.chance import USUAL_ERRORS, chance_of_holding
from spraywindow.weather.intervals import Array

ALONE = 1e9
"""Dry hours to spare that leave the rain out of it."""
COLD = OIL.limit("cold")


def hold(margins: dict[str, list[float]], lead_h: float = 12.0, spare_h: float = ALONE) -> float:
    arrays: dict[str, Array] = {name: np.array(values) for name, values in margins.items()}
    hours = max((len(values) for values in margins.values()), default=1)
    return float(chance_of_holding(arrays, OIL.limits, np.full(hours, lead_h), spare_h))


def test_a_margin_in_usual_errors_is_read_off_the_normal_distribution() -> None:
    # half of 5.6 K over a usual error of 2.6 K: errors of night minima by lead, 74 US cities
    assert hold({"cold": [0.5, 0.9]}) == pytest.approx(NormalDist().cdf(0.5 * 5.6 / 2.6))
    assert hold({"cold": [0.0]}) == pytest.approx(0.5)


def test_limits_on_one_quantity_share_their_error_others_multiply() -> None:
    wind = NormalDist().cdf(0.5 * OIL.limit("wind").width / 1.2)
    cold = hold({"cold": [0.1]})
    assert hold({"cold": [0.1], "heat": [1.0], "frost in 24 h": [1.0]}) == pytest.approx(cold)
    assert hold({"cold": [0.1], "wind": [0.5]}) == pytest.approx(cold * wind)


def test_the_further_ahead_the_less_sure() -> None:
    chances = [hold({"cold": [0.3]}, lead) for lead in (0.0, 24.0, 48.0, 120.0)]
    assert chances[0] == chances[1] > chances[2] > chances[3] > 0.5
    assert USUAL_ERRORS["temperature"].at(np.array([24.0, 72.0])).tolist() == [2.6, 3.0]


def test_rain_counts_by_the_dry_hours_beyond_those_wanted() -> None:
    assert hold({}, spare_h=0.0) == pytest.approx(0.5)
    assert hold({}, spare_h=12.0) == pytest.approx(NormalDist().cdf(2.0))
    # a stated chance of rain of 15 % (half of the limit of 30 %) leaves 85 % at most
    assert hold({"rain chance 24 h": [0.5, 0.8]}) == pytest.approx(0.85)


def test_soft_limits_cautions_and_unknown_margins_are_left_out() -> None:
    assert hold({"frost in 48 h": [0.0], "very dry air": [-3.0], "humid": [np.nan]}) == 1.0
    soft = replace(COLD, kind="soft")
    assert chance_of_holding({"cold": np.zeros(1)}, (soft,), np.zeros(1), ALONE) == 1.0


def test_jobs_side_by_side_equal_one_at_a_time() -> None:
    rng = np.random.default_rng(7)
    names = ["cold", "wind", "humid", "rain chance 24 h"]
    margins = {name: rng.uniform(-0.2, 1.0, (3, 20)) for name in names}
    margins["humid"][:, 4] = margins["cold"][1, 5] = np.nan
    lead, spare = rng.uniform(0.0, 150.0, (3, 20)), rng.uniform(-5.0, 40.0, 20)
    together = chance_of_holding(margins, OIL.limits, lead, spare)
    for job in range(20):
        alone = {name: values[:, job] for name, values in margins.items()}
        one = chance_of_holding(alone, OIL.limits, lead[:, job], spare[job])
        assert float(one) == pytest.approx(together[job], abs=1e-12)
    assert len(set(together)) == 20

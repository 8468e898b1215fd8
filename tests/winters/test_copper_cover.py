from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spraywindow.winters.copper import (
    best_rounds,
    copper_on_wood,
    copper_residue,
    covered_share,
    round_worth,
)


def test_residue_halves_with_25_mm() -> None:
    # Ontario agriculture ministry 2020: about 50 % per 25 mm; the other figure is 40 mm.
    np.testing.assert_allclose(copper_residue([0, 25, 50]), [1, 0.5, 0.25])
    assert copper_residue(40, half_rain_mm=40) == 0.5


def test_copper_counts_rain_since_the_latest_round() -> None:
    rain = np.array([50.0, 0.0, 25.0, 25.0, 0.0, 25.0, 0.0])
    rounds = np.array([0, 1, 0, 0, 1, 0, 0], dtype=bool)
    np.testing.assert_allclose(copper_on_wood(rain, rounds), [0, 0, 1, 0.5, 0.25, 1, 0.5])


def test_share_covered_by_hand() -> None:
    risk = np.array([0.0, 0.0, 1.0, 0.0, 0.0, 1.0])
    rain = np.array([0.0, 0.0, 25.0, 0.0, 0.0, 25.0])
    rounds = np.zeros((6, 3), dtype=bool)
    rounds[0, 1:] = True
    rounds[4, 2] = True
    columns = np.broadcast_to(risk[:, None], rounds.shape)
    low, high = covered_share((columns, columns), rain[:, None] * np.ones(3), rounds)
    np.testing.assert_allclose(low, [0, 0.75, 1.0])
    np.testing.assert_array_equal(low, high)
    np.testing.assert_allclose(round_worth(risk, rain, [0, 4]), [0.5, 0.25])
    # Only the second spell finds susceptible trees.
    weight = np.array([0, 0, 0, 0, 0, 1.0])
    assert covered_share((risk, risk), rain, rounds[:, 1], weight=weight)[0] == 0.5


def test_without_risk_there_is_no_share() -> None:
    none = np.zeros(5)
    low, high = covered_share((none, none), none, none.astype(bool))
    assert np.isnan([low, high]).all()
    assert best_rounds(none, none, [1], [0], 3) == []
    assert np.isnan(round_worth(none, none, [1])).all()


def test_unknown_rain_and_risk_widen_the_share() -> None:
    risk = np.array([0.0, 0.0, 1.0, 0.0, 1.0])
    rain = np.array([0.0, 0.0, 25.0, np.nan, 0.0])
    rounds = np.array([1, 0, 0, 0, 0], dtype=bool)
    low, high = covered_share((risk, risk), rain, rounds)
    np.testing.assert_allclose([low, high], [0.5, 0.75])
    low, high = covered_share((np.zeros(5), risk), np.nan_to_num(rain), rounds)
    assert 0 <= low <= high <= 1


@settings(max_examples=60)
@given(st.integers(0, 10_000), st.integers(1, 4), st.integers(1, 4), st.sampled_from([0, 0.7]))
def test_best_rounds_is_the_best_of_all_choices(
    seed: int, rounds: int, gap: int, on_wood: float
) -> None:
    rng = np.random.default_rng(seed)
    risk = rng.random(60) * (rng.random(60) < 0.3)
    rain = rng.random(60) * 10
    hours = np.sort(rng.choice(60, 8, replace=False))
    days = hours // 6
    answers = best_rounds(risk, rain, hours, days, rounds, least_days=gap, on_wood=on_wood)
    for number in range(1, rounds + 1):
        shares = []
        for plan in combinations(range(8), number):
            if (np.diff(days[list(plan)]) >= gap).all():
                made = np.zeros(60, dtype=bool)
                made[hours[list(plan)]] = True
                covered = covered_share((risk, risk), rain, made, on_wood=on_wood)
                shares.append(float(covered[0]))
        if not shares or not risk.any():
            assert len(answers) < number
            continue
        share, chosen = answers[number - 1]
        assert share == pytest.approx(max(shares), abs=1e-9)
        made = np.zeros(60, dtype=bool)
        made[list(chosen)] = True
        again = covered_share((risk, risk), rain, made, on_wood=on_wood)
        assert float(again[0]) == pytest.approx(share)


def test_copper_on_the_wood_is_a_round_with_the_rain_since() -> None:
    # half a deposit is a round 25 mm of rain ago (Ontario agriculture ministry 2020)
    rng = np.random.default_rng(3)
    risk, rain = rng.random(40) * (rng.random(40) < 0.3), rng.random(40) * 5
    rounds = np.arange(40) == 25
    earlier = [np.concatenate([head, tail]) for head, tail in (
        ([0.0, 0.0], risk), ([0.0, 25.0], rain), ([True, False], rounds),
    )]  # fmt: skip
    wanted = covered_share((earlier[0], earlier[0]), earlier[1], earlier[2].astype(bool))
    np.testing.assert_allclose(covered_share((risk, risk), rain, rounds, on_wood=0.5), wanted)
    late = round_worth(earlier[0], earlier[1], [0, 27])
    np.testing.assert_allclose(round_worth(risk, rain, [25], on_wood=0.5), late[1:])

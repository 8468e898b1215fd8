import numpy as np

from spraywindow.winters.copper import (
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
    assert np.isnan(round_worth(none, none, [1])).all()


def test_unknown_rain_and_risk_widen_the_share() -> None:
    risk = np.array([0.0, 0.0, 1.0, 0.0, 1.0])
    rain = np.array([0.0, 0.0, 25.0, np.nan, 0.0])
    rounds = np.array([1, 0, 0, 0, 0], dtype=bool)
    low, high = covered_share((risk, risk), rain, rounds)
    np.testing.assert_allclose([low, high], [0.5, 0.75])
    low, high = covered_share((np.zeros(5), risk), np.nan_to_num(rain), rounds)
    assert 0 <= low <= high <= 1


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

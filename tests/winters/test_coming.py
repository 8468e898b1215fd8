"""As it comes: nothing of the future but the known mornings, nothing of the winter itself."""

from __future__ import annotations

import numpy as np
import pytest

from spraywindow.program.entry import MaterialRounds
from spraywindow.program.planner import plan_many
from spraywindow.program.program import Program
from spraywindow.program.states import program_states
from spraywindow.winters.as_it_comes import (
    as_it_comes,
    follow,
    rounds_as_it_comes,
    rounds_of,
    within,
)

DAYS, WINTERS, KNOWN = 60, 8, 4
PROGRAM = Program.of(oil=(2, 5), copper=(3, 5), between=2)


def calendars(seed: int, chance: float = 0.25) -> np.ndarray:
    rng = np.random.default_rng(seed)
    margin = rng.uniform(0, 1, (DAYS, 2, WINTERS))
    return np.where(rng.random((DAYS, 2, WINTERS)) < chance, margin, np.nan)


def coming(chances: np.ndarray, last: float = DAYS):
    ends = np.full((2, WINTERS), float(last))
    then = np.broadcast_to(ends, (DAYS, 2, WINTERS))
    return as_it_comes(chances, ends, then, program_states(PROGRAM, DAYS, WINTERS), KNOWN)


def test_the_future_beyond_the_known_mornings_changes_no_decision() -> None:
    chances, other = calendars(1), calendars(2)
    day = 20
    changed = chances.copy()
    changed[day + KNOWN :, :, 0] = other[day + KNOWN :, :, 0]
    policy, policy_changed = coming(chances).policy, coming(changed).policy
    # winter 0 decides for `day` on the evening before, knowing KNOWN mornings from it on
    np.testing.assert_array_equal(policy[: day + 1, :, 0], policy_changed[: day + 1, :, 0])
    # and its own later days are not among the "other" winters, or they would show here
    assert (policy[:, :, 1] != policy_changed[:, :, 1]).any()


def test_no_round_on_a_day_without_a_chance_and_no_gap_is_broken() -> None:
    chances = calendars(3)
    visits, made = follow(coming(chances), np.zeros(1, dtype=np.int64))
    rounds = rounds_of(program_states(PROGRAM, DAYS, WINTERS), visits[:, 0])
    assert np.isfinite(chances[rounds]).all()
    for winter in range(WINTERS):
        for which, least in ((0, 5), (1, 5)):
            days = np.flatnonzero(rounds[:, which, winter])
            assert (np.diff(days) >= least).all()
        every = np.sort(np.concatenate([np.flatnonzero(rounds[:, w, winter]) for w in (0, 1)]))
        assert (np.diff(every) >= 2).all()
    np.testing.assert_array_equal(rounds.sum(axis=0), made[:, 0])


@pytest.mark.parametrize("seed", range(6))
def test_hindsight_is_never_worse(seed: int) -> None:
    chances = calendars(seed, chance=0.12)
    _, made = follow(coming(chances), np.arange(0, 40, 10))
    best = plan_many(chances, PROGRAM).rounds.sum(axis=0)
    assert (made[:, 0].sum(axis=0) <= best).all()
    # a later start can only lose
    totals = made.sum(axis=0)
    assert totals.mean(axis=1)[-1] <= totals.mean(axis=1)[0]


def test_with_every_morning_known_it_is_hindsight() -> None:
    chances = calendars(7, chance=0.12)
    ends = np.full((2, WINTERS), float(DAYS))
    then = np.broadcast_to(ends, (DAYS, 2, WINTERS))
    states = program_states(PROGRAM, DAYS, WINTERS)
    _, made = follow(as_it_comes(chances, ends, then, states, DAYS), np.zeros(1, dtype=np.int64))
    np.testing.assert_array_equal(
        made[:, 0].sum(axis=0), plan_many(chances, PROGRAM).rounds.sum(axis=0)
    )


def test_nothing_is_done_after_the_season_that_was_forecast() -> None:
    visits, _ = follow(coming(calendars(4, 0.9), last=15.0), np.zeros(1, dtype=np.int64))
    none = len(program_states(PROGRAM, DAYS).visits) - 1
    assert (visits[16:] == none).all()
    assert (visits[:16] != none).any()


def test_chances_up_to_a_last_day() -> None:
    cut = within(np.ones((5, 1, 2)), np.array([[1.0, np.inf]]))
    np.testing.assert_array_equal(np.isfinite(cut[:, 0]).sum(axis=0), [2, 5])


def test_another_way_gives_the_same_rounds() -> None:
    chances = calendars(5, 0.1)
    ends = np.full((2, WINTERS), 40.0) + np.arange(WINTERS)
    then = np.broadcast_to(ends + 3, (DAYS, 2, WINTERS))
    states = program_states(PROGRAM, DAYS, WINTERS)
    _, made = follow(as_it_comes(chances, ends, then, states), np.arange(1))
    np.testing.assert_array_equal(made[:, 0], rounds_as_it_comes(chances, ends, then, states))


def test_the_winter_itself_is_not_among_the_others() -> None:
    # seeing one morning ahead: taking away all that a winter holds later changes no decision of
    # the evenings before, though every other winter's "others" lose it
    chances = calendars(6)
    poorer = chances.copy()
    poorer[30:, :, 2] = np.nan
    policy, policy_poorer = coming(chances).policy, coming(poorer).policy
    np.testing.assert_array_equal(policy[: 30 - KNOWN + 1, :, 2], policy_poorer[:27, :, 2])
    others = [winter for winter in range(WINTERS) if winter != 2]
    assert (policy[:27, :, others] != policy_poorer[:27, :, others]).any()


def test_the_end_as_it_turned_out_decides_nothing_beforehand() -> None:
    chances = calendars(8)
    states = program_states(PROGRAM, DAYS, WINTERS)
    ends = np.full((2, WINTERS), 50.0)
    then = np.broadcast_to(ends, (DAYS, 2, WINTERS))
    early = ends.copy()
    early[:, 0] = 35.0
    one = as_it_comes(chances, ends, then, states).policy[..., 0]
    other = as_it_comes(chances, early, then, states).policy[..., 0]
    np.testing.assert_array_equal(one[:36], other[:36])
    # past its end the crew sees open flowers, whatever was forecast
    none = len(states.visits) - 1
    assert (other[36:] == none).all()
    assert (one[36:51] != none).any()


def test_who_is_forecast_to_end_early_does_not_count_on_the_others_late_mornings() -> None:
    # copper is worth more; oil only now, copper now or, in the other winters, on day 20
    program = Program(
        (MaterialRounds("oil", 1, 5), MaterialRounds("copper", 1, 5, priority=2.0)), between=5
    )
    days, winters = 30, 4
    chances = np.full((days, 2, winters), np.nan)
    chances[0] = 0.5
    chances[20, 1, 1:] = 0.5
    ends = np.full((2, winters), 29.0)
    states = program_states(program, days, winters)

    def first_visit(end_then: float) -> tuple[int, ...]:
        then = np.broadcast_to(ends, (days, 2, winters)).copy()
        then[..., 0] = end_then
        found = as_it_comes(chances, ends, then, states, 2)
        return states.visits[int(found.policy[0, 0, 0])]

    assert first_visit(29.0) == (0,)  # oil now, copper is to come
    assert first_visit(12.0) == (1,)  # the season ends before it comes


def test_no_evening_plans_beyond_the_end_as_forecast_then() -> None:
    chances = calendars(9, 0.6)
    states = program_states(PROGRAM, DAYS, WINTERS)
    ends = np.full((2, WINTERS), 50.0)
    then = np.broadcast_to(np.array([12.0, 20.0])[:, None], (DAYS, 2, WINTERS))
    coming = as_it_comes(chances, ends, then, states)
    rounds = rounds_of(states, follow(coming, np.arange(1))[0][:, 0])
    assert not rounds[13:, 0].any()
    assert not rounds[21:, 1].any()
    assert rounds[:13, 0].any()
    assert rounds[13:21, 1].any()


def test_a_season_forecast_to_be_over_counts_on_no_late_winter() -> None:
    # only the latest of the others has copper after the known mornings
    program = Program(
        (MaterialRounds("oil", 1, 5), MaterialRounds("copper", 1, 5, priority=1.1)), between=5
    )
    chances = np.full((30, 2, 4), np.nan)
    chances[0] = 0.5
    chances[27, 1, 3] = 0.5
    ends = np.tile([20.0, 20.0, 20.0, 29.0], (2, 1))
    then = np.broadcast_to(ends, (30, 2, 4)).copy()
    states = program_states(program, 30, 4)
    then[..., 0] = 1.0
    over = as_it_comes(chances, ends, then, states, 2).policy[0, 0, 0]
    assert states.visits[int(over)] == (1,)
    then[..., 0] = 2.0
    goes_on = as_it_comes(chances, ends, then, states, 2).policy[0, 0, 0]
    assert states.visits[int(goes_on)] == (0,)


def test_of_a_tank_mix_what_is_not_past_its_last_day_goes_out_alone() -> None:
    # oil ended on day 4, later than day 8 as forecast; copper is still owed on day 6
    program = Program.of(oil=(1, 5), copper=(2, 5), between=5, tank_mixes=[("oil", "copper")])
    days, winters = 12, 3
    chances = np.full((days, 2, winters), np.nan)
    chances[0, 1], chances[6] = 0.5, 0.9
    ends = np.array([[4.0, 11.0, 11.0], [11.0, 11.0, 11.0]])
    then = np.broadcast_to(np.array([[8.0] * winters, [11.0] * winters]), (days, 2, winters))
    states = program_states(program, days, winters)
    visits, made = follow(as_it_comes(chances, ends, then, states), np.arange(1))
    rounds = rounds_of(states, visits[:, 0])
    assert rounds[6].T.tolist() == [[False, True], [True, True], [True, True]]
    assert made[:, 0].tolist() == [[0, 1, 1], [2, 2, 2]]
    np.testing.assert_array_equal(made[:, 0], rounds_as_it_comes(chances, ends, then, states))


def test_of_three_in_a_tank_the_pair_that_is_left_is_a_mix_or_the_first_goes_alone() -> None:
    days, winters = 3, 2
    chances = np.full((days, 3, winters), 0.5)
    ends = np.tile([2.0, -1.0, 2.0], (winters, 1)).T  # the second is over before day 0
    then = np.full((days, 3, winters), 2.0)
    for mixes, left in (
        ([("a", "b", "c")], [1, 0, 0]),
        ([("a", "b", "c"), ("a", "c")], [1, 0, 1]),
    ):
        program = Program.of(a=(1, 9), b=(1, 9), c=(1, 9), between=9, tank_mixes=mixes)
        states = program_states(program, days, winters)
        visits, _ = follow(as_it_comes(chances, ends, then, states), np.arange(1))
        assert rounds_of(states, visits[:, 0])[0].T.tolist() == [left] * winters

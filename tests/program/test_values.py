from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from numpy.typing import ArrayLike

from spraywindow.errors import InputError
from spraywindow.program.entry import MaterialRounds
from spraywindow.program.planner import plan_many
from spraywindow.program.program import Program
from spraywindow.program.states import ProgramStates, program_states
from spraywindow.program.values import best_values, best_visit, value_to_go, visit_gains

BOTH = Program.of(oil=(3, 5), copper=(5, 5), between=2)
NO = np.nan


def winters(seed: int, days: int, count: int, share: float = 0.25) -> np.ndarray:
    rng = np.random.default_rng(seed)
    shape = (days, 2, count)
    return np.where(rng.random(shape) < share, rng.random(shape), np.nan)


def decide(
    known: np.ndarray, states: ProgramStates, state: np.ndarray, end: ArrayLike, copies: int = 1
) -> np.ndarray:
    """The first day's best visits when only the next mornings are known."""
    gains = visit_gains(known, states, copies=copies)
    return best_visit(gains[0], states, state, best_values(gains[1:], states, end)[0])


def test_only_waits_that_can_be_reached_are_states() -> None:
    states = program_states(BOTH, 60)
    reached = {tuple(row) for row in states.waits.tolist()}
    assert (4, 1) in reached  # the morning after oil
    assert (2, 4) in reached  # oil, two days later copper
    assert (4, 4) not in reached  # both on one day
    mixed = Program.of(oil=(3, 5), copper=(5, 5), between=2, tank_mixes=[("oil", "copper")])
    assert [4, 4] in program_states(mixed, 60).waits.tolist()


def test_a_day_moves_the_state() -> None:
    states = program_states(BOTH, 60)
    oil, rest = states.visit("oil"), states.visit()
    morning_after = states.after[oil, 0]
    assert morning_after == states.state([4, 1], [1, 0])
    assert states.made(morning_after).tolist() == [1, 0]
    assert states.after[states.visit("copper"), morning_after] == -1
    second = states.after[rest, morning_after]
    assert states.after[states.visit("copper"), second] == states.state([2, 4], [1, 1])
    with pytest.raises(ValueError, match="no state"):
        states.state([4, 4], [1, 1])
    with pytest.raises(ValueError, match="no state"):
        states.state([0, 0], [4, 0])


def test_staying_at_home_is_always_allowed() -> None:
    entry = MaterialRounds("copper", 4, 5, metallic_copper_per_round_kg_ha=1.0)
    states = program_states(Program((entry,), metallic_copper_maximum_kg_ha=2.0), 30)
    assert (states.after[states.visit()] >= 0).all()
    assert states.after[states.visit("copper"), states.state([0], [2])] == -1


def test_margins_are_rounded_to_the_nearest_step() -> None:
    states = program_states(Program.of(oil=(1, 5)), 1)
    # In binary 0.29 × 100,000 is a little less than 29,000.
    assert states.levels(value_to_go([[[0.29]]], states)[0, 0, 0]).tolist() == [1, 0, 29_000]


def test_the_value_of_the_start_is_the_best_plan_and_of_a_state_what_is_left() -> None:
    chances = winters(1, 40, 8)
    states = program_states(BOTH, 40)
    values = value_to_go(chances, states)
    assert (states.levels(values[0, 0]) == plan_many(chances, BOTH).objective).all()
    # One oil made and both free again: the best plan of the days left, two oils and five coppers.
    later = plan_many(chances[10:], Program.of(oil=(2, 5), copper=(5, 5), between=2))
    assert (states.levels(values[10, states.state([0, 0], [1, 0])]) == later.objective).all()


def test_levels_of_a_sum_are_the_sums_of_levels() -> None:
    chances = winters(2, 50, 30, 0.5)
    near = np.random.default_rng(3).random(chances.shape)
    states = program_states(BOTH, 50, calendars=30)
    start = value_to_go(chances, states, nearness=near)[0, 0]
    assert (states.levels(start.sum()) == states.levels(start).sum(axis=1)).all()


def test_sums_compare_level_by_level_where_a_weighted_mean_would_not() -> None:
    # 29 winters of margin 1 and nearness 1 without the round weigh less than one round in one.
    states = program_states(Program.of(oil=(2, 5)), 20, calendars=30)
    one_round, near_step = states.steps
    assert one_round > 30 * 2 * 1000 * near_step + 30 * 2 * 100_000
    assert near_step > 30 * 2 * 100_000


def test_knowing_the_whole_winter_as_it_comes_is_hindsight() -> None:
    chances = winters(4, 45, 6)
    states = program_states(BOTH, 45)
    state = np.zeros(6, dtype=int)
    for day in range(45):
        visit = decide(chances[day:], states, state, 0)
        state = states.after[visit, state]
    assert (states.made(state) == plan_many(chances, BOTH).rounds).all()


def test_the_mean_of_other_winters_decides_what_to_wait_for() -> None:
    # Tomorrow one morning is fit for both; oil belongs there when copper is likelier later.
    program = Program.of(oil=(1, 5), copper=(1, 5), between=2)
    known = np.full((1, 2, 1), 0.5)
    states = program_states(program, 4, calendars=3)
    oil_later, copper_later = np.full((3, 2, 3), NO), np.full((3, 2, 3), NO)
    oil_later[2, 0, :2] = copper_later[2, 1, :2] = 0.0  # in two of three winters
    oil_later[2, 1, 0] = copper_later[2, 0, 0] = 1.0  # the other in one of three
    for later, first in ((copper_later, "oil"), (oil_later, "copper")):
        end = value_to_go(later, states)[0].sum(axis=1, keepdims=True)
        visit = decide(known, states, np.zeros(1, dtype=int), end, copies=3)
        assert states.visits[visit[0]] == (program.materials.index(first),)


def test_a_round_in_hand_is_worth_all_three_winters() -> None:
    # The same round waits in two of three winters, with better margins: act tomorrow.
    program = Program.of(oil=(1, 5))
    states = program_states(program, 3, calendars=3)
    later = np.full((1, 1, 3), NO)
    later[0, 0, :2] = 1.0
    end = value_to_go(later, states)[0].sum(axis=1, keepdims=True)
    state = np.zeros(1, dtype=int)
    assert decide(np.full((1, 1, 1), 0.0), states, state, end, copies=3) == states.visit("oil")
    later[0, 0, 2] = 1.0  # it waits in all three: now the margin decides
    end = value_to_go(later, states)[0].sum(axis=1, keepdims=True)
    assert decide(np.full((1, 1, 1), 0.0), states, state, end, copies=3) == states.visit()


def test_values_equal_every_order_of_visits_tried() -> None:
    program = Program.of(oil=(2, 3), copper=(1, 2), between=2, tank_mixes=[("oil", "copper")])
    chances = winters(6, 7, 5, 0.6)
    states = program_states(program, 7)
    gains = visit_gains(chances, states)
    best = np.zeros(5, dtype=np.int64)
    for visits in product(range(len(states.visits)), repeat=7):
        state = 0
        for visit in visits:
            state = states.after[visit, state]
            if state < 0:
                break
        else:
            best = np.maximum(best, gains[range(7), visits].clip(-(2**58)).sum(axis=0))
    assert (value_to_go(chances, states)[0, 0] == best).all()


def test_of_equal_visits_the_larger_then_the_programs_order() -> None:
    program = Program.of(oil=(1, 5), copper=(1, 5), between=2, tank_mixes=[("oil", "copper")])
    states = program_states(program, 1)
    gains = np.zeros((4, 1), dtype=np.int64)
    later = np.zeros((states.count, 1), dtype=np.int64)
    assert states.visits == ((0, 1), (0,), (1,), ())
    assert best_visit(gains, states, [0], later) == 0
    assert best_visit(gains, states, [states.state([0, 0], [0, 1])], later) == 1


def test_an_array_of_another_shape_is_refused() -> None:
    for shape in ((20, 3, 1), (20, 2)):
        with pytest.raises(ValueError, match=r"is not \[day, 2, calendar\]"):
            value_to_go(np.ones(shape), program_states(BOTH, 20))


def test_too_many_calendars_are_refused_with_a_cure() -> None:
    states = program_states(BOTH, 150)
    with pytest.raises(InputError, match="take fewer calendars at a time"):
        value_to_go(np.full((150, 2, 2000), NO), states)
    with pytest.raises(InputError, match=r"too large a plan.* 2000 calendars"):
        program_states(BOTH, 150, calendars=2000)

"""Evening by evening: nothing of the future but the chances told, nothing of the winter itself.

No outside source: what must hold of any such rule, and small cases worked out by hand.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from spraywindow.program.entry import MaterialRounds
from spraywindow.program.evenings import Decided, OtherWinters, decide_evenings, tonight
from spraywindow.program.planner import plan_many
from spraywindow.program.program import Program
from spraywindow.program.targets import Nearness
from spraywindow.program.worth import Terms, program_moves

DAYS, WINTERS, KNOWN = 60, 8, 4
PROGRAM = Program.of(oil=(2, 5), copper=(3, 5), between=2)


def calendars(seed: int, share: float = 0.25) -> np.ndarray:
    rng = np.random.default_rng(seed)
    chance = rng.uniform(0.2, 1, (DAYS, 2, WINTERS))
    return np.where(rng.random((DAYS, 2, WINTERS)) < share, chance, np.nan)


def told(calendar: np.ndarray, known: int = KNOWN) -> np.ndarray:
    """What each evening is told of the mornings ahead where forecasts never change."""
    days = len(calendar)
    ahead = np.arange(days)[:, None] + np.arange(known)
    return np.where((ahead < days)[..., None, None], calendar[np.minimum(ahead, days - 1)], np.nan)


def decided(
    chances: np.ndarray,
    ends: Any = DAYS - 1.0,
    then: Any = None,
    program: Program = PROGRAM,
    near: Nearness | None = None,
    **terms: Any,
) -> Decided:
    days, _, materials, winters = chances.shape
    actual = np.broadcast_to(ends, (materials, winters)).astype(float)
    forecast = np.broadcast_to(actual if then is None else then, (days, materials, winters))
    counted = Terms.of(program, **terms)
    moves = program_moves(program, days, counted)
    return decide_evenings(chances, actual, forecast.astype(float), moves, counted, near)


def rounds(found: Decided, **lost: Any) -> np.ndarray:
    """Rounds made from day 0 on, [day, material, winter]."""
    visits, _ = found.follow(np.zeros(1, dtype=int), **lost)
    holds = np.array([[m in v for m in (0, 1)] for v in found.moves.states.visits])
    return np.moveaxis(holds[visits[:, 0]], 2, 1)


def test_what_is_not_told_yet_changes_no_decision() -> None:
    calendar, other = calendars(1), calendars(2)
    day = 20
    changed = calendar.copy()
    changed[day + KNOWN :, :, 0] = other[day + KNOWN :, :, 0]
    one, two = decided(told(calendar)).visits, decided(told(changed)).visits
    np.testing.assert_array_equal(one[: day + 1, :, 0], two[: day + 1, :, 0])
    assert (one[: day + 1, :, 1] != two[: day + 1, :, 1]).any()


def test_the_winter_itself_is_not_among_the_others() -> None:
    calendar = calendars(6)
    poorer = calendar.copy()
    poorer[30:, :, 2] = np.nan
    one, two = decided(told(calendar)).visits, decided(told(poorer)).visits
    np.testing.assert_array_equal(one[: 30 - KNOWN + 1, :, 2], two[: 30 - KNOWN + 1, :, 2])
    others = [winter for winter in range(WINTERS) if winter != 2]
    assert (one[:27, :, others] != two[:27, :, others]).any()


def test_rounds_are_on_offers_keep_their_gaps_and_their_number() -> None:
    calendar = calendars(3)
    made = rounds(decided(told(calendar)))
    assert np.isfinite(calendar[made]).all()
    assert (made.sum(axis=0) <= np.array([[2], [3]])).all()
    assert made.sum() > 4 * WINTERS
    for winter in range(WINTERS):
        for which in (0, 1):
            assert (np.diff(np.flatnonzero(made[:, which, winter])) >= 5).all()
        assert (np.diff(np.sort(np.nonzero(made[:, :, winter])[0])) >= 2).all()


def test_with_every_morning_known_it_is_hindsight() -> None:
    sure = np.where(np.isfinite(calendars(7, 0.12)), 1.0, np.nan)
    made = rounds(decided(told(sure, DAYS), nearness=0.0, rained_on=0.0))
    planned = plan_many(np.where(np.isfinite(sure), 0.0, np.nan), PROGRAM).rounds
    np.testing.assert_array_equal(made.sum(axis=(0, 1)), planned.sum(axis=0))


def test_a_likely_morning_later_is_waited_for_and_an_unlikely_one_is_not() -> None:
    program = Program.of(oil=(1, 5))
    calendar = np.full((20, 1, 3), np.nan)
    calendar[2], calendar[4, 0] = 0.6, (0.9, 0.5, np.nan)
    found = decided(told(calendar), program=program)
    days = [np.flatnonzero(found.follow([0])[0][:, 0, winter] == 0).tolist() for winter in range(3)]
    assert days == [[4], [2], [2]]


def test_other_winters_say_whether_a_poor_morning_is_taken() -> None:
    program = Program.of(oil=(1, 5))
    calendar = np.full((20, 1, 5), np.nan)
    calendar[2, 0, 0] = 0.4
    calendar[9, 0, 1:] = 0.9
    assert decided(told(calendar), program=program).visits[2, 0, 0] == 1  # wait
    calendar[9, 0, 1:] = np.nan
    calendar[9, 0, 1] = 0.9  # in one of four
    assert decided(told(calendar), program=program).visits[2, 0, 0] == 0


def test_nearness_moves_a_round_that_holds_as_well_later() -> None:
    program = Program.of(oil=(1, 5))
    calendar = np.full((40, 1, 4), np.nan)
    calendar[[3, 33]] = 0.8
    aims = np.full((1, 4), 33.0)
    near = Nearness(40, (aims,), (np.broadcast_to(aims[:, None], (1, 40, 4)),))
    assert np.flatnonzero(
        decided(told(calendar), program=program, near=near).follow([0])[0][:, 0, 0] == 0
    ) == [33]
    assert np.flatnonzero(
        decided(told(calendar), program=program).follow([0])[0][:, 0, 0] == 0
    ) == [3]


def test_no_evening_goes_beyond_the_end_as_forecast_or_as_it_came() -> None:
    then = np.broadcast_to(np.array([12.0, 20.0])[:, None], (DAYS, 2, WINTERS))
    made = rounds(decided(told(calendars(9, 0.6)), 50.0, then))
    assert not made[13:, 0].any()
    assert not made[21:, 1].any()
    assert made[13:21, 1].any()
    # past its end the crew sees open flowers, whatever was forecast
    made = rounds(decided(told(calendars(8)), 15.0, 50.0))
    assert not made[16:].any()
    assert made[:16].any()


def test_the_end_as_it_comes_decides_nothing_beforehand() -> None:
    calendar = calendars(8)
    ends = np.full((2, WINTERS), 50.0)
    early = ends.copy()
    early[:, 0] = 35.0
    one = decided(told(calendar), ends, 50.0).visits[..., 0]
    two = decided(told(calendar), early, 50.0).visits[..., 0]
    np.testing.assert_array_equal(one[:36], two[:36])
    assert (one[36:51] != two[36:51]).any()


def test_a_season_forecast_to_be_over_holds_nothing_more() -> None:
    # copper is worth more; oil only now, copper now or, in the other winters, late
    program = Program(
        (MaterialRounds("oil", 1, 5), MaterialRounds("copper", 1, 5, priority=2.0)), between=5
    )
    calendar = np.full((30, 2, 4), np.nan)
    calendar[0] = 0.9
    calendar[20, 1, 1:] = 0.9
    for end, first in ((29.0, (0,)), (1.0, (1,))):
        then = np.full((30, 2, 4), 29.0)
        then[..., 0] = end
        found = decided(told(calendar, 2), 29.0, then, program)
        assert found.moves.states.visits[int(found.visits[0, 0, 0])] == first


def test_ends_that_were_forecast_too_late_make_who_waits_hurry() -> None:
    # a fair morning now, a better one shortly before the end as forecast: three of the four others
    # were forecast as late, and ended before it
    program = Program.of(oil=(1, 5))
    calendar = np.full((40, 1, 5), np.nan)
    calendar[5], calendar[30] = 0.6, 0.95
    late = np.array([[35.0, 35.0, 20.0, 20.0, 20.0]])
    assert decided(told(calendar), 35.0, 35.0, program).visits[5, 0, 0] == 1  # wait
    assert decided(told(calendar), late, 35.0, program).visits[5, 0, 0] == 0


def test_of_a_tank_mix_what_is_not_past_its_last_day_goes_out_alone() -> None:
    program = Program.of(oil=(1, 5), copper=(2, 5), between=5, tank_mixes=[("oil", "copper")])
    calendar = np.full((12, 2, 3), np.nan)
    calendar[0, 1], calendar[6] = 0.5, 0.9
    ends = np.array([[4.0, 11.0, 11.0], [11.0, 11.0, 11.0]])
    then = np.broadcast_to(np.array([[8.0] * 3, [11.0] * 3]), (12, 2, 3))
    made = rounds(decided(told(calendar), ends, then, program))
    assert made[6].T.tolist() == [[False, True], [True, True], [True, True]]


def test_what_was_lost_is_made_again_after_its_gap() -> None:
    program = Program.of(oil=(1, 5))
    calendar = np.full((20, 1, 3), 0.9)
    found = decided(told(calendar), program=program, owed_again=0.5)
    gone = np.zeros((20, 1, 3), dtype=bool)
    visits, made = found.follow([0, 4], gone)
    assert [np.flatnonzero(visits[:, start, 0] == 0).tolist() for start in (0, 1)] == [[0], [4]]
    gone[0, 0, 0] = gone[4] = True
    visits, made = found.follow([0, 4], gone)
    days = [[np.flatnonzero(visits[:, start, winter] == 0).tolist() for winter in (0, 1)]
            for start in (0, 1)]  # fmt: skip
    assert days == [[[0, 5], [0]], [[4, 9], [4, 9]]]
    assert (made == 1).all()


@pytest.mark.parametrize("winters", [0, 1])
def test_without_other_winters_only_the_known_mornings_count(winters: int) -> None:
    calendar = calendars(4)[..., :winters]
    found = decided(told(calendar))
    assert not found.beyond.any()
    assert rounds(found).shape == (DAYS, 2, winters)


@pytest.mark.parametrize("day", [0, 17, 40, 52, 58])
def test_tonight_is_what_a_replayed_evening_decides(day: int) -> None:
    rng = np.random.default_rng(11)
    chances = told(calendars(10, 0.4))
    ends = 45.0 + rng.integers(0, 14, (2, WINTERS))
    then = ends + rng.integers(-4, 5, (DAYS, 2, WINTERS))
    aims = np.full((1, WINTERS), 30.0)
    seen = np.broadcast_to(aims[:, None], (1, DAYS, WINTERS))
    near = Nearness(DAYS, (aims, aims), (seen, seen))
    found = decided(chances, ends, then, near=near, owed_again=(0.3, 0.1))
    terms = Terms.of(PROGRAM, owed_again=(0.3, 0.1))
    others = OtherWinters(chances[:, 0, :, 1:], ends[:, 1:], near.actual[..., 1:])
    here = tonight(
        chances[day, ..., 0], then[day, :, 0], others, then[day, :, 1:], found.moves, terms,
        near.ahead(day, min(DAYS, day + KNOWN))[..., 0], day=day,
    )  # fmt: skip
    left = found.moves.states.left_of_visits(ends, DAYS)[day, :, 0]
    np.testing.assert_array_equal(left[here.chosen()[:, 0]], found.visits[day, :, 0])


def test_mornings_without_a_chance_at_the_end_are_beyond_those_known() -> None:
    chances = told(calendars(12))
    longer = np.concatenate([chances, np.full_like(chances, np.nan)], axis=1)
    np.testing.assert_array_equal(decided(chances).visits, decided(longer).visits)

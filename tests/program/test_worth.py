"""The value of acting and of waiting, against every decision tried and what must hold of it.

No outside source: the oracle tries every visit on every morning, with everything that it may come
to, on dates instead of states.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from itertools import combinations, pairwise, product
from typing import Any

import numpy as np
import pytest

from spraywindow.errors import InputError
from spraywindow.program.entry import MaterialRounds
from spraywindow.program.planner import plan_many
from spraywindow.program.program import Program
from spraywindow.program.worth import (
    Moves,
    Terms,
    best_of,
    climate_value,
    program_moves,
    visit_stakes,
    worth,
)

BOTH = Program.of(oil=(3, 5), copper=(5, 5), between=2)
TIGHT = Program.of(oil=(2, 2), copper=(2, 2), between=1)
MIXED = Program.of(oil=(2, 2), copper=(1, 3), between=2, tank_mixes=[("oil", "copper")])
PASSES = Program.of(oil=(2, 2), copper=(1, 2), between=0)
LIMITED = Program(
    (
        MaterialRounds("oil", 2, 1, season_maximum=3),
        MaterialRounds("copper", 1, 2, priority=1.5, metallic_copper_per_round_kg_ha=1.0),
    ),
    between=1,
    metallic_copper_maximum_kg_ha=2.0,
)
ONE_COPPER_LESS = Program(
    (
        MaterialRounds("oil", 1, 2),
        MaterialRounds("copper", 3, 1, metallic_copper_per_round_kg_ha=1.0),
    ),
    between=1,
    metallic_copper_maximum_kg_ha=2.0,
)
PROGRAMS = (TIGHT, MIXED, PASSES, LIMITED, ONE_COPPER_LESS)


def prepared(program: Program, days: int, served: float = 1.0, **terms: Any) -> tuple[Moves, Terms]:
    counted = replace(Terms.of(program, **terms), served=served)
    return program_moves(program, days, counted), counted


def chances(seed: int, *shape: int, share: float = 0.7) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.where(rng.random(shape) < share, rng.random(shape), np.nan)


class Tried:
    """Every visit on every morning, by dates: expected rounds of the best of them."""

    def __init__(self, program: Program, terms: Terms, offers: Any, near: np.ndarray) -> None:
        """`offers[day]` holds the equally likely chances of that day, [material] each."""
        self.program, self.terms, self.offers, self.near = program, terms, offers, near
        names = program.materials
        self.apart = [[program.days_between(a, b) for b in names] for a in names]
        mixes = [{names.index(name) for name in mix} for mix in program.tank_mixes]
        every = [set(c) for n in range(len(names) + 1) for c in combinations(range(len(names)), n)]
        self.visits = [
            visit
            for visit in every
            if len(visit) < 2
            or visit in mixes
            or all(self.apart[a][b] == 0 for a, b in combinations(sorted(visit), 2))
        ]

    def allowed(self, visit: set[int], day: int, done: tuple[tuple[int, int, bool], ...]) -> bool:
        copper = 0.0
        for number, entry in enumerate(self.program.entries):
            went = sum(material == number for _, material, _ in done) + (number in visit)
            held = sum(material == number and not lost for _, material, lost in done)
            if number in visit and held >= entry.rounds:
                return False
            if entry.season_maximum is not None and went > entry.season_maximum:
                return False
            copper += went * entry.metallic_copper_per_round_kg_ha
        most = self.program.metallic_copper_maximum_kg_ha
        if most is not None and copper > most:
            return False
        return all(day - then >= self.apart[a][b] for then, a, _ in done for b in visit)

    def value(self, day: int, done: tuple[tuple[int, int, bool], ...] = ()) -> float:
        if day == len(self.offers):
            return 0.0
        free = self.terms.served
        each = [
            free * self.best(day, told, done) + (1 - free) * self.act(set(), day, told, done)
            for told in self.offers[day]
        ]
        return float(np.mean(each))

    def best(self, day: int, told: np.ndarray, done: tuple[tuple[int, int, bool], ...]) -> float:
        return max(self.act(visit, day, told, done) for visit in self.visits)

    def act(
        self,
        visit: set[int],
        day: int,
        told: np.ndarray,
        done: tuple[tuple[int, int, bool], ...],
    ) -> float:
        members = sorted(visit)
        if np.isnan(told[members]).any() or not self.allowed(visit, day, done):
            return -np.inf
        terms, total = self.terms, -self.terms.visit if members else 0.0
        lost = {m: (1 - told[m]) * terms.owed_again[m] for m in members}
        for m in members:
            rained = 1 - told[m] - lost[m]
            total += terms.priority[m] * (told[m] + rained * terms.rained_on[m])
            total += terms.nearness * self.near[day, m] * (1 - lost[m])
        # one number of the weather decides for all of them
        steps = sorted({0.0, 1.0, *lost.values()})
        for low, high in pairwise(steps):
            came = tuple((day, m, lost[m] >= high) for m in members)
            total += (high - low) * self.value(day + 1, done + came)
        return total


TERMS: tuple[dict[str, Any], ...] = (
    {"rained_on": 0.0, "nearness": 0.0},
    {"rained_on": 0.3},
    {"rained_on": (0.3, 0.6), "owed_again": (1.0, 0.25), "visit": 0.05},
    {"rained_on": 0.0, "owed_again": 1.0},
    {"owed_again": (1.0, 0.25), "served": 0.4},
)


@pytest.mark.parametrize("program", PROGRAMS)
@pytest.mark.parametrize("terms", TERMS)
def test_known_mornings_equal_every_decision_tried(program: Program, terms: dict[str, Any]) -> None:
    moves, counted = prepared(program, 4, **terms)
    for seed in range(4):
        known = chances(seed, 4, 2, 3)
        near = np.random.default_rng(seed).random((4, 2, 3))
        found = worth(known, np.zeros((moves.count, 3)), moves, counted, near)
        for column in range(3):
            tried = Tried(program, counted, known[:, None, :, column], near[..., column])
            best = tried.best(0, known[0, :, column], ())  # the crew is free on the first one
            assert found.values[0, 0, column] == pytest.approx(best, abs=1e-12)
            now = found.of_visits(0, np.zeros(3, dtype=int))[:, column]
            for number, members in enumerate(moves.states.visits):
                alone = tried.act(set(members), 0, known[0, :, column], ())
                assert now[number] == pytest.approx(alone, abs=1e-12)


@pytest.mark.parametrize("program", PROGRAMS)
@pytest.mark.parametrize("terms", [*TERMS[1:3], TERMS[-1]])
def test_other_winters_equal_every_decision_tried(program: Program, terms: dict[str, Any]) -> None:
    moves, counted = prepared(program, 3, **terms)
    offers = chances(7, 3, 2, 3)
    near = np.repeat(np.random.default_rng(8).random((3, 2, 1)), 3, axis=2)
    values = climate_value(offers, moves, counted, near)
    tried = Tried(program, counted, np.moveaxis(offers, 2, 1), near[..., 0])
    assert values[0, 0] == pytest.approx(tried.value(0), abs=1e-12)
    assert (values[-1] == 0).all()


def test_other_winters_go_on_where_the_known_mornings_end() -> None:
    moves, counted = prepared(TIGHT, 5, owed_again=0.5)
    known, offers = chances(1, 2, 2, 1), chances(2, 5, 2, 3)
    near = np.zeros((5, 2))
    beyond = climate_value(offers, moves, counted)[2]
    found = worth(known, beyond[:, None], moves, counted)
    every = [*known[:, None, :, 0], *np.moveaxis(offers[2:4], 2, 1)]
    tried = Tried(TIGHT, counted, every, near)
    short = climate_value(offers[:4], moves, counted)[2]
    assert worth(known, short[:, None], moves, counted).values[0, 0, 0] == pytest.approx(
        tried.value(0), abs=1e-12
    )
    assert (found.values[0, :, 0] >= 0).all()


@pytest.mark.parametrize("program", [BOTH, MIXED])
def test_without_each_winter_is_with_the_others_only(program: Program) -> None:
    moves, terms = prepared(program, 30, owed_again=(0.4, 0.0), rained_on=0.3)
    offers = chances(3, 30, 2, 5, share=0.4)
    near = np.random.default_rng(4).random(offers.shape)
    each = climate_value(offers, moves, terms, near, leave_each_out=True)
    for winter in range(5):
        others = [other for other in range(5) if other != winter]
        alone = climate_value(offers[..., others], moves, terms, near[..., others])
        np.testing.assert_allclose(each[..., winter], alone, rtol=0, atol=1e-12)


def test_no_winter_is_worth_nothing() -> None:
    moves, terms = prepared(BOTH, 6)
    assert not climate_value(np.empty((6, 2, 0)), moves, terms).any()
    one = climate_value(np.ones((6, 2, 1)), moves, terms, leave_each_out=True)
    assert one.shape == (7, moves.count, 1)
    assert not one.any()


@pytest.mark.parametrize("owed_again", [0.0, 0.5, 1.0])
def test_sure_mornings_are_the_planners_rounds(owed_again: float) -> None:
    rng = np.random.default_rng(5)
    go = rng.random((40, 2, 6)) < 0.2
    rain = np.where(rng.random(go.shape) < 0.4, 0.0, np.nan)  # a morning that surely fails
    moves, terms = prepared(BOTH, 40, rained_on=0.0, nearness=0.0, owed_again=owed_again)
    found = worth(np.where(go, 1.0, rain), np.zeros((moves.count, 6)), moves, terms)
    planned = plan_many(np.where(go, 0.0, np.nan), BOTH).rounds.sum(axis=0)
    np.testing.assert_allclose(found.values[0, 0], planned, atol=1e-12)


@pytest.mark.parametrize("program", [BOTH, *PROGRAMS])
@pytest.mark.parametrize("terms", TERMS)
def test_a_higher_chance_is_never_worth_less(program: Program, terms: dict[str, Any]) -> None:
    moves, counted = prepared(program, 12, **terms)
    rng = np.random.default_rng(6)
    known = chances(6, 12, 2, 40)
    near = rng.random(known.shape)
    end = np.zeros((moves.count, 40))
    before = worth(known, end, moves, counted, near).values
    better = np.where(rng.random(known.shape) < 0.3, known + (1 - known) * rng.random(), known)
    after = worth(better, end, moves, counted, near).values
    assert (after >= before - 1e-12).all()
    assert (after > before + 1e-6).any()


def test_a_lost_round_is_owed_again_and_keeps_its_gap() -> None:
    program = Program.of(oil=(1, 3))
    moves, terms = prepared(program, 4, rained_on=0.0, nearness=0.0, owed_again=1.0)
    end = np.zeros((moves.count, 1))
    for again, expected in ((3, 0.5 + 0.5 * 0.8), (2, 0.8)):  # too near: the better one only
        known = np.full((4, 1, 1), np.nan)
        known[0], known[again] = 0.5, 0.8
        assert worth(known, end, moves, terms).values[0, 0, 0] == pytest.approx(expected)


def test_a_maximum_counts_what_was_lost() -> None:
    known = np.full((6, 1, 1), 0.5)
    for maximum, expected in ((1, 0.5), (2, 0.75), (3, 0.875), (None, 1 - 0.5**6)):
        program = Program((MaterialRounds("oil", 1, 1, season_maximum=maximum),))
        moves, terms = prepared(program, 6, rained_on=0.0, nearness=0.0, owed_again=1.0)
        found = worth(known, np.zeros((moves.count, 1)), moves, terms)
        assert found.values[0, 0, 0] == pytest.approx(expected)


def test_what_a_lost_round_of_a_begun_one_leaves() -> None:
    # a begun round is finished by the next visit; the maximum leaves one visit beyond those owed
    entry = MaterialRounds(
        "oil", 2, 1, season_maximum=3, partly_done=((dt.date(2025, 12, 1), 0.5),)
    )
    assert entry.visits_owed == 2
    assert entry.rounds_to_spare == 1.0
    assert MaterialRounds("oil", 2, 1).rounds_to_spare == np.inf
    assert MaterialRounds("oil", 4, 1, season_maximum=3).rounds_to_spare == 0.0


def test_waiting_aims_at_the_morning_that_is_worth_it() -> None:
    program = Program.of(oil=(1, 5), copper=(1, 5), between=2)
    moves, terms = prepared(program, 4, rained_on=0.0, nearness=0.0)
    known = np.full((4, 2, 3), np.nan)
    known[0, 0], known[2, 0, 0], known[3, 1] = 0.5, 0.9, 0.8
    found = worth(known, np.zeros((moves.count, 3)), moves, terms)
    start = np.zeros(3, dtype=int)
    now = found.of_visits(0, start)
    np.testing.assert_allclose(now[moves.states.visit("oil")], 0.5 + 0.8)
    np.testing.assert_allclose(now[-1], [0.9, 0.8, 0.8])
    assert best_of(now).tolist() == [moves.states.visit("oil")] * 3
    morning, visit = found.aims(start)
    assert morning.tolist() == [2, 3, 3]
    assert visit.tolist() == [
        moves.states.visit(*names) for names in (["oil"], ["copper"], ["copper"])
    ]
    nothing = worth(np.full((3, 2, 1), np.nan), np.zeros((moves.count, 1)), moves, terms)
    assert [part.tolist() for part in nothing.aims(start[:1])] == [[-1], [2]]


def test_of_equal_visits_the_larger_then_the_programs_order_then_none() -> None:
    assert best_of(np.array([[1.0, 1.0, 0.0], [1.0, 1.0, 1.0], [1.0, 2.0, 1.0]])).tolist() == [
        0,
        2,
        1,
    ]


def test_a_mix_is_lost_in_one_weather() -> None:
    moves, terms = prepared(MIXED, 1, owed_again=1.0)
    mix = visit_stakes(np.array([[[0.7], [0.4]]]), moves, terms)[
        moves.states.visit("oil", "copper")
    ]
    lost = [outcome.lost for outcome in moves.outcomes[moves.states.visit("oil", "copper")]]
    by = dict(zip(lost, mix.chance[:, 0, 0], strict=True))
    assert by == {
        (): pytest.approx(0.4),
        (0,): 0.0,
        (1,): pytest.approx(0.3),
        (0, 1): pytest.approx(0.3),
    }


def test_following_a_visit_leads_where_its_outcome_does() -> None:
    moves, _ = prepared(LIMITED, 6, owed_again=1.0)
    assert moves.spare.tolist() == [1, 1]
    for visit, members in enumerate(moves.states.visits[:-1]):
        for lost in product([False, True], repeat=2):
            told = {m for m in members if lost[m]}
            outcome = next(o for o in moves.outcomes[visit] if set(o.lost) == told)
            after = moves.after(np.array([visit]), np.array([0]), np.array(lost)[:, None])
            assert after[0] == outcome.after[0]
    rest = moves.after(np.array([len(moves.outcomes)]), np.array([0]), np.ones((2, 1), bool))
    assert rest[0] == moves.rest[0]
    for outcome in moves.outcomes[0]:
        made = moves.states.made(moves.plain(outcome.after[0]))
        assert made.sum() == len(moves.states.visits[0]) - len(outcome.lost)


def test_what_is_no_chance_or_share_is_refused() -> None:
    moves, terms = prepared(BOTH, 2)
    for wrong in (1.2, -0.1):
        with pytest.raises(InputError, match="chance out of range; expected 0 to 1"):
            visit_stakes(np.full((2, 2, 1), wrong), moves, terms)
    with pytest.raises(InputError, match="owed_again out of range"):
        Terms.of(BOTH, owed_again=2.0)


def test_too_many_ways_to_lose_a_round_are_refused_with_a_cure() -> None:
    entries = tuple(MaterialRounds(name, 6, 1, season_maximum=30) for name in "abcd")
    program = Program(entries, between=1)
    with pytest.raises(InputError, match="plan fewer materials"):
        prepared(program, 60, owed_again=0.5)

from __future__ import annotations

from datetime import UTC, date, datetime
from itertools import product
from typing import Any

import numpy as np
import pytest

from spraywindow.errors import InputError
from spraywindow.program.entry import MaterialRounds
from spraywindow.program.planner import plan_many
from spraywindow.program.program import Program, all_made

DAYS = [date(2025, 12, day) for day in (1, 6, 11, 16)]


def test_the_short_form_equals_the_full_one() -> None:
    short = Program.of(oil=(3, 5), copper=(5, 6), between=2, tank_mixes=[["oil", "copper"]])
    full = Program(
        (MaterialRounds("oil", 3, 5), MaterialRounds("copper", 5, 6)), 2, (("oil", "copper"),)
    )
    assert short == full
    assert hash(short) == hash(full)
    assert short == Program([*full.entries], 2, [["oil", "copper"]])  # type: ignore[arg-type, list-item]


def test_days_between_one_material_two_and_named_pairs() -> None:
    program = Program.of(
        **{"oil": (3, 5), "copper": (5, 6), "lime sulfur": (1, 14)},
        between=2,
        apart=[("lime sulfur", "oil", 30)],
    )
    assert program.days_between("copper", "copper") == 6
    assert program.days_between("copper", "oil") == 2
    assert program.days_between("oil", "lime sulfur") == 30


@pytest.mark.parametrize(
    ("entry", "owed", "visits"),
    [
        (MaterialRounds("oil", 3, 5), 3, 3),
        (MaterialRounds("oil", 3, 5, done=DAYS[:2]), 1, 1),  # type: ignore[arg-type]
        (MaterialRounds("oil", 3, 5, done=DAYS), 0, 0),  # type: ignore[arg-type]
        (MaterialRounds("oil", 3, 5, partly_done=((DAYS[0], 0.6),)), 2.4, 3),
        (MaterialRounds("oil", 3, 5, partly_done=((DAYS[0], 0.6), (DAYS[1], 0.4))), 2, 2),
        (
            MaterialRounds(
                "oil", 3, 5, partly_done=tuple(zip(DAYS[:3], (0.1, 0.2, 0.7), strict=True))
            ),
            2,
            2,
        ),
        (MaterialRounds("oil", 3, 5, season_maximum=2), 3, 2),
        (MaterialRounds("oil", 3, 5, season_maximum=2, done=(DAYS[0],)), 2, 1),
        # Two rounds allowed, 0.6 used: the rest of that round, then one more.
        (MaterialRounds("oil", 3, 5, season_maximum=2, partly_done=((DAYS[0], 0.6),)), 2.4, 2),
        # 10 L allowed, 4 L a round: two rounds and a half, so two whole ones.
        (MaterialRounds("oil", 3, 5, product_per_round=4, product_maximum=10), 3, 2),
        (MaterialRounds("oil", 3, 5, product_per_round=0.1, product_maximum=0.3), 3, 3),
        # Half a round was used of the two and a half: its other half, then one more.
        (
            MaterialRounds(
                "oil",
                4,
                5,
                product_per_round=4,
                product_maximum=8,
                partly_done=((DAYS[0], 0.5),),
            ),
            3.5,
            2,
        ),
        # What failed is owed again, whole or in part, as far as the maxima go.
        (MaterialRounds("oil", 3, 5, done=(DAYS[0],), failed=((DAYS[0], 1.0),)), 3, 3),
        (MaterialRounds("oil", 3, 5, done=(DAYS[0],), failed=((DAYS[0], 0.3),)), 2.3, 3),
        (
            MaterialRounds(
                "oil", 3, 5, season_maximum=3, done=(DAYS[0],), failed=((DAYS[0], 1.0),)
            ),
            3,
            2,
        ),
    ],
)
def test_what_is_owed(entry: MaterialRounds, owed: float, visits: int) -> None:
    assert entry.rounds_owed == pytest.approx(owed, abs=1e-9)
    assert entry.visits_owed == visits


def test_the_first_visit_finishes_the_round_begun() -> None:
    entry = MaterialRounds("oil", 3, 5, partly_done=((DAYS[0], 0.6),))
    assert [entry.rounds_in(visits) for visits in range(4)] == pytest.approx([0, 0.4, 1.4, 2.4])
    assert entry.days_done == (DAYS[0],)


@pytest.mark.parametrize(
    ("done", "partly", "unfinished", "holding"),
    [
        ((), ((DAYS[0], 0.6),), (0,), ()),
        ((), ((DAYS[0], 0.6), (DAYS[1], 0.4)), (), (0, 1)),
        ((), ((DAYS[0], 0.3), (DAYS[1], 0.3)), (0, 1), ()),
        ((), ((DAYS[0], 0.6), (DAYS[1], 0.6)), (), (0, 1)),  # on the second day both rounds went on
        ((DAYS[0],), ((DAYS[1], 0.5),), (1,), (0,)),
        ((DAYS[1],), ((DAYS[0], 0.5),), (), (0, 1)),  # a whole round since then was on all trees
    ],
)
def test_the_rest_of_a_round_keeps_no_gap_to_its_part(
    done: tuple[date, ...], partly: tuple[tuple[date, float], ...],
    unfinished: tuple[int, ...], holding: tuple[int, ...],
) -> None:  # fmt: skip
    """Common practice, no source: the trees that were left out may be sprayed the next morning."""
    entry = MaterialRounds("oil", 3, 5, done=done, partly_done=partly)
    assert entry.days_unfinished == tuple(DAYS[number] for number in unfinished)
    assert entry.days_holding("oil") == tuple(DAYS[number] for number in holding)
    assert entry.days_holding("copper") == entry.days_done


def test_only_gaps_between_rounds_are_noted_as_short() -> None:
    parts = tuple((date(2025, 12, day), 0.5) for day in (1, 2, 4, 9))
    (note,) = Program((MaterialRounds("oil", 3, 5, partly_done=parts),)).notes()
    assert note == "oil: only 2 days between 2025-12-02 and 2025-12-04, 5 asked for"


def test_copper_is_counted_by_rounds_done_and_planned() -> None:
    entries = (
        MaterialRounds(
            "copper", 3, 5, metallic_copper_per_round_kg_ha=2.0, partly_done=((DAYS[0], 0.5),)
        ),
        MaterialRounds("oil", 3, 5),
    )
    program = Program(entries, metallic_copper_maximum_kg_ha=4.0)
    assert program.metallic_copper_kg_ha() == pytest.approx(1.0)
    assert program.metallic_copper_kg_ha((1, 3)) == pytest.approx(2.0)
    assert program.metallic_copper_kg_ha((2, 0)) == pytest.approx(4.0)
    assert program.visits_allowed == (2, 3)
    assert program.notes()[-1] == (
        "copper: the maximum of metallic copper, 4 kg/ha, leaves 2 of 3 owed"
    )


def copper_program(maximum: float, *entries: tuple[str, int, float, float]) -> Program:
    """Entries of (name, rounds, priority, metallic copper per round)."""
    rows = tuple(
        MaterialRounds(name, rounds, 5, priority=priority, metallic_copper_per_round_kg_ha=copper)
        for name, rounds, priority, copper in entries
    )
    return Program(rows, metallic_copper_maximum_kg_ha=maximum)


@pytest.mark.parametrize("seed", range(40))
def test_what_the_maxima_leave_is_the_most_of_all_that_they_allow(seed: int) -> None:
    rng = np.random.default_rng(seed)
    kg_ha = float(rng.integers(1, 8))
    program = copper_program(
        kg_ha,
        *((name, int(rng.integers(1, 6)), float(rng.choice([0.5, 1, 2])),
           float(rng.choice([0, 0.5, 1, 1.7]))) for name in "abcd"[: rng.integers(1, 5)]),
    )  # fmt: skip
    owed = [range(entry.visits_owed + 1) for entry in program.entries]
    fits = [v for v in product(*owed) if program.metallic_copper_kg_ha(v) <= kg_ha + 1e-9]
    weights = [entry.priority for entry in program.entries]
    most = max(sum(w * n for w, n in zip(weights, v, strict=True)) for v in fits)
    best = [v for v in fits if sum(w * n for w, n in zip(weights, v, strict=True)) == most]
    assert program.visits_allowed == max(best)
    # made is all that is allowed in whichever of the best ways
    assert all_made(program, np.transpose(fits)).tolist() == [visits in best for visits in fits]


def test_a_plan_makes_all_that_the_maxima_leave() -> None:
    program = copper_program(4.0, ("oil", 3, 1, 0), ("copper", 5, 1, 1), ("bordeaux", 2, 1, 1.5))
    made = plan_many(np.full((90, 3, 1), 0.5), program).rounds[:, 0]
    assert program.visits_allowed == (3, 4, 0)
    assert all_made(program, made)
    assert made.sum() == 7


def test_what_is_done_can_be_added_from_a_record() -> None:
    program = Program.of(oil=(3, 5), copper=(1, 5))
    done = program.with_done({"oil": [DAYS[1], DAYS[0]]}, {"copper": [(DAYS[2], 0.5)]})
    assert done.entries[0].done == (DAYS[0], DAYS[1])
    assert done.entries[1].partly_done == ((DAYS[2], 0.5),)
    assert program.entries[0].done == ()
    # a day that is there already counts once
    assert done.with_done({"oil": DAYS[:1]}, {"copper": [(DAYS[2], 0.5)]}) == done
    with pytest.raises(InputError, match=r"unknown material in what is done.*oil, copper.*sulfur"):
        program.with_done({"sulfur": [DAYS[0]]})


def test_days_may_be_midnights_as_tables_hold_them() -> None:
    assert MaterialRounds("oil", 1, 5, done=(datetime(2025, 12, 1),)).done == (DAYS[0],)


def test_notes_name_what_a_grower_should_know() -> None:
    entry = MaterialRounds("oil", 1, 5, done=(date(2025, 12, 1), date(2025, 12, 4)))
    assert Program((entry,)).notes() == (
        "oil: 2 rounds done, 1 asked for",
        "oil: only 3 days between 2025-12-01 and 2025-12-04, 5 asked for",
    )
    capped = MaterialRounds("oil", 3, 5, season_maximum=2)
    assert Program((capped,)).notes() == ("oil: the label's maxima leave 2 of 3 owed",)
    assert Program.of(oil=(3, 5), copper=(5, 5)).notes() == ()


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"material": " "}, "material out of range"),
        ({"rounds": 0}, "program, oil: rounds out of range; expected a whole number.*got 0"),
        ({"rounds": -2}, "rounds out of range"),
        ({"rounds": 2.5}, "rounds out of range"),
        ({"rounds": True}, "rounds out of range"),
        ({"least_days": 0}, "least_days out of range"),
        ({"least_days": 367}, "least_days out of range"),
        ({"priority": 0}, "priority out of range"),
        ({"priority": 1.005}, "in hundredths"),
        ({"priority": float("nan")}, "priority out of range"),
        ({"target": "bud swell"}, "target out of range; expected a list"),
        ({"last_stage": 100}, "BBCH 0 to 99"),
        ({"season_maximum": 0}, "season_maximum out of range"),
        ({"product_maximum": 3.0}, "product_maximum without product_per_round"),
        ({"metallic_copper_per_round_kg_ha": -1.0}, "0 or more kg/ha"),
        ({"done": ["2025-12-01"]}, "done out of range; expected a list of local days"),
        ({"done": [datetime(2025, 12, 1, tzinfo=UTC)]}, "done out of range"),
        ({"done": [DAYS[0], DAYS[0]]}, "a day stands twice in done.*2025-12-01"),
        ({"partly_done": [(DAYS[0], 1.0)]}, "share between 0 and 1"),
        ({"partly_done": [(DAYS[0], 0.0)]}, "share between 0 and 1"),
        ({"rounds": 0, "least_days": 0}, r"\(1\).*rounds.*\(2\).*least_days"),
    ],
)
def test_entries_that_cannot_be_used(change: dict[str, Any], match: str) -> None:
    with pytest.raises(InputError, match=match) as caught:
        MaterialRounds(**{"material": "oil", "rounds": 3, "least_days": 5, **change})
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"entries": ()}, "without materials"),
        ({"entries": ("oil",)}, "not an entry"),
        (
            {"entries": (MaterialRounds("oil", 1, 5), MaterialRounds("oil", 2, 5))},
            "a material stands twice.*'oil'",
        ),
        ({"between": -1}, "between out of range; expected whole days, 0 to 366; got -1"),
        ({"between": 367}, "between out of range"),
        ({"tank_mixes": (("oil", "soap"),)}, "unknown material in a tank mix; expected of oil"),
        ({"tank_mixes": (("oil",),)}, "two or more different materials"),
        ({"tank_mixes": (("oil", "oil"),)}, "two or more different materials"),
        ({"tank_mixes": "oil"}, "tank_mixes is no list"),
        ({"apart": (("oil", "copper"),)}, "apart; expected"),
        ({"apart": (("oil", "soap", 3),)}, "unknown pair of materials in apart"),
        ({"apart": (("oil", "copper", 3), ("copper", "oil", 4))}, "a pair stands twice"),
        ({"metallic_copper_maximum_kg_ha": 0}, "expected above 0"),
        ({"between": -1, "tank_mixes": (("oil",),)}, r"\(1\).*between.*\(2\).*tank mix"),
    ],
)
def test_programs_that_contradict_themselves(change: dict[str, Any], match: str) -> None:
    copper = MaterialRounds(
        "copper", 3, 5, metallic_copper_per_round_kg_ha=2.0, done=tuple(DAYS[:2])
    )
    with pytest.raises(InputError, match=match) as caught:
        Program(**{"entries": (MaterialRounds("oil", 1, 5), copper), **change})
    assert "\n" not in str(caught.value)


def test_the_short_form_reports_all_problems_at_once() -> None:
    with pytest.raises(
        InputError, match=r"\(1\) program, oil: rounds.*\(2\) program, copper: not a"
    ):
        Program.of(oil=(0, 5), copper=3)  # type: ignore[arg-type]


def test_a_program_not_begun_owes_all_of_it_whatever_was_done() -> None:
    begun = Program((MaterialRounds("oil", 3, 5, done=(DAYS[0],), partly_done=((DAYS[1], 0.5),)),))
    assert begun.not_begun() == Program.of(oil=(3, 5))


def test_the_day_of_what_failed_keeps_its_gap() -> None:
    whole = MaterialRounds("oil", 3, 5, done=(DAYS[0],), failed=((DAYS[0], 1.0),))
    part = MaterialRounds("oil", 3, 5, done=(DAYS[0],), failed=((DAYS[0], 0.3),))
    assert whole.days_holding("oil") == part.days_holding("oil") == (DAYS[0],)
    assert (whole.days_unfinished, part.days_unfinished) == ((), (DAYS[0],))
    again = MaterialRounds(
        "oil", 3, 5, done=(DAYS[0],), partly_done=((date(2025, 12, 3), 0.3),),
        failed=((DAYS[0], 0.3),),
    )  # fmt: skip
    assert again.days_unfinished == ()
    assert again.short_gaps == ((DAYS[0], date(2025, 12, 3)),)  # the same trees, 2 days later


@pytest.mark.parametrize("trip", [-0.1, float("nan"), "0.3"])
def test_a_visit_costs_a_number_of_rounds(trip: Any) -> None:
    entries = (MaterialRounds("oil", 2, 5),)
    assert Program(entries, visit_worth=0.3).visit_worth == 0.3
    with pytest.raises(InputError, match="visit_worth; expected 0 or more"):
        Program(entries, visit_worth=trip)

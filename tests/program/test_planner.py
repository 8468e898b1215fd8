from __future__ import annotations

from datetime import date
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraywindow.errors import InputError
from spraywindow.program.entry import MaterialRounds
from spraywindow.program.planner import may_spray, plan_many, plan_rounds
from spraywindow.program.program import Program
from tests.planner_oracle import best_levels

START = pd.Timestamp("2025-12-20")  # every calendar here runs over New Year
BOTH = Program.of(oil=(3, 5), copper=(5, 5), between=2)


def calendar(**margins: list[float]) -> pd.DataFrame:
    length = len(next(iter(margins.values())))
    return pd.DataFrame(margins, index=pd.date_range(START, periods=length)).astype(float)


def on(plan: pd.DataFrame) -> list[tuple[int, str]]:
    """The plan as (day number, material)."""
    return [((day - START).days, name) for day, name in zip(plan.date, plan.material, strict=True)]


def random_case(seed: int) -> tuple[pd.DataFrame, Program, pd.DataFrame | None, dict[str, Any]]:
    """A calendar whose mornings differ by material, and a program with a bit of everything."""
    rng = np.random.default_rng(seed)
    names = ["oil", "copper", "lime sulfur"][: rng.integers(1, 4)]
    days = pd.date_range(START, periods=int(rng.integers(8, 36)))
    shape = (len(days), len(names))
    margins = np.where(
        rng.random(shape) < rng.uniform(0.15, 0.7), rng.integers(0, 21, shape) / 20, np.nan
    )
    margins[rng.random(shape) < 0.1] = -0.25
    entries = []
    for name in names:
        done = rng.choice(50, size=int(rng.integers(0, 3)), replace=False) - 10
        entries.append(
            MaterialRounds(
                name,
                int(rng.integers(1, 6)),
                int(rng.integers(1, 9)),
                priority=float(rng.choice([1, 1, 2, 0.5, 1.25])),
                season_maximum=int(rng.integers(3, 6)) if rng.random() < 0.3 else None,
                metallic_copper_per_round_kg_ha=float(rng.choice([0, 1, 1.5])),
                done=tuple((START + pd.Timedelta(days=int(n))).date() for n in done)
                if rng.random() < 0.4
                else (),
            )
        )
    pairs = list(combinations(names, 2))
    between = int(rng.integers(1, 5)) if rng.random() < 0.85 else 0
    program = Program(
        tuple(entries),
        between,
        tuple(pair for pair in pairs if rng.random() < 0.4) if between else (),
        tuple((*pair, int(rng.integers(1, 11))) for pair in pairs if rng.random() < 0.2),
        float(rng.integers(6, 12)) if rng.random() < 0.3 else None,
    )
    nearness = pd.DataFrame(rng.integers(0, 5, shape) / 4, days, names)
    last = {
        name: days[int(rng.integers(0, len(days)))].date() for name in names if rng.random() < 0.3
    }
    table = pd.DataFrame(margins, days, names)
    return table, program, nearness if rng.random() < 0.6 else None, last


def reached(
    plan: pd.DataFrame, program: Program, nearness: pd.DataFrame | None
) -> tuple[int, int, int]:
    priority = {entry.material: round(entry.priority * 100) for entry in program.entries}
    near = 0
    if nearness is not None:
        rows = zip(plan.date, plan.material, strict=True)
        near = sum(round(nearness.loc[day, name] * 1000) for day, name in rows)
    return sum(map(priority.__getitem__, plan.material)), near, round(plan.margin.sum() * 1e5)


def keeps_its_limits(plan: pd.DataFrame, chances: pd.DataFrame, program: Program) -> bool:
    rows = list(zip(plan.date, plan.material, strict=True))
    done = [(pd.Timestamp(day), entry.material) for entry in program.entries for day in entry.done]
    pairs = [*combinations(rows, 2), *((row, before) for row in rows for before in done)]
    return (
        all(chances.loc[day, name] >= 0 for day, name in rows)
        and all(
            abs((later - day).days) >= program.days_between(name, other)
            or (day == later and name != other and {name, other} in map(set, program.tank_mixes))
            for (day, name), (later, other) in pairs
        )
        and all(
            list(plan.material).count(entry.material) <= max(0, entry.rounds - len(entry.done))
            for entry in program.entries
        )
    )


@pytest.mark.parametrize("block", range(10))
def test_every_level_equals_cp_sat(block: int) -> None:
    pytest.importorskip("ortools")
    for seed in range(block * 40, block * 40 + 40):
        chances, program, nearness, last = random_case(seed)
        plan = plan_rounds(chances, program, nearness=nearness, last_days=last)
        assert keeps_its_limits(plan, chances, program), seed
        expected = best_levels(
            chances, program, nearness, {k: pd.Timestamp(v) for k, v in last.items()}
        )
        assert reached(plan, program, nearness) == expected, seed


def test_four_materials_equal_cp_sat() -> None:
    pytest.importorskip("ortools")
    rng = np.random.default_rng(4)
    names = ["oil", "copper", "lime sulfur", "clay"]
    program = Program(
        tuple(map(MaterialRounds, names, (3, 4, 1, 2), (5, 5, 14, 6))), 2, (("oil", "copper"),)
    )
    for share in (0.1, 0.3):
        margins = np.where(rng.random((45, 4)) < share, rng.integers(0, 11, (45, 4)) / 10, np.nan)
        chances = calendar(**dict(zip(names, margins.T.tolist(), strict=True)))
        plan = plan_rounds(chances, program)
        assert reached(plan, program, None) == best_levels(chances, program)


def test_greedy_by_date_and_greedy_by_margin_both_lose_a_round() -> None:
    chances = calendar(oil=[0.2, np.nan, np.nan, 0.2], copper=[np.nan, 0.9, np.nan, np.nan])
    program = Program.of(oil=(2, 3), copper=(1, 3), between=2)
    # The earliest day bars copper on the next and still gives two rounds; copper first gives two;
    # with oil owed once, only leaving out the first day gives both.
    assert on(plan_rounds(chances, program)) == [(1, "copper"), (3, "oil")]
    once = Program.of(oil=(1, 3), copper=(1, 3), between=2)
    assert on(plan_rounds(chances, once)) == [(1, "copper"), (3, "oil")]
    alone = calendar(oil=[0.1, np.nan, 1.0, np.nan, np.nan, 0.1])
    assert on(plan_rounds(alone, Program.of(oil=(2, 5)))) == [(0, "oil"), (5, "oil")]


def test_one_round_more_beats_any_margin_and_nearness() -> None:
    chances = calendar(oil=[0.0, 1.0, np.nan, np.nan, np.nan, 0.0])
    near = calendar(oil=[0, 1, 0, 0, 0, 0])
    assert on(plan_rounds(chances, Program.of(oil=(2, 5)), nearness=near)) == [
        (0, "oil"),
        (5, "oil"),
    ]


def test_nearness_beats_margins_even_by_one_step() -> None:
    chances = calendar(oil=[1.0, 0.0])
    near = calendar(oil=[0.500, 0.501])
    assert on(plan_rounds(chances, Program.of(oil=(1, 5)), nearness=near)) == [(1, "oil")]
    assert on(plan_rounds(chances, Program.of(oil=(1, 5)))) == [(0, "oil")]


def test_a_gap_is_a_difference_of_dates() -> None:
    program = Program.of(oil=(2, 5))
    four_apart = calendar(oil=[1, np.nan, np.nan, np.nan, 1, np.nan])
    five_apart = calendar(oil=[1, np.nan, np.nan, np.nan, np.nan, 1])
    assert len(plan_rounds(four_apart, program)) == 1
    assert len(plan_rounds(five_apart, program)) == 2


def test_missing_days_of_the_index_count_for_the_gap() -> None:
    chances = calendar(oil=[1, np.nan, np.nan, np.nan, np.nan, 1]).dropna()
    assert len(plan_rounds(chances, Program.of(oil=(2, 5)))) == 2


def test_equal_plans_the_earliest_days_and_the_programs_order() -> None:
    chances = calendar(oil=[0.5] * 12, copper=[0.5] * 12)
    plan = plan_rounds(chances, Program.of(oil=(2, 5), copper=(2, 5), between=2))
    assert on(plan) == [(0, "oil"), (2, "copper"), (5, "oil"), (7, "copper")]


def test_priority_decides_which_round_is_lost() -> None:
    chances = calendar(oil=[1.0], copper=[0.1])
    entries = [MaterialRounds("oil", 1, 5), MaterialRounds("copper", 1, 5, priority=1.5)]
    assert on(plan_rounds(chances, Program(entries, 2))) == [(0, "copper")]  # type: ignore[arg-type]


def test_a_tank_mix_makes_one_visit_count_twice_at_the_lesser_margin() -> None:
    chances = calendar(oil=[0.3, 0.9], copper=[0.8, np.nan])
    mixed = Program.of(oil=(1, 5), copper=(1, 5), between=2, tank_mixes=[("oil", "copper")])
    plan = plan_rounds(chances, mixed)
    assert on(plan) == [(0, "oil"), (0, "copper")]
    assert list(plan.margin) == [0.3, 0.3]
    unmixed = Program.of(oil=(1, 5), copper=(1, 5), between=2)
    assert on(plan_rounds(chances, unmixed)) == [(1, "oil")]
    both_needed = calendar(oil=[0.3, 0.9], copper=[np.nan, -0.1])
    assert on(plan_rounds(both_needed, mixed)) == [(1, "oil")]


def test_no_days_between_lets_two_passes_share_a_day_each_with_its_margin() -> None:
    plan = plan_rounds(
        calendar(oil=[0.3], copper=[0.8]), Program.of(oil=(1, 5), copper=(1, 5), between=0)
    )
    assert dict(zip(plan.material, plan.margin, strict=True)) == {"oil": 0.3, "copper": 0.8}
    one_day = Program.of(oil=(1, 5), copper=(1, 5), between=1)
    assert len(plan_rounds(calendar(oil=[0.3], copper=[0.8]), one_day)) == 1


def test_what_is_done_counts_and_bars_the_days_around_it() -> None:
    program = BOTH.with_done({"oil": [date(2025, 12, 24)]})  # day 4
    free = may_spray(pd.date_range(START, periods=12), program)
    assert list(np.flatnonzero(~free[:, 0])) == list(range(0, 9))
    assert list(np.flatnonzero(~free[:, 1])) == [3, 4, 5]
    plan = plan_rounds(calendar(oil=[1] * 60, copper=[np.nan] * 60), program)
    assert on(plan)[0] == (9, "oil")
    assert len(plan) == 2


def test_a_round_begun_may_be_finished_the_next_day_and_the_next_round_waits() -> None:
    begun = BOTH.with_done({}, {"oil": [(date(2025, 12, 24), 0.5)]})  # day 4
    plan = plan_rounds(calendar(oil=[np.nan] * 5 + [1] * 7, copper=[np.nan] * 12), begun)
    assert on(plan) == [(5, "oil"), (10, "oil")]  # the rest, then a round five days after it
    assert list(np.flatnonzero(~may_spray(pd.date_range(START, periods=12), begun)[:, 1])) == [
        3,
        4,
        5,
    ]


def test_more_done_than_asked_for_leaves_nothing_to_do() -> None:
    program = Program.of(oil=(1, 5)).with_done({"oil": [date(2025, 12, 1), date(2025, 12, 9)]})
    plan = plan_rounds(calendar(oil=[1.0] * 20), program)
    assert plan.empty
    assert list(plan.columns) == ["date", "material", "margin"]


def test_a_last_day_is_the_last_allowed() -> None:
    chances = calendar(oil=[np.nan, np.nan, 0.1, 1.0])
    plan = plan_rounds(chances, Program.of(oil=(1, 5)), last_days={"oil": date(2025, 12, 22)})
    assert on(plan) == [(2, "oil")]


def test_metallic_copper_of_all_materials_together_caps_the_rounds() -> None:
    entries = [
        MaterialRounds("copper", 3, 1, metallic_copper_per_round_kg_ha=1.5),
        MaterialRounds("copper soap", 3, 1, metallic_copper_per_round_kg_ha=0.5),
    ]
    program = Program(tuple(entries), 1, metallic_copper_maximum_kg_ha=3.0)
    plan = plan_rounds(calendar(**{"copper": [1] * 9, "copper soap": [1] * 9}), program)
    # 3 × 0.5 leaves 1.5: one round of the strong one.
    assert plan.material.value_counts().to_dict() == {"copper soap": 3, "copper": 1}


def test_gaps_longer_than_the_season_allow_one_round_each() -> None:
    chances = calendar(oil=[0.1, 0.2, 0.3], copper=[0.3, 0.2, 0.1])
    plan = plan_rounds(chances, Program.of(oil=(3, 300), copper=(2, 200), between=2))
    assert on(plan) == [(0, "copper"), (2, "oil")]


def test_a_material_may_be_kept_further_from_one_than_from_the_rest() -> None:
    chances = calendar(**{"oil": [0, *[np.nan] * 29, 0, 0], "lime sulfur": [1] + [np.nan] * 31})
    program = Program.of(
        **{"oil": (1, 5), "lime sulfur": (1, 14)}, apart=[("lime sulfur", "oil", 31)]
    )
    assert on(plan_rounds(chances, program)) == [(0, "lime sulfur"), (31, "oil")]


def test_dates_and_midnights_are_read_alike() -> None:
    chances = calendar(oil=[0.5, np.nan, 0.7])
    by_date = chances.set_axis([day.date() for day in chances.index])
    assert on(plan_rounds(by_date, Program.of(oil=(1, 5)))) == [(2, "oil")]
    assert plan_rounds(chances.iloc[:0], Program.of(oil=(1, 5))).empty


def test_many_calendars_at_once_equal_one_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(5)
    chances = np.where(rng.random((60, 2, 12)) < 0.3, rng.random((60, 2, 12)), np.nan)
    plans = plan_many(chances, BOTH)
    monkeypatch.setattr("spraywindow.program.planner.MOST_CELLS", 100_000)
    in_parts = plan_many(chances, BOTH)
    assert (in_parts.made == plans.made).all()
    assert (in_parts.objective == plans.objective).all()
    for number in range(12):
        table = pd.DataFrame(
            chances[..., number], pd.date_range(START, periods=60), ["oil", "copper"]
        )
        plan = plan_rounds(table, BOTH)
        made = [
            ((START + pd.Timedelta(days=int(day))), BOTH.materials[material])
            for day, material in np.argwhere(plans.made[..., number])
        ]
        assert made == list(zip(plan.date, plan.material, strict=True))
        assert plans.objective[0, number] == len(plan) == plans.rounds[:, number].sum()


@pytest.mark.parametrize(
    ("chances", "match"),
    [
        (calendar(oil=[1.0]), "columns amiss.*oil, copper"),
        (pd.concat([calendar(oil=[1], copper=[1])] * 2, axis=1), "columns amiss"),
        (calendar(oil=[1.5], copper=[1.0]), "out of range.*1.5"),
        (calendar(oil=[1], copper=[1]).tz_localize("UTC"), "naive midnights"),
        (calendar(oil=[1], copper=[1]).shift(freq="3h"), "naive midnights"),
        (pd.concat([calendar(oil=[1], copper=[1])] * 2), "each once"),
        (calendar(oil=[1], copper=[1]).reset_index(drop=True), "no days"),
        (calendar(oil=[1], copper=[1]).astype(object).replace(1.0, "good"), "not a number"),
    ],
)
def test_tables_that_cannot_be_used(chances: pd.DataFrame, match: str) -> None:
    with pytest.raises(InputError, match=match):
        plan_rounds(chances, BOTH)


def test_other_bad_input() -> None:
    chances = calendar(oil=[1], copper=[1])
    with pytest.raises(InputError, match=r"last_days.*sulfur"):
        plan_rounds(chances, BOTH, last_days={"sulfur": date(2026, 1, 1)})
    with pytest.raises(InputError, match="nearness out of range"):
        plan_rounds(chances, BOTH, nearness=chances * 2)
    with pytest.raises(InputError, match=r"nearness out of range; expected 0 to 1; got -1\.0"):
        plan_rounds(chances, BOTH, nearness=-chances)
    many = {f"material {number}": (9, 5) for number in range(6)}
    table = calendar(**{name: [1.0] * 150 for name in many})
    with pytest.raises(InputError, match=r"too large a plan: 6 materials"):
        plan_rounds(table, Program.of(**many))


mornings = st.lists(
    st.tuples(*[st.sampled_from([np.nan, 0.0, 0.5, 1.0])] * 2), min_size=1, max_size=20
)


def rounds_made(rows: list[tuple[float, float]], program: Program) -> int:
    return int(plan_many(np.array(rows)[..., None], program).rounds.sum())


@given(mornings, st.data())
def test_one_chance_more_never_gives_fewer_rounds(
    rows: list[tuple[float, float]], data: st.DataObject
) -> None:
    day = data.draw(st.integers(0, len(rows) - 1))
    more = [*rows[:day], (0.0, 0.0), *rows[day + 1 :]]
    assert rounds_made(more, BOTH) >= rounds_made(rows, BOTH)


@given(mornings, st.integers(1, 6), st.integers(1, 6), st.integers(1, 4))
def test_a_wider_gap_never_gives_more_rounds(
    rows: list[tuple[float, float]], oil: int, copper: int, between: int
) -> None:
    base = rounds_made(rows, Program.of(oil=(3, oil), copper=(4, copper), between=between))
    for widened in (
        (oil + 1, copper, between),
        (oil, copper + 1, between),
        (oil, copper, between + 1),
    ):
        program = Program.of(oil=(3, widened[0]), copper=(4, widened[1]), between=widened[2])
        assert rounds_made(rows, program) <= base

"""The planner beside CP-SAT on winters of two materials: ratios, no absolute time."""

from __future__ import annotations

import time

import numpy as np
import pandas as pd
import pytest

from spraywindow.program.planner import plan_many, plan_rounds
from spraywindow.program.program import Program
from spraywindow.program.states import program_states
from spraywindow.program.values import value_to_go
from spraywindow.program.worth import Terms, Worth, climate_value, program_moves, worth
from tests.planner_oracle import best_levels

PROGRAM = Program.of(oil=(3, 5), copper=(5, 5), between=2)


def winters(count: int) -> np.ndarray:
    rng = np.random.default_rng(11)
    shape = (150, 2, count)
    return np.where(rng.random(shape) < 0.5, rng.random(shape), np.nan)


def test_winters_beside_cp_sat(benchmark, capsys: pytest.CaptureFixture[str]) -> None:  # type: ignore[no-untyped-def]
    pytest.importorskip("ortools")
    chances = winters(30)
    days = pd.date_range("2025-11-15", periods=150)
    tables = [pd.DataFrame(chances[..., n], days, PROGRAM.materials) for n in range(5)]
    best_levels(tables[0].iloc[:5], PROGRAM)  # the import of the solver is not its speed
    benchmark(plan_rounds, tables[0], PROGRAM)
    solver = np.median([_seconds(best_levels, table, PROGRAM) for table in tables])
    single = np.median([_seconds(plan_rounds, table, PROGRAM) for table in tables])
    batch = np.median([_seconds(plan_many, chances, PROGRAM) for _ in range(5)]) / 30
    with capsys.disabled():
        print(
            f"\nCP-SAT takes {solver / single:.0f} times as long for a winter alone, "
            f"{solver / batch:.0f} times as long as one of thirty planned together"
        )
    assert solver > single > batch


def test_values_of_thirty_winters(benchmark) -> None:  # type: ignore[no-untyped-def]
    states = program_states(PROGRAM, 150, calendars=30)
    values = benchmark(value_to_go, winters(30), states)
    assert values.shape == (151, states.count, 30)


def test_an_evening_beside_planning_the_winters(  # type: ignore[no-untyped-def]
    benchmark, capsys: pytest.CaptureFixture[str]
) -> None:
    chances = winters(30)
    terms = Terms.of(PROGRAM, owed_again=(0.3, 0.1))
    moves = program_moves(PROGRAM, 150, terms)

    def evening() -> Worth:
        beyond = climate_value(chances, moves, terms)
        return worth(chances[:5, ..., :1], beyond[5][:, None], moves, terms)

    found = benchmark(evening)
    assert found.values[0, 0, 0] > 5
    planned = np.median([_seconds(plan_many, chances, PROGRAM) for _ in range(5)])
    alone = np.median([_seconds(evening) for _ in range(5)])
    with capsys.disabled():
        print(f"\nan evening takes {alone / planned:.2f} of planning thirty winters with hindsight")
    assert alone < planned


def _seconds(function, *arguments) -> float:  # type: ignore[no-untyped-def]
    start = time.perf_counter()
    function(*arguments)
    return time.perf_counter() - start

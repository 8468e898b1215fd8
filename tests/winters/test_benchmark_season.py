"""A site's season over many winters: growth with winters and with known mornings, as ratios."""

from __future__ import annotations

import time

import numpy as np
import pandas as pd
import pytest

from spraywindow.program.worth import Terms, Worth, climate_value, program_moves, worth
from spraywindow.sources.demo.samples import DEMO_PLACE
from spraywindow.winters.outlook import season_outlook
from spraywindow.winters.past import past_season
from tests.season_values import ACCESS, FIRST, MATERIALS, NEED, PROGRAM
from tests.season_winters import many_winters


def outlook(table: pd.DataFrame):  # type: ignore[no-untyped-def]
    return season_outlook(
        table, DEMO_PLACE, PROGRAM, MATERIALS, first=FIRST, need=NEED, access=ACCESS
    )


def test_thirty_winters_of_two_materials(benchmark, capsys: pytest.CaptureFixture[str]) -> None:  # type: ignore[no-untyped-def]
    few, many = many_winters(15), many_winters(60)
    found = benchmark.pedantic(outlook, (many_winters(30),), rounds=2, warmup_rounds=1)
    assert found.finish_coming.n == 30
    ratio = _seconds(outlook, many) / _seconds(outlook, few)
    with capsys.disabled():
        print(f"\nfour times the winters take {ratio:.1f} times as long")
    assert ratio < 4 * 1.5


def test_an_evening_beside_scoring_the_winters(  # type: ignore[no-untyped-def]
    benchmark, capsys: pytest.CaptureFixture[str]
) -> None:
    days, count = 150, 30
    rng = np.random.default_rng(4)
    chances = np.where(rng.random((days, 2, count)) < 0.5, rng.random((days, 2, count)), np.nan)
    terms = Terms.of(PROGRAM, owed_again=(0.3, 0.1))
    moves = program_moves(PROGRAM, days, terms)

    def evening() -> Worth:
        beyond = climate_value(chances, moves, terms)
        return worth(chances[:5, ..., :1], beyond[5][:, None], moves, terms)

    assert benchmark(evening).values[0, 0, 0] > 5
    table = many_winters(count)
    scoring = _seconds(
        lambda: past_season(
            table, DEMO_PLACE, PROGRAM, MATERIALS, first=FIRST, need=NEED, access=ACCESS
        )
    )
    ratio = _seconds(evening) / scoring
    with capsys.disabled():
        print(f"\nan evening's value takes {ratio:.3f} of scoring thirty winters")
    assert ratio < 0.1


def _seconds(function, *arguments) -> float:  # type: ignore[no-untyped-def]
    spent = []
    for _ in range(3):
        begin = time.perf_counter()
        function(*arguments)
        spent.append(time.perf_counter() - begin)
    return min(spent)

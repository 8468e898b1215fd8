"""Rules beside each other, judged by what came after their rounds."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from spraywindow.season.backtest import (
    RuleResult,
    backtest,
    fixed_calendar,
    habit_rows,
    winter_rows,
)
from spraywindow.season.replay import ErrorModel, Foresight
from spraywindow.sources.samples import DEMO_PLACE
from tests.season_values import PROGRAM, season, winters


@pytest.fixture(scope="module")
def results() -> list[RuleResult]:
    return backtest(
        season(), winters(), DEMO_PLACE, PROGRAM, replays=[Foresight(), ErrorModel(seed=1)]
    )


def test_the_rules_are_all_there(results: list[RuleResult]) -> None:
    names = [result.name for result in results]
    assert names[0].startswith("this rule, 7 days known")
    assert names[2:] == ["fixed calendar", "first dry-looking day", "hindsight optimum"]


def test_what_cannot_be_wrong_has_no_false_go(results: list[RuleResult]) -> None:
    assert results[0].counts is None
    assert np.isnan(results[0].brier)
    counts = results[1].counts
    assert counts is not None
    assert counts.false_go > 0
    assert counts.missed_go > 0
    assert 0.0 < results[1].brier < 0.5


def test_rain_after_a_round_is_what_the_record_holds(results: list[RuleResult]) -> None:
    # plain sums over the record's own rows are the oracle
    block, used = season().block, season().used
    rain = winters()["rain_mm"]
    checked = 0
    for result in results:
        for day, which, column in np.argwhere(result.made)[::7]:
            hour = block.epoch_h[used[column]] + result.start[day, which, column]
            start = pd.Timestamp(int(hour) * 3600, unit="s", tz="UTC")
            for hours in (24, 48, 72):
                fell = rain.loc[start : start + pd.Timedelta(hours=hours - 1)].sum()
                wet = result.outcomes.rain[hours][day, which, column]
                assert wet == (round(fell, 3) >= 0.254), (result.name, start, hours, fell)
                checked += 1
    assert checked > 100


def test_rounds_stand_on_the_days_they_are_counted_on(results: list[RuleResult]) -> None:
    for result in results:
        day, which, column = np.nonzero(result.made)
        rows = result.start[day, which, column]
        assert (season().block.day[rows, np.array(season().used)[column]] == day).all()


def test_every_rule_keeps_the_gaps(results: list[RuleResult]) -> None:
    for result in results:
        for column in range(result.made.shape[2]):
            for which in (0, 1):
                days = np.flatnonzero(result.made[:, which, column])
                assert (np.diff(days) >= 5).all(), result.name
            both = np.sort(np.nonzero(result.made[:, :, column])[0])
            assert (np.diff(both) >= 2).all(), result.name


def test_hindsight_makes_the_most_usable_rounds(results: list[RuleResult]) -> None:
    assert (results[0].rounds <= results[-1].rounds).all()


def test_the_fixed_calendar_does_not_look_at_the_sky() -> None:
    made = fixed_calendar(season(), PROGRAM)
    first = made[:, :, 0]
    assert all((first == made[:, :, column])[:30].all() for column in range(made.shape[2]))


def test_late_morning_is_ten_local_time() -> None:
    block = season().block
    rows = habit_rows(block)
    assert (block.clock_h[rows, np.arange(rows.shape[1])] == 10).all()


def test_a_row_a_winter(results: list[RuleResult]) -> None:
    rows = winter_rows(results[0], season().labels)
    assert [row["winter"] for row in rows] == list(season().labels)
    assert sum(int(str(row["rounds"])) for row in rows) == int(results[0].rounds.sum())

"""Rules beside each other, judged by what came after their rounds."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.stats import ttest_rel

from spraywindow.errors import SprayWindowError
from spraywindow.jobs.backtest.answer import winter_rows
from spraywindow.program.planner import plan_many
from spraywindow.program.program import Program
from spraywindow.program.worth import Terms
from spraywindow.sources.demo.samples import DEMO_PLACE
from spraywindow.sources.past.archive import Archived
from spraywindow.spray.kernel import GO, NO_GO
from spraywindow.winters.evenings import advised, mornings_told
from spraywindow.winters.other_rules import (
    first_dry_day,
    fixed_calendar,
    habit_rows,
    most_effective,
    outcomes_after,
    washed_off,
)
from spraywindow.winters.outlook import span_days
from spraywindow.winters.past import past_season, within
from spraywindow.winters.replays import ErrorModel, Foresight
from spraywindow.winters.rules import (
    Against,
    PairedMean,
    RuleResult,
    Runs,
    as_turned_out,
    backtest,
    finished,
)
from tests.season_values import ACCESS, FIRST, MATERIALS, NEED, PROGRAM, season, winters


@pytest.fixture(scope="module")
def results() -> list[RuleResult]:
    return backtest(
        season(), winters(), DEMO_PLACE, PROGRAM, replays=[Foresight(), ErrorModel(seed=1)]
    )


def test_the_rules_are_all_there(results: list[RuleResult]) -> None:
    names = [result.name for result in results]
    assert names[0].startswith("this rule, 7 days known")
    assert names[2:] == [
        "fixed calendar", "first dry-looking day", "hindsight for rounds",
        "hindsight for effective rounds",
    ]  # fmt: skip


def test_what_cannot_be_wrong_has_no_false_go(results: list[RuleResult]) -> None:
    assert results[0].counts is None
    assert np.isnan(results[0].brier)
    counts = results[1].counts
    assert counts is not None
    assert counts.false_go > 0
    assert sum(each.false_go for each in results[1].counts_of) == counts.false_go
    assert sum(each.n for each in results[1].counts_of) == counts.n
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
    stand = results[0].stand.sum(axis=(0, 1))
    assert (stand <= results[-2].rounds).all()
    assert (results[-1].rounds <= results[-2].rounds).all()


def test_the_fixed_calendar_looks_at_the_working_days_only() -> None:
    habit = habit_rows(season())
    made = fixed_calendar(season(), PROGRAM, habit)
    for column, number in enumerate(season().used):
        start = season().block.starts[number]
        days = np.flatnonzero(made[:, :, column].any(axis=1))
        assert all((start.weekday() + day) % 7 != 6 for day in days)  # closed on Sundays
        assert days[0] == (1 if start.weekday() == 6 else 0)
        assert days[-1] < 35  # eight rounds, two days apart, five of one material


def test_the_dry_looking_day_has_no_rain_that_was_to_come_within_a_day() -> None:
    habit = habit_rows(season())
    made = first_dry_day(season(), PROGRAM, habit)
    block, rain = season().block, winters()["rain_mm"]
    assert made.any()
    for day, _, column in np.argwhere(made)[::5]:
        hour = int(block.epoch_h[season().used[column]] + habit[day, column])
        start = pd.Timestamp(hour * 3600, unit="s", tz="UTC")
        assert rain.loc[start : start + pd.Timedelta(hours=23)].sum() < 0.254


def test_late_morning_is_ten_local_time_and_never_a_day_off() -> None:
    block, habit = season().block, habit_rows(season())
    used = np.array(season().used)
    day, column = np.nonzero(habit >= 0)
    assert (block.clock_h[habit[day, column], used[column]] == 10).all()
    off, winter = np.nonzero(habit < 0)
    weekdays = np.array([block.starts[number].weekday() for number in used])
    assert set((weekdays[winter] + off) % 7) == {6}


def test_a_day_turned_out_good_or_not_or_the_record_cannot_tell() -> None:
    held, good = as_turned_out(season(), season().starts)
    np.testing.assert_array_equal(good == 1, np.isfinite(season().chances))
    np.testing.assert_array_equal(held == 1, good == 1)  # the day's best job, where it has one
    assert np.isnan(held[good != 1]).all()
    # a record without gaps tells nearly always: sometimes its two rules of wet wood disagree
    assert np.isnan(good).mean() < 0.02


def test_rain_within_a_longer_total_leaves_a_day_open() -> None:
    table = winters().loc["2015-09":"2016-08"].copy()
    known = past_season(table, DEMO_PLACE, PROGRAM, MATERIALS, first=FIRST, need=NEED,
                        access=ACCESS)  # fmt: skip
    twelve = table["rain_mm"].resample("12h").transform("sum")
    table["rain_total_mm"], table["rain_total_h"] = twelve, 12.0
    table["rain_total_hour"] = np.arange(len(table)) % 12.0
    table["rain_mm"] = np.where(twelve > 0, np.nan, 0.0)
    coarse = past_season(table, DEMO_PLACE, PROGRAM, MATERIALS, first=FIRST, need=NEED,
                         access=ACCESS)  # fmt: skip
    fine, rough = (as_turned_out(each, each.starts)[1] for each in (known, coarse))
    assert np.isnan(rough).sum() > 10
    told = ~np.isnan(rough) & ~np.isnan(fine)
    assert (rough[told] <= fine[told]).all()  # never good where the hours say no
    assert not (np.isnan(fine) & (rough == 1)).any()


def test_a_forecast_must_reach_the_dry_spell() -> None:
    # oil wants 72 h after the job of the next day
    assert mornings_told(Foresight(7), season().materials) == 4
    assert mornings_told(Foresight(4), season().materials) == 1
    with pytest.raises(SprayWindowError, match="3 days never tells 72 rain-free hours"):
        mornings_told(Foresight(3), season().materials)


@dataclass(frozen=True)
class SecretFuture:
    """A replay of a week that changes everything beyond it."""

    inner: Any
    name: str = "secret"
    measures: bool = True
    days: int = 7

    def covers(self, first_h: int, last_h: int) -> bool:
        return True

    def known(self, truth: Any, lead_h: Any, valid_h: Any) -> Any:
        late = (lead_h >= 24 * self.days)[:, None]
        stormy = {"rain_mm": 9.0, "temp_c": -9.0, "dew_point_c": -9.5, "wind_ms": 20.0}
        other = {n: np.where(late, stormy.get(n, 0.0), values) for n, values in truth.items()}
        return self.inner.known(other, lead_h, valid_h)


@pytest.mark.parametrize("inner", [Foresight(7), ErrorModel(seed=2)], ids=["days", "errors"])
def test_weather_after_the_hours_known_changes_no_decision(inner: Any) -> None:
    one, other, *_ = backtest(
        season(), winters(), DEMO_PLACE, PROGRAM, replays=[inner, SecretFuture(inner)]
    )
    np.testing.assert_array_equal(one.made, other.made)
    np.testing.assert_array_equal(one.start, other.start)


def test_the_season_after_a_day_changes_no_decision_up_to_it() -> None:
    # the record itself changed from 20 December 2019 on, and no winter comes after it
    table = winters().loc[:"2020-08"]
    changed = table.copy()
    changed.loc["2019-12-20":, "rain_mm"] = 3.0
    changed.loc["2019-12-20":, "temp_c"] -= 3.0
    changed.loc["2019-12-20":, "dew_point_c"] -= 3.0
    made = []
    for each in (table, changed):
        built = past_season(each, DEMO_PLACE, PROGRAM, MATERIALS, first=FIRST, need=NEED,
                            access=ACCESS)  # fmt: skip
        assert built.labels[-1] == "2019/20"
        made.append(backtest(built, each, DEMO_PLACE, PROGRAM)[0].made[..., -1])
    before = (dt.date(2019, 12, 20) - dt.date(2019, 12, 2)).days - 7  # a week is known
    np.testing.assert_array_equal(made[0][:before], made[1][:before])
    later = slice(before, min(map(len, made)))
    assert (made[0][later] != made[1][later]).any()


def test_no_rule_makes_more_copper_rounds_than_the_maximum_of_metallic_copper_allows() -> None:
    entries = tuple(
        replace(entry, metallic_copper_per_round_kg_ha=1.0 * (entry.material == "copper"))
        for entry in PROGRAM.entries
    )
    capped = Program(entries, PROGRAM.between, metallic_copper_maximum_kg_ha=4.0)
    built = past_season(winters(), DEMO_PLACE, capped, MATERIALS, first=FIRST, need=NEED,
                        access=ACCESS)  # fmt: skip
    for result in backtest(built, winters(), DEMO_PLACE, capped):
        assert result.made[:, 1].sum(axis=0).max() == 4, result.name
        assert finished(capped)(result) == (result.stand.sum(axis=(0, 1)) == 7).sum(), result.name


def archive(table: pd.DataFrame, holes: np.ndarray) -> Archived:
    """The record itself as its archived forecasts, but for some hours."""
    columns = {name: np.repeat(values.to_numpy()[:, None], 7, axis=1) for name, values
               in table.items()}  # fmt: skip
    for values in columns.values():
        values[holes] = np.nan
    return Archived(int(table.index[0].value // 3_600_000_000_000), columns)


def test_an_evening_that_could_not_tell_is_in_no_metric() -> None:
    table = winters()
    hole = np.zeros(len(table), dtype=bool)
    for year in range(2013, 2025):
        begin = table.index.get_loc(pd.Timestamp(year, 12, 20, tz="UTC"))
        hole[begin : begin + 72] = True
    whole, holed, *_ = backtest(
        season(), table, DEMO_PLACE, PROGRAM,
        replays=[archive(table, np.zeros(len(table), dtype=bool)), archive(table, hole)],
    )  # fmt: skip
    assert whole.counts is not None
    assert holed.counts is not None
    # what is never forecast wrong is missed for a forecast's frost alone, with or without holes
    assert holed.counts.unknown - whole.counts.unknown > 40
    assert holed.counts.missed_go <= whole.counts.missed_go
    assert holed.counts.n + holed.counts.unknown == whole.counts.n + whole.counts.unknown
    assert holed.brier == pytest.approx(whole.brier, abs=0.01)


def test_a_go_is_judged_at_the_hours_advised() -> None:
    # the hour before the day's best job, or none of its hours: the day alone would call both right
    whole = season()
    late = np.where(whole.starts >= 0, whole.starts + 1, -1)
    held, good = as_turned_out(whole, late)
    column = np.array(whole.used)
    verdicts = np.stack(
        [each[np.maximum(late[:, m], 0) + 1, column] for m, each in enumerate(whole.verdicts)],
        axis=1,
    )
    wrong = (good == 1) & (verdicts == NO_GO)
    assert wrong.sum() > 20
    assert (held[wrong] == 0).all()
    assert (held[(good == 1) & (verdicts == GO)] == 1).all()


def test_a_round_that_was_washed_off_is_not_finished(results: list[RuleResult]) -> None:
    calendar = results[2]
    assert (calendar.rounds == 8).all()
    lost = calendar.outcomes.lost.any(axis=(0, 1))
    assert lost.any()
    assert finished(PROGRAM)(calendar) == (~lost).sum()
    np.testing.assert_array_equal(
        calendar.outcomes.lost, calendar.made & washed_off(season(), calendar.start)
    )


def test_wet_wood_and_drift_are_told_of_the_rules_that_do_not_ask(
    results: list[RuleResult],
) -> None:
    # the words of the limits themselves, hour by hour, are the oracle
    dry = results[3]
    for which, material in enumerate(season().materials):
        margins = season().ahead_scores[which].margins
        hard = {limit.name for limit in material.limits if limit.kind == "hard"}
        for cause, names in {
            "wet_wood": {"wet wood"},
            "drift": {"wind", "gusts", "inversion"},
        }.items():
            told = dry.outcomes.outside_for[cause][:, which]
            for day, column in np.argwhere(dry.made[:, which]):
                rows = slice(dry.start[day, which, column], dry.start[day, which, column] + 2)
                number = season().used[column]
                broken = any((margins[name][rows, number] < 0).any() for name in names & hard)
                assert told[day, column] == broken
    assert dry.outcomes.outside_for["wet_wood"].any()
    assert dry.outcomes.outside_for["drift"].any()
    assert not results[-1].outcomes.outside_for["drift"].any()


def test_a_paired_difference_is_that_of_the_same_winters(results: list[RuleResult]) -> None:
    # scipy's paired t test is the oracle of the standard error: t is the mean over it
    ours, dry = results[1], results[3]
    found = Against.of(Runs([dry]), Runs([ours]))
    a, b = (each.outcomes.effective.sum(axis=(0, 1)) for each in (dry, ours))
    assert found.effective.mean == pytest.approx((a - b).mean())
    t = found.effective.mean / found.effective.standard_error
    assert t == pytest.approx(ttest_rel(a, b).statistic)
    assert found.rounds.mean == pytest.approx((dry.rounds - ours.rounds).mean())
    fewer = replace(dry, labels=dry.labels[2:], made=dry.made[..., 2:], start=dry.start[..., 2:])
    pairs = Against.of(Runs([fewer]), Runs([ours])).rounds
    assert pairs == PairedMean.of((dry.rounds - ours.rounds)[2:].astype(float))


def test_days_from_first_to_last_round() -> None:
    made = np.zeros((40, 2, 3), dtype=bool)
    made[[2, 9], 0, 0] = made[36, 1, 0] = True
    made[5, 1, 1] = True
    np.testing.assert_array_equal(span_days(made), [35.0, 1.0, np.nan])


def test_a_row_a_winter(results: list[RuleResult]) -> None:
    rows = winter_rows(results[0])
    assert [row.winter for row in rows] == list(season().labels)
    assert sum(row.rounds or 0 for row in rows) == int(results[0].rounds.sum())


def test_no_rule_makes_more_effective_rounds_than_hindsight_for_them(
    results: list[RuleResult],
) -> None:
    made, start = most_effective(season(), PROGRAM)
    best = outcomes_after(season(), made, start)
    assert (best.effective == made).all()
    assert not best.outside.any()
    go = np.stack([verdict == GO for verdict in season().verdicts])
    for result in results:
        # what the limits of the record's own hours allowed, and the dry hours followed
        rows, column = np.maximum(result.start, 0), np.array(season().used)
        allowed = np.stack(
            [go[m][rows[:, m], column] & go[m][rows[:, m] + 1, column] for m in (0, 1)], axis=1
        )
        good = result.made & allowed & result.outcomes.effective
        assert (good.sum(axis=(0, 1)) <= made.sum(axis=(0, 1))).all(), result.name


def test_the_advice_of_sure_evenings_is_hindsight_and_no_forecast_is_no_round() -> None:
    whole = season()
    days, _, winters = whole.chances.shape
    ahead = np.arange(days)[:, None] + np.arange(days)
    sure = np.where(whole.free[..., None] & (whole.starts >= 0), 1.0, np.nan)
    told = np.where((ahead < days)[..., None, None], sure[np.minimum(ahead, days - 1)], np.nan)
    terms = Terms.of(PROGRAM, rained_on=0.0, nearness=0.0)
    known = replace(
        whole, ending=replace(whole.ending, forecast=np.tile(whole.ending.actual, (days, 1, 1)))
    )
    made, start = advised(known, PROGRAM, told, whole.starts, terms)
    best = plan_many(within(whole.chances, whole.ending.actual), PROGRAM).made
    assert (made.sum(axis=(0, 1)) == best.sum(axis=(0, 1))).all()
    assert (start[made] == whole.starts[made]).all()
    assert (start[~made] == -1).all()
    nothing, _ = advised(known, PROGRAM, np.full((days, 3, 2, winters), np.nan), start, terms)
    assert not nothing.any()


def test_a_round_that_was_washed_off_goes_out_again() -> None:
    # every morning is offered with a chance, rain or not: oil is owed until three have held
    whole = season()
    habit = habit_rows(whole)
    start = np.repeat(habit[:, None], 2, axis=1)
    offered = np.where(start >= 0, 0.5, np.nan)[:, None]
    made, _ = advised(whole, PROGRAM, offered, start, Terms.usual(PROGRAM, whole.materials))
    lost = outcomes_after(whole, made, start).lost
    assert lost.any()
    stand = (made & ~lost).sum(axis=0)
    assert (stand <= np.array([[3], [5]])).all()
    assert (made.sum(axis=0)[0] > 3).any()
    for winter in range(made.shape[2]):
        assert (np.diff(np.flatnonzero(made[:, 0, winter])) >= 5).all()

"""Buds that were seen come first; behind them the bloom model, or the usual first flower."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from spraywindow.place import Place
from spraywindow.sources.demo.samples import DEMO_PLACE
from spraywindow.trees.bloom import DAYS_TO_FLOWER, STAGE_SHARES, stage_days
from spraywindow.trees.chill_and_heat import winter_sums
from spraywindow.trees.cultivar_groups import CULTIVAR_GROUPS
from spraywindow.trees.dormancy import CODES, StageDays, season_stages
from spraywindow.trees.flowering import Need
from spraywindow.trees.stages import Stage
from tests.season_values import NEED, winters

SUMS = winter_sums(winters()["temp_c"], DEMO_PLACE)
MARCH_20 = dt.date(2026, 3, 20)
USUAL = (3, 15)
SWELL, BURST, CLOSED, FLOWER = (CODES.index(code) for code in (51, 53, 55, 60))


def stages(
    *seen: tuple[int, dt.date], first: dt.date = MARCH_20, usual: bool = False, record=SUMS
) -> StageDays:
    """The demo's winters as seen from a day on, with what was seen by then."""
    columns = [n for n, start in enumerate(record.starts) if 2013 <= start.year < 2025]
    late = first.month < 7
    starts = [dt.date(record.starts[n].year + late, first.month, first.day) for n in columns]
    buds = next((Stage(code, day) for code, day in seen), None)
    need = Need(None, USUAL, buds) if usual else Need(NEED.trees, seen=buds)
    return season_stages(record, need, columns, starts, first, DEMO_PLACE)


def before(days: int, first: dt.date = MARCH_20) -> dt.date:
    return first - dt.timedelta(days=days)


@pytest.mark.parametrize("usual", [False, True])
@pytest.mark.parametrize("code", [0, 1, 9])
def test_buds_that_are_not_swelling_move_every_stage_behind_that_day(
    code: int, usual: bool
) -> None:
    plain, seen = stages(usual=usual), stages((code, before(1)), usual=usual)
    assert np.median(plain.actual[FLOWER]) < 0
    for days in (seen.actual, seen.forecast[0]):
        assert (days >= 0).all()  # later than the day before, on which somebody looked
        # from bud swell to the first flower it takes a week in the warmest March and three
        # weeks at large, from green tips as long as from bud burst (P)
        assert days[FLOWER].min() >= (4 if code == 9 else 7)
        assert np.median(days[FLOWER]) >= (7 if code == 9 else 10)
    assert (seen.bounds == [[0] * len(CODES), [np.inf] * len(CODES)]).all()


@pytest.mark.parametrize("usual", [False, True])
@pytest.mark.parametrize("code", [0, 1, 9])
def test_dormant_buds_early_in_winter_say_nothing_new(code: int, usual: bool) -> None:
    early = dt.date(2025, 12, 12)
    plain, seen = (stages(*which, first=early, usual=usual) for which in ((), ((code, early),)))
    np.testing.assert_array_equal(seen.actual[SWELL:], plain.actual[SWELL:])
    np.testing.assert_array_equal(seen.forecast[1:40], plain.forecast[1:40])


@pytest.mark.parametrize("usual", [False, True])
def test_a_stage_that_was_seen_is_over_and_the_next_one_is_not(usual: bool) -> None:
    found = stages((53, before(1)), usual=usual)
    for days in (found.actual, found.forecast[0]):
        assert (days[[SWELL, BURST]] <= -1).all()
        assert (days[CLOSED:] >= 0).all()
    assert found.bounds[:, BURST].tolist() == [-np.inf, -1]
    assert found.bounds[:, CLOSED].tolist() == [0, np.inf]


def test_the_usual_first_flower_brings_the_stages_before_it() -> None:
    first = dt.date(2025, 12, 2)
    found = stages(first=first, usual=True).quantiles[1]
    flower = (dt.date(2026, 3, 15) - first).days
    # days before the flower: common practice, no source
    for code, days in ((51, 21), (53, 14), (55, 10), (57, 7), (59, 3), (60, 0)):
        assert found[CODES.index(code)] == flower - days


def test_buds_that_were_seen_go_before_the_usual_first_flower() -> None:
    first = dt.date(2026, 2, 1)
    seen = stages((51, before(1, first)), first=first, usual=True)
    as_by_heat = stages((51, before(1, first)), first=first)
    # heat goes on from them, about three weeks (P), and not to 15 March
    assert 10 < np.median(seen.actual[FLOWER]) < 35
    assert abs(np.median(seen.actual[FLOWER]) - np.median(as_by_heat.actual[FLOWER])) <= 3
    assert seen.error_days == 5.0


def test_the_usual_days_are_those_of_the_shares_of_heat() -> None:
    # in the invented winters; the cultivar groups flower from early February to early April
    days = np.array(
        [
            np.median((reached := stage_days(SUMS, group))[:, -1:] - reached, axis=0)
            for group in CULTIVAR_GROUPS.values()
        ]
    )
    for code, of_groups in zip(STAGE_SHARES, days.T, strict=True):
        assert of_groups.min() - 2 <= DAYS_TO_FLOWER[code] <= of_groups.max()


def test_what_was_seen_in_another_season_is_refused() -> None:
    with pytest.raises(ValueError, match=r"2026-02-20 is of another season than 2026-12-02"):
        stages((60, dt.date(2026, 2, 20)), first=dt.date(2026, 12, 2))
    south = Place(-37.8, 21.4, 60.0, "Etc/GMT-2")
    need = Need(NEED.trees, seen=Stage(60, dt.date(2025, 12, 30)))
    with pytest.raises(ValueError, match="another season"):
        season_stages(SUMS, need, [0], [dt.date(2014, 6, 1)], dt.date(2026, 6, 1), south)


@pytest.mark.parametrize("seen", [Stage(51), Stage(97, MARCH_20), Stage(65, MARCH_20)])
def test_only_buds_with_their_day_count_as_seen(seen: Stage) -> None:
    with pytest.raises(ValueError, match="not buds that were seen on a day"):
        Need(NEED.trees, seen=seen)


def test_dormant_buds_hold_where_the_record_of_the_winter_says_otherwise() -> None:
    # a very warm end of winter, by whose heat all flowers opened in February
    again = winters().loc["2014-07-01":"2015-03-19"]
    again = again.set_axis(again.index + pd.DateOffset(years=11))
    table = pd.concat([winters(), again[~again.index.isin(winters().index)]]).sort_index()
    table.loc["2026-01-25":, "temp_c"] += 6.0
    record = winter_sums(table["temp_c"], DEMO_PLACE)
    assert "2025/26" in record.labels
    assert (stages(record=record).actual[FLOWER] < -20).all()
    assert (stages((0, before(1)), record=record).actual[FLOWER] > 5).all()

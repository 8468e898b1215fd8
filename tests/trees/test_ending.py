"""When a season ends: by the winter's own buds, behind what is known of the winter at hand."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from spraywindow.place import Place
from spraywindow.sources.demo.samples import DEMO_PLACE
from spraywindow.trees.bloom import STAGE_SHARES, forecast_stage_days, stage_days
from spraywindow.trees.chill_and_heat import WinterSums, winter_sums
from spraywindow.trees.dormancy import season_stages
from spraywindow.trees.flowering import Need
from spraywindow.trees.last_day import LastDay, endings, stop_stage
from spraywindow.trees.stages import Stage
from tests.season_values import NEED, winters

TABLE = winters()
JAN_13 = dt.date(2026, 1, 13)
FLOWER = list(STAGE_SHARES).index(60)


def sums(table: pd.DataFrame = TABLE) -> WinterSums:
    return winter_sums(table["temp_c"], DEMO_PLACE)


def with_winter_at_hand(until: str) -> pd.DataFrame:
    """The record and, behind it, the first of its winters again as that of 2025/26."""
    again = TABLE.loc["2013-09-01":"2014-08-31"]
    again = again.set_axis(again.index + pd.DateOffset(years=12))
    return pd.concat([TABLE, again[~again.index.isin(TABLE.index)]]).sort_index().loc[:until]


def calendars(of: WinterSums, first: dt.date) -> tuple[list[int], list[dt.date]]:
    columns = [n for n, start in enumerate(of.starts) if 2013 <= start.year < 2025]
    return columns, [dt.date(of.starts[n].year + 1, first.month, first.day) for n in columns]


def test_a_material_stops_at_the_next_stage_that_the_model_knows() -> None:
    assert [stop_stage(stage) for stage in (97, 0, 53, 54, 57, 59, 60, 65)] == [
        51, 51, 55, 55, 59, 60, 60, 60,
    ]  # fmt: skip


@pytest.mark.parametrize("until", ["2025-12-20", "2026-01-03", "2026-01-12"])
def test_the_winter_at_hand_comes_first_over_new_year(until: str) -> None:
    # a record may stop before New Year and the day before tomorrow; the year stays the same one
    known = sums(with_winter_at_hand(until))
    columns, starts = calendars(known, JAN_13)
    stages = season_stages(known, NEED, columns, starts, JAN_13, DEMO_PLACE)
    # the bloom model itself, going on with every other winter's temperatures: half of how far it
    # departs from its middle over the winters before
    current = known.labels.index("2025/26")
    ahead = forecast_stage_days(known, current, [known.known_days[current]], NEED.trees)[0]
    others = [n for n in range(len(known.starts)) if n != current and known.usable[n]]
    usual = np.median(stage_days(known, NEED.trees)[others], axis=0)
    half = (ahead[columns] - usual).T / 2
    wanted = half + usual[:, None] - known.day_number(JAN_13, current)
    inside = (half >= -21).all(axis=0) & (half <= 10).all(axis=0)  # else it is bounded
    assert inside.sum() >= 8
    # each winter is left out of its own middle
    np.testing.assert_allclose(stages.actual[:, inside], wanted[:, inside], atol=3)
    middle = np.median(wanted[FLOWER])
    assert 0 < middle < 90
    assert np.median(stages.forecast[0, FLOWER]) == pytest.approx(middle, abs=6)
    flowers = stages.flowering(JAN_13)
    assert flowers
    assert abs((flowers.day - JAN_13).days - middle) <= 1


def test_each_evening_ahead_knows_more_of_the_winter_that_comes() -> None:
    known = sums(with_winter_at_hand("2026-01-12"))
    columns, starts = calendars(known, JAN_13)
    stages = season_stages(known, NEED, columns, starts, JAN_13, DEMO_PLACE)
    off = np.abs(stages.forecast[:, FLOWER] - stages.actual[FLOWER])
    assert off[0].mean() > 1
    behind = [off[int(day) + 1 :, column] for column, day in enumerate(stages.actual[FLOWER])]
    # half of what the model still had to learn of late winters is left, of others nothing
    assert max(days.max(initial=0) for days in behind) <= 4
    assert np.median([days.mean() for days in behind if days.size]) < off[0].mean() / 2


def test_a_record_that_stopped_long_ago_says_nothing_of_the_winter_at_hand() -> None:
    known = sums()
    columns, starts = calendars(known, JAN_13)
    stages = season_stages(known, NEED, columns, starts, JAN_13, DEMO_PLACE)
    whole = season_stages(known, NEED, columns, starts, dt.date(2040, 1, 13), DEMO_PLACE)
    np.testing.assert_array_equal(stages.actual, whole.actual)


def test_a_stage_that_was_seen_counts_without_a_record_of_the_winter() -> None:
    known = sums()
    columns, starts = calendars(known, JAN_13)
    late, early = (
        season_stages(
            known, Need(NEED.trees, seen=Stage(code, dt.date(2026, 1, 9))), columns, starts, JAN_13,
            DEMO_PLACE,
        ).actual[FLOWER]
        for code in (51, 59)
    )  # fmt: skip
    assert (early < late).all()
    # a twentieth of the heat is left: flowers within some days
    assert early.max() < 15
    opened = season_stages(
        known, Need(NEED.trees, seen=Stage(60, JAN_13)), columns, starts, JAN_13, DEMO_PLACE
    )
    assert (opened.actual[FLOWER] == 0).all()


@pytest.mark.parametrize(
    ("flower", "first", "last"),
    [((2, 20), JAN_13, 37), ((2, 29), JAN_13, 45), ((2, 20), dt.date(2026, 3, 5), -14)],
)
def test_the_usual_flower_is_that_of_the_same_season(
    flower: tuple[int, int], first: dt.date, last: int
) -> None:
    known = sums()
    columns, starts = calendars(known, first)
    stages = season_stages(known, Need(None, flower), columns, starts, first, DEMO_PLACE)
    flowers = stages.flowering(first)
    assert flowers
    assert (flowers.day - first).days == last + 1
    off = endings(stages, [59]).actual[0] - last
    assert -21 <= off.min() < -2  # three weeks sooner at most, P
    assert 2 < off.max() <= 10  # and ten days later
    assert abs(np.median(off)) <= 1.5  # a leap day lies between


def test_the_usual_flower_of_the_south_lies_in_its_own_year() -> None:
    south = Place(-37.8, 21.4, 60.0, "Etc/GMT-2")
    moved = TABLE.set_axis(TABLE.index + pd.Timedelta(days=182))
    known = winter_sums(moved["temp_c"], south)
    starts = [dt.date(start.year, 6, 2) for start in known.starts]
    columns = list(range(len(starts)))
    found = season_stages(known, Need(None, (8, 20)), columns, starts, dt.date(2026, 6, 2), south)
    flowers = found.flowering(dt.date(2026, 6, 2))
    assert flowers
    assert flowers.day == dt.date(2026, 8, 20)


def test_without_another_winter_only_the_flowers_end_the_season() -> None:
    known = sums(TABLE.loc["2015-09-01":"2016-08-31"])
    stages = season_stages(
        known, NEED, [0], [dt.date(2015, 12, 2)], dt.date(2025, 12, 2), DEMO_PLACE
    )
    found = endings(stages, [59])
    assert np.isinf(found.forecast).all()
    assert np.isfinite(found.actual).all()


def test_a_record_that_stopped_in_autumn_says_too_little_of_the_winter() -> None:
    known = sums(with_winter_at_hand("2025-10-15"))
    assert "2025/26" in known.labels
    columns, starts = calendars(known, JAN_13)
    stages = season_stages(known, NEED, columns, starts, JAN_13, DEMO_PLACE)
    whole = season_stages(known, NEED, columns, starts, dt.date(2040, 1, 13), DEMO_PLACE)
    np.testing.assert_array_equal(stages.actual, whole.actual)


def test_last_days_have_a_range_that_is_wider_than_the_winters_alone() -> None:
    known = sums()
    columns, starts = calendars(known, JAN_13)
    found = endings(season_stages(known, NEED, columns, starts, JAN_13, DEMO_PLACE), [53, 59])
    for number, end in enumerate(found.last_days(JAN_13)):
        days = [(day - JAN_13).days for day in (end.low, end.last, end.high) if day]
        alone = np.quantile(found.actual[number], [0.1, 0.9], method="inverted_cdf")
        assert days[0] - 1 <= alone[0] < days[1] < alone[1] <= days[2] + 1
        assert days[2] - days[0] > alone[1] - alone[0] or number == 0  # oil ends early
    usual = season_stages(known, Need(None, (2, 20)), columns, starts, JAN_13, DEMO_PLACE)
    (end,) = endings(usual, [59]).last_days(JAN_13)
    assert end.last == dt.date(2026, 2, 19)
    # the winters' own spread and the normal error of 5 d (Drepper et al. 2020) beside it
    spread = float(np.hypot(np.std(usual.actual[FLOWER]), 5.0))
    assert end.high
    assert end.low
    assert (end.high - end.low).days == pytest.approx(2.56 * spread, rel=0.25)


def test_oil_ends_before_early_flowers_and_copper_by_its_own_stage() -> None:
    known = sums()
    columns, starts = calendars(known, JAN_13)
    stages = season_stages(known, Need(None, (2, 20)), columns, starts, JAN_13, DEMO_PLACE)
    oil, copper = endings(stages, [53, 59]).actual
    early = stages.quantiles[0, FLOWER]
    assert oil.max() == pytest.approx(
        early - 1, abs=3
    )  # of the other winters; else ten days before the flowers, also of the latest winter
    assert copper.max() > early + 10
    flowers = stages.flowering(JAN_13)
    assert flowers
    assert (flowers.low - JAN_13).days == pytest.approx(early, abs=0.5)


def test_no_last_day_lies_before_the_buds_that_were_seen() -> None:
    known = sums()
    columns, starts = calendars(known, JAN_13)
    need = Need(NEED.trees, seen=Stage(57, JAN_13 - dt.timedelta(days=1)))
    stages = season_stages(known, need, columns, starts, JAN_13, DEMO_PLACE)
    oil, copper = endings(stages, [53, 59]).last_days(JAN_13)
    assert oil.low
    assert oil.high
    assert copper.low
    assert oil.low <= oil.high < JAN_13 - dt.timedelta(days=1) <= copper.low


def test_a_last_day_that_is_not_known_has_no_date() -> None:
    known = sums()
    columns, starts = calendars(known, JAN_13)
    found = endings(season_stages(known, NEED, columns, starts, JAN_13, DEMO_PLACE), [59])
    nothing = replace(found, quantiles=np.full_like(found.quantiles, np.nan))
    assert nothing.last_days(JAN_13) == (LastDay(None, None, None),)

"""When a season ends: by the winter's own buds, behind what is known of the winter at hand."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from spraywindow.place import Place
from spraywindow.sources.demo.samples import DEMO_PLACE
from spraywindow.trees.bloom import STAGE_SHARES, date_quantiles, forecast_stage_days
from spraywindow.trees.chill_and_heat import WinterSums, winter_sums
from spraywindow.trees.dormancy import Need, season_stages
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
    # the bloom model itself, going on with every other winter's temperatures
    current = known.labels.index("2025/26")
    ahead = forecast_stage_days(known, current, [known.known_days[current]], NEED.trees)[0]
    wanted = ahead[columns].T - known.day_number(JAN_13, current)
    np.testing.assert_allclose(stages.actual, wanted)
    middle = date_quantiles(ahead[columns])[1] - known.day_number(JAN_13, current)
    assert 0 < middle[FLOWER] < 90
    assert stages.forecast[0, FLOWER] == pytest.approx(middle[FLOWER], abs=6)


def test_each_evening_ahead_knows_more_of_the_winter_that_comes() -> None:
    known = sums(with_winter_at_hand("2026-01-12"))
    columns, starts = calendars(known, JAN_13)
    stages = season_stages(known, NEED, columns, starts, JAN_13, DEMO_PLACE)
    off = np.abs(stages.forecast[:, FLOWER] - stages.actual[FLOWER])
    assert off[0].mean() > 2
    for column, flower in enumerate(stages.actual[FLOWER]):
        # once it is over, the day on which the first flower opened is known
        assert (off[int(flower) + 1 :, column] == 0).all()


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
            known, Need(NEED.trees, Stage(code, dt.date(2026, 1, 9))), columns, starts, JAN_13,
            DEMO_PLACE,
        ).actual[FLOWER]
        for code in (51, 59)
    )  # fmt: skip
    assert (early < late).all()
    # a twentieth of the heat is left: flowers within some days
    assert early.max() < 15
    opened = season_stages(
        known, Need(NEED.trees, Stage(60, JAN_13)), columns, starts, JAN_13, DEMO_PLACE
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
    stages = season_stages(known, Need(flower), columns, starts, first, DEMO_PLACE)
    found = endings(stages, [53, 59])
    wanted = {last, last - (first.month > 2)}  # a leap day lies between
    assert set(found.actual[1]) <= wanted
    assert (found.actual[1] - found.actual[0] == 10).all()  # buds closed, flowers open
    np.testing.assert_array_equal(found.forecast[0], found.actual)


def test_the_usual_flower_of_the_south_lies_in_its_own_year() -> None:
    south = Place(-37.8, 21.4, 60.0, "Etc/GMT-2")
    moved = TABLE.set_axis(TABLE.index + pd.Timedelta(days=182))
    known = winter_sums(moved["temp_c"], south)
    starts = [dt.date(start.year, 6, 2) for start in known.starts]
    columns = list(range(len(starts)))
    found = season_stages(known, Need((8, 20)), columns, starts, dt.date(2026, 6, 2), south)
    assert (found.actual[FLOWER] == 79).all()


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
        assert days[0] < alone[0] < days[1] < alone[1] < days[2]
    usual = season_stages(known, Need((2, 20)), columns, starts, JAN_13, DEMO_PLACE)
    (end,) = endings(usual, [59]).last_days(JAN_13)
    assert end.last == dt.date(2026, 2, 19)
    # the normal error of 5 d (Drepper et al. 2020): its 10-90 % range is 2.56 of it
    assert end.high
    assert end.low
    assert (end.high - end.low).days == pytest.approx(12.8, abs=4)


def test_no_last_day_lies_before_the_buds_that_were_seen() -> None:
    known = sums()
    columns, starts = calendars(known, JAN_13)
    need = Need(NEED.trees, Stage(57, JAN_13 - dt.timedelta(days=1)))
    stages = season_stages(known, need, columns, starts, JAN_13, DEMO_PLACE)
    oil, copper = endings(stages, [53, 59]).last_days(JAN_13)
    assert oil.low
    assert oil.high
    assert copper.low
    assert oil.low <= oil.high < JAN_13 - dt.timedelta(days=1) <= copper.low


def test_a_last_day_that_never_comes_or_is_not_known_has_no_date() -> None:
    known = sums()
    columns, starts = calendars(known, JAN_13)
    found = endings(season_stages(known, NEED, columns, starts, JAN_13, DEMO_PLACE), [59])
    never = replace(found, actual=np.full_like(found.actual, np.inf))
    assert never.last_days(JAN_13) == (LastDay(None, None, None),)
    nothing = replace(found, actual=found.actual[:, :0])
    assert nothing.last_days(JAN_13) == (LastDay(None, None, None),)

"""A site's report: which season is meant, what its blocks need, and what is next."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import InputError
from spraywindow.jobs.season.answer import SeasonAnswer, next_rounds, prospect
from spraywindow.jobs.season.text import SEASON_WORDS, season_text
from spraywindow.show.json import plain
from spraywindow.site.blocks import season_leaf_fall
from spraywindow.site.site import Site
from spraywindow.sources.demo.samples import DEMO_NOW, demo_forecast, demo_winters
from spraywindow.spray.hours import score_hours
from spraywindow.spray.slots import day_margins
from spraywindow.weather.table import known_at
from spraywindow.winters.outlook import season_outlook
from tests.page_values import demo_prospect, demo_site
from tests.season_values import late_winters as record
from tests.season_values import site

NOW = pd.Timestamp("2026-01-12 16:00", tz="UTC")


def with_season(**fields) -> Site:
    at_hand = site()
    return replace(at_hand, dates=at_hand.dates.model_copy(update=fields))


def with_rounds(**changes) -> Site:
    """The site with fields of every entry of its program changed."""
    at_hand = site()
    entries = tuple(replace(entry, **changes) for entry in at_hand.program.entries)
    return replace(at_hand, program=replace(at_hand.program, entries=entries))


def forecast() -> pd.DataFrame:
    return known_at(demo_forecast(), NOW)


@pytest.fixture(scope="module")
def at_hand() -> SeasonAnswer:
    return prospect(site(), record(), NOW, forecast=forecast())


def test_in_mid_season_day_0_is_tomorrow_and_the_flowering_block_is_out(
    at_hand: SeasonAnswer,
) -> None:
    assert at_hand.begun
    assert at_hand.outlook.season.first == dt.date(2026, 1, 13)
    assert at_hand.outlook.owed == 5
    assert at_hand.outlook.spliced
    assert [block.name for block in at_hand.in_flower] == ["the early apricots"]
    assert [[block.name for block in group.blocks] for group in at_hand.groups] == [["rows 1-4"]]


def test_what_is_next_is_what_the_forecast_tells(at_hand: SeasonAnswer) -> None:
    oil, copper = at_hand.upcoming
    assert (oil.material, oil.owed, copper.owed) == ("oil", 2, 3)
    assert oil.allowed == copper.allowed == dt.date(2026, 1, 13)
    for row in at_hand.upcoming:
        hours = score_hours(
            forecast(), site().place, site().material(row.material), setting=site().setting
        )
        margins = day_margins(hours, site().job_h, access=site().access)
        days = margins.index[margins.notna() & (margins.index >= pd.Timestamp(row.allowed))]
        assert row.morning == days[0].date()
        assert row.known_until is not None
        assert row.morning <= row.known_until < dt.date(2026, 1, 21)


def test_a_round_done_yesterday_bars_the_next_days() -> None:
    found = prospect(with_rounds(done=(dt.date(2026, 1, 11),)), record(), NOW, forecast=forecast())
    assert {row.allowed for row in found.upcoming} == {dt.date(2026, 1, 16)}
    assert all(row.morning is None or row.morning >= row.allowed for row in found.upcoming)


def test_without_a_forecast_no_morning_is_known(at_hand: SeasonAnswer) -> None:
    found = prospect(site(), record(), NOW)
    assert [row.allowed for row in found.upcoming] == [row.allowed for row in at_hand.upcoming]
    assert {(row.morning, row.known_until) for row in found.upcoming} == {(None, None)}
    assert not found.outlook.spliced


def test_before_leaf_fall_the_season_begins_with_it() -> None:
    early = with_rounds(done=())
    found = prospect(early, record(), pd.Timestamp("2025-10-20", tz="UTC"), forecast=forecast())
    assert not found.begun
    assert found.outlook.season.first == dt.date(2025, 12, 2)
    assert found.upcoming == ()
    assert not found.outlook.spliced
    assert len(found.groups) == 2


@pytest.mark.parametrize("day", ["2026-04-20", "2026-05-30"])
def test_a_season_that_has_ended_gives_way_to_the_next(day: str) -> None:
    found = prospect(site(), record(), pd.Timestamp(day, tz="UTC"))
    assert found.ended == dt.date.fromisoformat(day) + dt.timedelta(days=1)
    assert not found.begun
    assert found.outlook.season.first == dt.date(2026, 12, 2)
    assert found.outlook.owed == 8  # what was done belongs to the season that is over
    assert len(found.groups) == 2


def test_the_usual_flower_ends_the_season_too() -> None:
    usual = with_season(usual_first_flower=(2, 25))
    found = prospect(usual, record(), pd.Timestamp("2026-03-10", tz="UTC"))
    assert found.ended == dt.date(2026, 3, 11)
    before = prospect(usual, record(), NOW)
    assert before.ended is None
    assert before.outlook.last == dt.date(2026, 2, 24)


def test_blocks_that_are_over_do_not_end_it_for_the_others() -> None:
    rows, apricots = site().blocks
    blocks = (
        rows.model_copy(update={"stage": 59, "observed": dt.date(2025, 12, 20), "trees": 90}),
        apricots.model_copy(update={"stage": None, "observed": None}),
    )
    found = prospect(replace(site(), blocks=blocks), record(), NOW)
    assert found.ended is None
    assert [block.name for block in found.groups[0].blocks] == ["the early apricots"]
    assert any(note.startswith("rows 1-4: the season") for note in found.notes)


def with_rows(stage: int, seen: str, **season) -> Site:
    """The site with its rows alone, their buds seen on a day."""
    rows = (
        site()
        .blocks[0]
        .model_copy(update={"stage": stage, "observed": dt.date.fromisoformat(seen)})
    )
    return replace(with_season(**season), blocks=(rows,))


def test_buds_of_last_winter_say_nothing_of_the_next() -> None:
    unseen = site().blocks[0].model_copy(update={"stage": None, "observed": None})
    after = pd.Timestamp("2026-04-20 18:00", tz="UTC")
    plain = prospect(replace(site(), blocks=(unseen,)), record(), after)
    for stage in (59, 60):
        found = prospect(with_rows(stage, "2026-02-20"), record(), after)
        assert found.outlook.season.first == dt.date(2026, 12, 2)
        np.testing.assert_array_equal(
            found.outlook.season.ending.actual, plain.outlook.season.ending.actual
        )
        assert found.outlook.ends == plain.outlook.ends
        assert not any("seen" in note for note in found.notes)


@pytest.mark.parametrize("usual", [None, (3, 15)])
@pytest.mark.parametrize("stage", [0, 1, 9, 51])
def test_a_season_is_not_over_while_the_buds_are_seen_closed(
    stage: int, usual: tuple[int, int] | None
) -> None:
    now = pd.Timestamp("2026-03-20 18:00", tz="UTC")
    found = prospect(with_rows(stage, "2026-03-19", usual_first_flower=usual), record(), now)
    assert found.ended is None
    assert found.begun
    for end in found.outlook.ends.values():
        assert end.last
        assert end.last > dt.date(2026, 3, 21)
    assert any("was seen on Thu 19 Mar; later stages" in note for note in found.notes)


@pytest.mark.parametrize("stage", [0, 1, 9, 51])
def test_buds_seen_long_ago_do_not_keep_the_season_open(stage: int) -> None:
    # by the usual date all flowers are open
    now = pd.Timestamp("2026-03-20 18:00", tz="UTC")
    rows = with_rows(stage, "2026-01-10", usual_first_flower=(2, 20))
    assert prospect(rows, record(), now).ended == dt.date(2026, 3, 21)


def test_a_fresh_look_goes_before_a_forecast_that_the_flowers_are_open() -> None:
    now = pd.Timestamp("2026-03-20 18:00", tz="UTC")
    for seen, ended in (("2026-03-13", None), ("2026-03-12", dt.date(2026, 3, 21))):
        found = prospect(with_rows(59, seen), record(), now)
        assert found.ended == ended
        assert any("look again" in note for note in found.notes) == (ended is None)


def test_with_a_usual_first_flower_oil_stops_at_its_own_stage() -> None:
    usual = with_season(usual_first_flower=(2, 25))
    found = prospect(usual, record(), NOW)
    oil, copper = found.outlook.ends["oil"], found.outlook.ends["copper"]
    # flower buds stand closed ten days before the flower (P), and oil may go on up to bud burst,
    # but not to where flowers may be open
    flowers = found.outlook.season.flowering
    assert flowers
    early = flowers.low - dt.timedelta(days=1)
    assert oil.last == min(dt.date(2026, 2, 14), early)
    assert copper.last == dt.date(2026, 2, 24)
    assert any(
        "taken before the first flower: bud swell 21 days, flower buds closed 10 days" in note
        for note in found.notes
    )
    # oil belongs to bud swell, 21 days before, shifted with the winters by three weeks at most
    aims = found.outlook.season.near.aims[0] - (dt.date(2026, 2, 4) - dt.date(2026, 1, 13)).days
    assert -21 <= aims.min() < aims.max() <= 10
    assert abs(np.median(aims)) <= 1
    seen = prospect(with_rows(51, "2026-01-11", usual_first_flower=(2, 25)), record(), NOW)
    # what was seen goes before the usual date: heat is counted on from there
    sooner = seen.outlook.ends["copper"].last
    assert sooner
    assert sooner < dt.date(2026, 2, 20)


@pytest.mark.parametrize("now", ["2024-09-01 18:00", "2025-01-13 18:40", "2025-04-20 06:00"])
def test_what_the_record_holds_after_now_changes_nothing(now: str) -> None:
    at = pd.Timestamp(now, tz="Europe/Athens")
    early = replace(
        with_season(leaf_fall=None, usual_leaf_fall=(12, 2)),
        program=with_rounds(done=()).program,
    )
    known = record().loc[: at.tz_convert("UTC").floor("h") - pd.Timedelta(hours=1)]
    whole, cut = (prospect(early, table, at) for table in (record(), known))
    for one, other in zip(whole.groups, cut.groups, strict=True):
        np.testing.assert_equal(
            *(plain(replace(each, groups=(group,)), SEASON_WORDS)
              for each, group in ((whole, one), (cut, other)))
        )  # fmt: skip
    # in April the winter just past is one of those that the next season goes by
    assert whole.outlook.season.labels[-1] == ("2024/25" if at.month == 4 else "2023/24")


def test_an_hour_that_has_not_ended_is_not_known(monkeypatch: pytest.MonkeyPatch) -> None:
    tables = []

    def told(table: pd.DataFrame, *args, **kwargs):
        tables.append(table)
        return season_outlook(table, *args, **kwargs)

    monkeypatch.setattr("spraywindow.jobs.season.answer.season_outlook", told)
    prospect(with_rounds(done=()), record(), pd.Timestamp("2024-09-01 18:40", tz="Europe/Athens"))
    assert {table.index[-1] for table in tables} == {pd.Timestamp("2024-09-01 14:00", tz="UTC")}


def test_a_record_that_begins_after_now_has_no_past_winter() -> None:
    with pytest.raises(InputError, match=r"no past winter.*before 2010-01-12; got '2021-"):
        prospect(with_rounds(done=()), record(), pd.Timestamp("2010-01-12", tz="UTC"))


def test_no_leaf_fall_is_refused_with_the_cure() -> None:
    with pytest.raises(InputError, match=r"no leaf fall.*usual_leaf_fall"):
        prospect(with_season(leaf_fall=None, usual_leaf_fall=None), record(), NOW)


def test_a_leaf_fall_of_another_year_stands_for_the_usual_one() -> None:
    assert season_leaf_fall(site(), dt.date(2023, 7, 1)) == dt.date(2023, 12, 2)
    leap = with_season(leaf_fall=None, usual_leaf_fall=(2, 29))
    assert season_leaf_fall(leap, dt.date(2025, 1, 1)) == dt.date(2025, 2, 28)


def test_a_program_that_no_winter_holds_says_by_how_much() -> None:
    found = prospect(with_rounds(rounds=30, done=()), record(), NOW)
    best = int(found.outlook.rounds_hindsight.max())
    assert found.outlook.owed == 60
    assert any(f"have made {best} of 60 rounds, {60 - best} short" in note for note in found.notes)


def test_more_done_than_asked_for_owes_nothing() -> None:
    done = tuple(dt.date(2025, 12, 3) + dt.timedelta(days=7 * week) for week in range(5))
    found = prospect(with_rounds(rounds=3, done=done), record(), NOW, forecast=forecast())
    assert found.outlook.owed == 0
    assert found.upcoming == ()
    assert found.outlook.finish_coming.share == 1.0


def test_trees_that_never_get_their_chill_are_named() -> None:
    rows = site().blocks[0].model_copy(update={"chill": "peach"})
    warm = record().copy()
    warm[["temp_c", "dew_point_c"]] += 8.0
    found = prospect(replace(site(), blocks=(rows,)), warm, NOW)
    assert np.isfinite(found.outlook.season.ending.actual).all()
    assert any("do not get the chill or heat" in note for note in found.notes)


def test_another_dry_spell_changes_the_oil_only(at_hand: SeasonAnswer) -> None:
    found = prospect(site(), record(), NOW, forecast=forecast(), dry_spell_h=48.0)
    more = found.outlook.usable - at_hand.outlook.usable
    assert more[0].sum() > 0
    assert (more[1] == 0).all()


def test_no_next_day_is_allowed_after_the_end_of_the_season() -> None:
    short = with_season(usual_first_flower=(1, 15))
    entries = tuple(replace(entry, done=(dt.date(2026, 1, 11),)) for entry in short.program.entries)
    rows = short.blocks[0].model_copy(update={"stage": None, "observed": None})
    done = replace(short, program=replace(short.program, entries=entries), blocks=(rows,))
    found = prospect(done, record(), NOW, forecast=forecast())
    assert [(row.allowed, row.morning) for row in found.upcoming] == [(None, None)] * 2


def test_the_end_as_forecast_today_counts_and_not_the_latest_winter(at_hand: SeasonAnswer) -> None:
    season, program = at_hand.outlook.season, with_rounds(done=(dt.date(2026, 1, 11),)).program
    barred = replace(season, free=np.repeat(np.arange(len(season.free)) >= 3, 2).reshape(-1, 2))
    for last, allowed in ((2.0, None), (3.0, dt.date(2026, 1, 16))):
        ending = replace(season.ending, forecast=np.full(season.ending.forecast.shape, last))
        rows = next_rounds(site(), program, replace(barred, ending=ending), None)
        assert {row.allowed for row in rows} == {allowed}


def test_a_forecast_file_that_runs_on_counts_as_far_as_an_evening_looks() -> None:
    """Months of a file after the forecast are no forecast: the report and the season agree."""
    ahead = demo_forecast()
    index = pd.date_range(ahead.index[-1] + pd.Timedelta(hours=1), periods=24 * 60, freq="h")
    on = pd.DataFrame(ahead.iloc[-1].to_dict(), index=index).assign(rain_mm=9.0)
    long = pd.concat([ahead, on])
    long.attrs = ahead.attrs
    found, cut = (
        prospect(demo_site(), demo_winters(), DEMO_NOW, forecast=table)
        for table in (long, known_at(long, DEMO_NOW))
    )
    np.testing.assert_array_equal(found.outlook.usable, cut.outlook.usable)
    assert (found.outlook.usable.sum(axis=1) > 0).all()


def test_the_headline_names_the_blocks_that_it_speaks_of() -> None:
    assert season_text(demo_prospect()).startswith("Varkessa Bank, rows 1-4: do the ")

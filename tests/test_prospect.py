"""A site's report: which season is meant, what its blocks need, and what is next."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import InputError
from spraywindow.orchard.next_rounds import next_rounds
from spraywindow.orchard.prospect import Prospect, prospect, season_leaf_fall
from spraywindow.orchard.site import Site
from spraywindow.sources.samples import demo_forecast
from spraywindow.spray.days import day_margins
from spraywindow.spray.hours import score_hours
from spraywindow.weather.hourly import known_at
from tests.season_values import site, winters

NOW = pd.Timestamp("2026-01-12 16:00", tz="UTC")


def with_season(**fields) -> Site:
    at_hand = site()
    return at_hand.model_copy(update={"season": at_hand.season.model_copy(update=fields)})


def with_rounds(**changes) -> Site:
    """The site with fields of every entry of its program changed."""
    at_hand = site()
    entries = tuple(replace(entry, **changes) for entry in at_hand.program.entries)
    return at_hand.model_copy(update={"program": replace(at_hand.program, entries=entries)})


def forecast() -> pd.DataFrame:
    return known_at(demo_forecast(), NOW)


@pytest.fixture(scope="module")
def at_hand() -> Prospect:
    return prospect(site(), winters(), NOW, forecast=forecast())


def test_in_mid_season_day_0_is_tomorrow_and_the_flowering_block_is_out(at_hand: Prospect) -> None:
    assert at_hand.begun
    assert at_hand.outlook.season.first == dt.date(2026, 1, 13)
    assert at_hand.outlook.owed == 5
    assert at_hand.outlook.spliced
    assert [block.name for block in at_hand.in_flower] == ["the early apricots"]
    assert [[block.name for block in group.blocks] for group in at_hand.groups] == [["rows 1-4"]]


def test_what_is_next_is_what_the_forecast_tells(at_hand: Prospect) -> None:
    oil, copper = at_hand.upcoming
    assert (oil.material, oil.owed, copper.owed) == ("oil", 2, 3)
    assert oil.allowed == copper.allowed == dt.date(2026, 1, 13)
    for row in at_hand.upcoming:
        hours = score_hours(
            forecast(), site().place, site().material(row.material), setting=site().setting
        )
        margins = day_margins(hours, site().crew.job, access=site().access)
        days = margins.index[margins.notna() & (margins.index >= pd.Timestamp(row.allowed))]
        assert row.morning == days[0].date()
        assert row.known_until is not None
        assert row.morning <= row.known_until < dt.date(2026, 1, 21)


def test_a_round_done_yesterday_bars_the_next_days() -> None:
    found = prospect(with_rounds(done=(dt.date(2026, 1, 11),)), winters(), NOW, forecast=forecast())
    assert {row.allowed for row in found.upcoming} == {dt.date(2026, 1, 16)}
    assert all(row.morning is None or row.morning >= row.allowed for row in found.upcoming)


def test_without_a_forecast_no_morning_is_known(at_hand: Prospect) -> None:
    found = prospect(site(), winters(), NOW)
    assert [row.allowed for row in found.upcoming] == [row.allowed for row in at_hand.upcoming]
    assert {(row.morning, row.known_until) for row in found.upcoming} == {(None, None)}
    assert not found.outlook.spliced


def test_before_leaf_fall_the_season_begins_with_it() -> None:
    early = with_rounds(done=())
    found = prospect(early, winters(), pd.Timestamp("2025-10-20", tz="UTC"), forecast=forecast())
    assert not found.begun
    assert found.outlook.season.first == dt.date(2025, 12, 2)
    assert found.upcoming == ()
    assert not found.outlook.spliced
    assert len(found.groups) == 2


@pytest.mark.parametrize("day", ["2026-04-20", "2026-05-30"])
def test_a_season_that_has_ended_gives_way_to_the_next(day: str) -> None:
    found = prospect(site(), winters(), pd.Timestamp(day, tz="UTC"))
    assert found.ended == dt.date.fromisoformat(day) + dt.timedelta(days=1)
    assert not found.begun
    assert found.outlook.season.first == dt.date(2026, 12, 2)
    assert found.outlook.owed == 8  # what was done belongs to the season that is over
    assert len(found.groups) == 2


def test_the_usual_flower_ends_the_season_too() -> None:
    usual = with_season(usual_first_flower=(2, 25))
    found = prospect(usual, winters(), pd.Timestamp("2026-03-10", tz="UTC"))
    assert found.ended == dt.date(2026, 3, 11)
    before = prospect(usual, winters(), NOW)
    assert before.ended is None
    assert before.outlook.last == dt.date(2026, 2, 24)


def test_blocks_that_are_over_do_not_end_it_for_the_others() -> None:
    rows, apricots = site().blocks
    blocks = (
        rows.model_copy(update={"stage": 59, "observed": dt.date(2025, 12, 20), "trees": 90}),
        apricots.model_copy(update={"stage": None, "observed": None}),
    )
    found = prospect(site().model_copy(update={"blocks": blocks}), winters(), NOW)
    assert found.ended is None
    assert [block.name for block in found.groups[0].blocks] == ["the early apricots"]
    assert any(note.startswith("rows 1-4: the season") for note in found.notes)


def test_no_leaf_fall_is_refused_with_the_cure() -> None:
    with pytest.raises(InputError, match=r"no leaf fall.*usual_leaf_fall"):
        prospect(with_season(leaf_fall=None, usual_leaf_fall=None), winters(), NOW)


def test_a_leaf_fall_of_another_year_stands_for_the_usual_one() -> None:
    assert season_leaf_fall(site(), dt.date(2023, 7, 1)) == dt.date(2023, 12, 2)
    leap = with_season(leaf_fall=None, usual_leaf_fall=(2, 29))
    assert season_leaf_fall(leap, dt.date(2025, 1, 1)) == dt.date(2025, 2, 28)


def test_a_program_that_no_winter_holds_says_by_how_much() -> None:
    found = prospect(with_rounds(rounds=30, done=()), winters(), NOW)
    best = int(found.outlook.rounds_hindsight.max())
    assert found.outlook.owed == 60
    assert any(f"held {best} of 60 rounds, {60 - best} short" in note for note in found.notes)


def test_more_done_than_asked_for_owes_nothing() -> None:
    done = tuple(dt.date(2025, 12, 3) + dt.timedelta(days=7 * week) for week in range(5))
    found = prospect(with_rounds(rounds=3, done=done), winters(), NOW, forecast=forecast())
    assert found.outlook.owed == 0
    assert found.upcoming == ()
    assert found.outlook.finish_coming.share == 1.0


def test_trees_that_never_get_their_chill_are_named() -> None:
    rows = site().blocks[0].model_copy(update={"chill": "peach"})
    warm = winters().copy()
    warm[["temp_c", "dew_point_c"]] += 8.0
    found = prospect(site().model_copy(update={"blocks": (rows,)}), warm, NOW)
    assert np.isinf(found.outlook.season.ending.turned_out).any()
    assert any("do not get the chill or heat" in note for note in found.notes)


def test_another_dry_spell_changes_the_oil_only(at_hand: Prospect) -> None:
    found = prospect(site(), winters(), NOW, forecast=forecast(), dry_spell_h=48.0)
    more = found.outlook.usable - at_hand.outlook.usable
    assert more[0].sum() > 0
    assert (more[1] == 0).all()


def test_no_next_day_is_allowed_after_the_end_of_the_season() -> None:
    short = with_season(usual_first_flower=(1, 15))
    entries = tuple(replace(entry, done=(dt.date(2026, 1, 11),)) for entry in short.program.entries)
    done = short.model_copy(update={"program": replace(short.program, entries=entries)})
    found = prospect(done, winters(), NOW, forecast=forecast())
    assert [(row.allowed, row.morning) for row in found.upcoming] == [(None, None)] * 2


def test_the_end_as_forecast_today_counts_and_not_the_latest_winter(at_hand: Prospect) -> None:
    season, program = at_hand.outlook.season, with_rounds(done=(dt.date(2026, 1, 11),)).program
    barred = replace(season, free=np.repeat(np.arange(len(season.free)) >= 3, 2).reshape(-1, 2))
    for last, allowed in ((2.0, None), (3.0, dt.date(2026, 1, 16))):
        ending = replace(season.ending, then=np.full(season.ending.then.shape, last))
        rows = next_rounds(site(), program, replace(barred, ending=ending), None)
        assert {row.allowed for row in rows} == {allowed}

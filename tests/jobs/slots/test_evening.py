"""The evening's answer: days, stages, spacing, and what the hours say of them."""

from __future__ import annotations

import datetime as dt
import tomllib

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import InputError
from spraywindow.jobs.slots.answer import Evening, default_material, evening
from spraywindow.jobs.slots.text import evening_text
from spraywindow.jobs.slots.words import cautions, reason, rounds_line
from spraywindow.site.blocks import block_state, leaf_fall, season_start
from spraywindow.site.done import next_day, spacing_finding
from spraywindow.site.site import Site, site_of
from spraywindow.spray.catalogue import COPPER, OIL
from tests.site_files import NOW, SITE, steady

SOUTH = ("latitude = 38.5", "latitude = -33.5")


def site(extra: str = "", *changes: tuple[str, str]) -> Site:
    text = SITE
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return site_of(tomllib.loads(text + extra))


def answer(
    site: Site, weather: pd.DataFrame | None = None, now: str = NOW, material: str = "oil"
) -> Evening:
    table = steady() if weather is None else weather
    return evening(site, table, pd.Timestamp(now, tz=site.place.timezone), material)


def day(number: int) -> dt.date:
    return dt.date(2026, 1, number)


def test_before_noon_the_rest_of_today_comes_first_then_tomorrow() -> None:
    morning = answer(site(), now="2026-01-12 11:59")
    assert morning.first is morning.today
    assert morning.first.date == day(12)
    noon = answer(site(), now="2026-01-12 12:00")
    assert noon.today is None
    assert noon.first.date == day(13)
    midnight = answer(site(), now="2026-01-12 00:00")
    assert midnight.first.date == day(12)


def test_slots_begin_after_now() -> None:
    morning = answer(site(), now="2026-01-12 10:20")
    assert min(slot.start for slot in morning.slots).hour == 11


def test_a_block_in_flower_stops_every_hour() -> None:
    flower = answer(site("", ('"dormant"', '"full bloom"')))
    hours = flower.hours.loc[flower.now :]
    assert set(hours["verdict"]) == {"no-go"}
    assert set(hours["held_by"]) == {"stage"}
    assert not flower.slots
    assert {each.verdict for each in flower.answers} == {"no-go"}
    assert str(flower.tomorrow.why).startswith("open flowers (oil stops after bud burst)")


def test_one_block_in_flower_does_not_stop_the_others() -> None:
    early = (
        '[[blocks]]\nname = "the early peach"\ncrop = "peach"\ntrees = 3\nheight = "2 m"\n'
        'spread = "2 m"\nstage = "first open flower"\nobserved = 2026-01-10\n'
    )
    both = answer(site(early))
    assert both.tomorrow.verdict == "go"
    assert [state.open for state in both.blocks] == [True, False]


def test_a_stale_stage_is_unknown_and_never_go() -> None:
    # a stage seen within 7 days is needed from bud swell on, here by default 15 January
    fresh = answer(site(), now="2026-01-15 18:00")
    assert fresh.tomorrow.verdict == "go"  # the 16th is 7 days after the 9th
    stale = answer(site(), now="2026-01-16 18:00")
    assert stale.tomorrow.verdict == "unknown"
    assert "buds last seen Fri 9 Jan" in str(stale.tomorrow.why)
    assert not stale.slots
    hours = stale.hours.loc[pd.Timestamp("2026-01-17", tz=stale.site.place.timezone) :]
    assert not hours["go"].any()
    assert hours["margin"][hours["verdict"] == "unknown"].isna().all()


def test_a_stale_stage_does_not_hide_a_sure_no_go() -> None:
    gale = answer(site(), steady(wind_ms=15.0), now="2026-01-16 18:00")
    assert gale.tomorrow.verdict == "no-go"
    assert gale.tomorrow.held_by == "wind"


def test_the_week_ahead_is_judged_by_the_stage_of_each_day() -> None:
    week = {each.date: each.verdict for each in answer(site()).answers}
    assert week[day(16)] == "go"
    assert week[day(17)] == "unknown"  # eight days after the stage was seen


def test_blocks_are_those_of_the_first_answers_day() -> None:
    assert answer(site(), now="2026-01-16 08:00").blocks[0].open is True
    assert answer(site(), now="2026-01-16 18:00").blocks[0].open is None  # as of the 17th


def test_no_stage_noted() -> None:
    bare = site("", ('stage = "dormant"\nobserved = 2026-01-09\n', ""))
    assert answer(bare).tomorrow.verdict == "go"  # before bud swell
    assert answer(bare, now="2026-01-15 18:00").tomorrow.verdict == "unknown"
    in_leaf = block_state(bare.blocks[0], bare, OIL, dt.date(2025, 11, 20))
    assert in_leaf.open is False
    assert "in leaf" in str(in_leaf.why)


def test_a_stage_of_another_winter_or_of_a_day_to_come_says_nothing() -> None:
    old = site("", ("observed = 2026-01-09", "observed = 2025-01-09"))
    state = block_state(old.blocks[0], old, OIL, day(20))
    assert state.open is None
    assert str(state.why) == "its stage is dated 2025-01-09, another winter: look again"
    later = site("", ("observed = 2026-01-09", "observed = 2026-01-25"))
    state = block_state(later.blocks[0], later, OIL, day(20))
    assert state.open is None
    assert "dated 2026-01-25, a day to come" in str(state.why)  # a year mistyped shows


def test_bud_swell_of_the_block_decides_from_when_on() -> None:
    late = site("", ('stage = "dormant"', 'bud_swell_from = "20 Feb"\nstage = "dormant"'))
    assert block_state(late.blocks[0], late, OIL, dt.date(2026, 2, 19)).open is True
    assert block_state(late.blocks[0], late, OIL, dt.date(2026, 2, 20)).open is None


def test_stages_stop_each_material_where_its_label_does() -> None:
    balloon = site("", ('"dormant"', '"balloon"'))
    assert block_state(balloon.blocks[0], balloon, OIL, day(12)).open is False
    assert block_state(balloon.blocks[0], balloon, COPPER, day(12)).open is True


def test_a_bud_seen_swelling_must_have_been_seen_lately_at_any_date() -> None:
    # common practice, no source: from bud swell on the buds move within days
    swollen = site("", ('"dormant"\nobserved = 2026-01-09', '"bud swell"\nobserved = 2025-12-20'))
    assert block_state(swollen.blocks[0], swollen, OIL, dt.date(2025, 12, 27)).open is True
    assert block_state(swollen.blocks[0], swollen, OIL, dt.date(2025, 12, 28)).open is None


BLOCK = (
    '[[blocks]]\nname = "{}"\ncrop = "peach"\ntrees = {}\nheight = "{}"\nspread = "2 m"\n'
    'stage = "{}"\nobserved = 2026-01-10\n'
)


def test_green_tissue_near_frost_holds_its_own_block_only() -> None:
    weather = steady()
    cold = weather.index == pd.Timestamp("2026-01-11 12:00", tz="UTC")  # two days before
    weather.loc[cold, "temp_c"] = weather.loc[cold, "dew_point_c"] = -2.0
    alone = answer(site("", ('"dormant"', '"bud burst"')), weather)
    assert (alone.tomorrow.verdict, alone.tomorrow.held_by) == ("no-go", "green and frost")
    both = answer(site(BLOCK.format("the early peach", 3, "2 m", "bud burst")), weather)
    assert both.tomorrow.verdict == "go"
    assert [(state.block.name, state.open, str(state.why or "")) for state in both.blocks] == [
        ("rows 1-4", True, ""),
        ("the early peach", False, OIL.limit("green and frost").words),
    ]
    assert both.slots == answer(site(), weather).slots


def test_tall_trees_in_the_wind_hold_neither_lower_ones_nor_if_closed() -> None:
    tall = {stage: site(BLOCK.format("the old cherry", 40, "12 m", stage))
            for stage in ("dormant", "full bloom")}  # fmt: skip
    # the logarithmic profile of FAO-56 eq. 47: 3.9 m/s at 10 m are 4.05 at 12 m and 3.2 at 4 m
    windy = steady(wind_ms=4.4)
    assert answer(tall["dormant"], steady(wind_ms=2.0)).tomorrow.verdict == "go"
    mixed = answer(tall["dormant"], windy)
    assert mixed.tomorrow.verdict == "go"
    assert [state.open for state in mixed.blocks] == [True, False]
    assert str(mixed.blocks[1].why) == OIL.limit("wind").words
    closed = answer(tall["full bloom"], windy)
    assert closed.tomorrow.verdict == "go"
    assert "open flowers" in str(closed.blocks[1].why)


def test_a_label_may_go_past_the_usual_stage_but_never_onto_flowers() -> None:
    # UC IPM and others, as the oil labels print: never on open flowers
    label = '[materials.oil]\nlast_stage = "{}"\n'
    with pytest.raises(InputError, match=r"oil.last_stage.*never goes on open flowers"):
        site(label.format("full bloom"))
    pink = site(label.format("petal tips"), ('"dormant"', '"petal tips"'))
    late = answer(pink, steady(312, "2026-01-08 00:00"))
    assert late.tomorrow.verdict == "go"
    assert any("past the usual last stage" in line for line in cautions(late))
    assert not any("past the usual last stage" in line for line in cautions(answer(site())))


def test_growing_years_of_both_halves_of_the_earth() -> None:
    north, south = site(), site("", SOUTH, ("2025-12-02", "2026-06-02"))
    assert season_start(dt.date(2026, 1, 12), north) == dt.date(2025, 7, 1)
    assert season_start(dt.date(2026, 7, 12), south) == dt.date(2026, 1, 1)
    assert leaf_fall(north, dt.date(2025, 7, 1)) == dt.date(2025, 12, 2)
    assert leaf_fall(south, dt.date(2026, 1, 1)) == dt.date(2026, 6, 2)
    usual = site("", ("leaf_fall = 2025-12-02", ""))
    assert leaf_fall(usual, dt.date(2025, 7, 1)) == dt.date(2025, 11, 21)  # 1 Dec less 10 d


def test_rounds_too_near_are_no_go_with_reason_and_date() -> None:
    done = site('[[program.rounds]]\nmaterial = "oil"\ndone = [2026-01-10]\n')
    week = {each.date: each for each in answer(done).answers}
    assert week[day(14)].verdict == "no-go"
    assert week[day(14)].held_by == "spacing"
    assert (
        str(week[day(14)].why)
        == "oil went on Sat 10 Jan: 5 days between rounds, so from Thu 15 Jan on"
    )
    assert week[day(15)].verdict == "go"  # five days apart is the difference of the dates
    assert not any(slot.start.date() < day(15) for slot in answer(done).slots)


def test_the_rest_of_a_round_may_follow_at_once() -> None:
    begun = site(
        '[[program.rounds]]\nmaterial = "oil"\ndone = [2026-01-05]\n'
        "partly_done = [[2026-01-12, '50 %']]\n"
    )
    evening = answer(begun)
    assert {each.date: each.verdict for each in evening.answers}[day(14)] == "go"
    assert "the next visit finishes the round begun" in rounds_line(evening)
    assert spacing_finding(begun, COPPER, day(13)).verdict == "no-go"


def test_hours_of_a_day_too_near_are_no_go_too() -> None:
    done = answer(site('[[program.rounds]]\nmaterial = "oil"\ndone = [2026-01-10]\n'))
    local = done.hours.tz_convert(done.site.place.timezone)
    near = local.loc["2026-01-13":"2026-01-14"]
    assert (near["verdict"] == "no-go").all()
    assert (near["spacing"] == -1.0).all()
    assert (local.loc["2026-01-15":"2026-01-16", "spacing"] == 1.0).all()


def test_sulfur_holds_oil_for_thirty_days() -> None:
    sprayed = site("[other_sprays]\nsulfur = [2026-01-02]\n")
    # UC IPM (2017): 30 days before and after
    assert spacing_finding(sprayed, OIL, dt.date(2026, 1, 31)).verdict == "no-go"
    assert spacing_finding(sprayed, OIL, dt.date(2026, 2, 1)).verdict == "go"
    assert next_day(sprayed, OIL, day(12)) == dt.date(2026, 2, 1)
    assert spacing_finding(sprayed, COPPER, day(12)).verdict == "go"


def test_a_round_done_on_a_day_to_come_is_an_error() -> None:
    for table in (
        '[[program.rounds]]\nmaterial = "oil"\ndone = [2026-01-14]\n',
        "[other_sprays]\nsulfur = [2026-01-14]\n",
    ):
        with pytest.raises(InputError, match=r"done on a day to come.*2026-01-14"):
            answer(site(table))
        assert answer(site(table), now="2026-01-14 18:00")


def test_the_material_due_next() -> None:
    rounds = '[[program.rounds]]\nmaterial = "oil"\n{}[[program.rounds]]\nmaterial = "copper"\n{}'
    assert default_material(site(rounds.format("", "")), day(12)) == "oil"
    oil_held = site(rounds.format("done = [2026-01-11]\n", ""))
    assert default_material(oil_held, day(12)) == "copper"  # the 13th comes before the 16th
    all_oil = site(rounds.format("rounds = 1\ndone = [2025-12-20]\n", ""))
    assert default_material(all_oil, day(12)) == "copper"


def test_past_the_end_of_the_weather_it_is_too_early_to_say() -> None:
    short = answer(site(), steady(hours=72))  # to the end of the 13th
    assert short.tomorrow.verdict == "unknown"
    assert short.tomorrow.early
    none = answer(site(), steady(hours=48))
    assert none.tomorrow.verdict == "unknown"
    assert none.tomorrow.early
    cut = answer(site(), steady(hours=48 + 10, wind_ms=15.0))
    assert cut.tomorrow.verdict == "unknown"  # the gale is known to 10 h only


def test_a_hole_in_the_rain_is_unknown_and_not_early() -> None:
    weather = steady()
    weather.iloc[60:62, weather.columns.get_loc("rain_mm")] = np.nan
    hole = answer(site(), weather)
    assert hole.tomorrow.verdict == "unknown"
    assert not hole.tomorrow.early


def test_a_day_without_access() -> None:
    closed = answer(site("[access]\nclosed = [2026-01-13]\n"))
    assert closed.tomorrow.verdict == "no-go"
    assert closed.tomorrow.held_by == "access hours"


def test_weather_known_later_changes_nothing() -> None:
    """Hours before the evening's reach do not matter, and none is read after its end."""
    long = answer(site(), steady(hours=400, start="2026-01-11 00:00"))
    short = answer(site(), steady(hours=310, start="2026-01-11 00:00"))
    assert long.tomorrow == short.tomorrow


@pytest.mark.parametrize("words", ["leaf fall begins", "half leaf fall"])
def test_leaves_that_were_seen_on_the_trees_hold_a_dormant_spray(words: str) -> None:
    """Copper on leaves injures peach, plum and apricot: common practice, no source."""
    stage = (
        'stage = "dormant"\nobserved = 2026-01-09',
        f'stage = "{words}"\nobserved = 2025-12-08',
    )
    before = site("", stage)  # its leaf fall is dated 2 December
    seen, later, long_after = (dt.date(2025, 12, day) for day in (8, 15, 16))
    for material in (OIL, COPPER):
        states = [block_state(before.blocks[0], before, material, on) for on in (seen, later)]
        assert [state.open for state in states] == [False, False]
        assert f"{words} on Mon 8 Dec: leaves still on" in str(states[0].why)
        state = block_state(before.blocks[0], before, material, long_after)
        assert state.open is None
        assert "look whether all are down" in str(state.why)
    after = site("", stage, ("leaf_fall = 2025-12-02", "leaf_fall = 2025-12-14"))
    opens = [block_state(after.blocks[0], after, OIL, dt.date(2025, 12, d)).open for d in (13, 14)]
    assert opens == [False, True]


def test_a_leaf_fall_dated_before_leaves_that_were_seen_is_remarked_on() -> None:
    stage = ('"dormant"\nobserved = 2026-01-09', '"leaf fall begins"\nobserved = 2025-12-08')
    said = answer(site("", stage))
    assert said.notes[-1] == (
        "leaf fall is dated Tue 2 Dec, but rows 1-4 had leaf fall begins on Mon 8 Dec: the later "
        "sighting counts"
    )
    assert not any("leaf fall" in note for note in answer(site()).notes)


def test_stale_buds_leave_the_weather_in_sight() -> None:
    """Whether a drive to look at them pays is judged by what the weather offers after it."""
    seen = '"dormant"\nobserved = 2026-01-09', '"bud swell"\nobserved = 2026-01-02'
    stale = site("", seen)
    fit, ready = answer(stale), answer(site())
    tomorrow, slot = fit.tomorrow, ready.tomorrow.slot
    assert slot is not None
    assert (tomorrow.verdict, tomorrow.slot, fit.slots) == ("unknown", None, [])
    assert tomorrow.if_open is not None
    offer = tomorrow.if_open.slot
    assert offer is not None
    assert (offer.start, offer.end) == (slot.start, slot.end)
    hours = f"{slot.start:%H:%M}-{slot.end:%H:%M}"
    assert reason(tomorrow, fit).endswith(f"look again; if the buds are still closed: go {hours}")
    assert "unless the trees are looked at and ready: Tue 13 Jan" in " ".join(
        evening_text(fit, []).split()
    )
    wet = answer(stale, steady().assign(rain_mm=2.0))
    assert wet.tomorrow.if_open is None  # a wet day needs no drive
    assert "closed" not in reason(wet.tomorrow, wet)
    assert ready.tomorrow.if_open is None

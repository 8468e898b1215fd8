"""The answer in growers' words."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pandas as pd
import pytest
from rich.cells import cell_len

from spraywindow.jobs.slots.text import evening_text
from spraywindow.jobs.slots.words import (
    blocks_line,
    cautions,
    dew_line,
    found_value,
    headline,
    limit_words,
    reason,
    rounds_line,
)
from spraywindow.show.amounts import shown
from spraywindow.show.text import WIDTH, table_text
from spraywindow.show.words import source_line
from spraywindow.spray.catalogue import CATALOGUE, OIL
from spraywindow.weather.source import weather_source
from tests.jobs.slots.test_evening import answer, site
from tests.site_files import steady

EARLY_PEACH = (
    '[[blocks]]\nname = "the early peach"\ncrop = "peach"\ntrees = 3\nheight = "2 m"\n'
    'spread = "2 m"\nstage = "first open flower"\nobserved = 2026-01-10\n'
)


def windy_from(hour: int) -> pd.DataFrame:
    """Steady weather with a gale on 13 January from a local hour on."""
    table = steady()
    table.iloc[48 + hour : 72, table.columns.get_loc("wind_ms")] = 15.0
    return table


def test_the_first_line_says_hours_day_material_and_what_closes_it() -> None:
    windy = answer(site('[access]\nfrom = "8:00"\nuntil = "17:00"\n'), windy_from(13))
    line, chance = headline(windy), windy.slots[0].chance
    assert chance is not None
    # an instant is judged at both ends of its hour: the hour from 12:00 ends in the gale
    assert line == (
        f"go 08:00-12:00 tomorrow (Tue 13 Jan), oil, {100 * chance:.0f} % likely to hold; "
        "opens with working hours; closes when: too windy; unknown whether: "
        "chance of rain within 24 h, too gusty"
    )


def test_daylight_and_now_are_said_as_such() -> None:
    assert "opens with daylight; closes when: too late to dry" in headline(answer(site()))
    assert "opens with daylight; closes at dusk" in headline(answer(site(), material="copper"))
    morning = headline(answer(site(), now="2026-01-12 10:20", material="copper"))
    assert morning.startswith("go 11:00-")
    assert "today (Mon 12 Jan), copper, " in morning
    assert morning.endswith("likely to hold; open now; closes at dusk; unknown whether: too gusty")


def test_when_the_wood_dries_is_said_where_it_was_wet() -> None:
    table = steady()
    assert dew_line(answer(site(), table)) == ""
    # the night of 13 January is damp until 9:00; the dew takes longer to dry than the air
    damp = table.columns.get_loc("dew_point_c")
    table.iloc[48:57, damp] = table["temp_c"].iloc[48:57] - 0.4
    line = dew_line(answer(site(), table))
    assert re.fullmatch(r"The wood on Tue 13 Jan: dry from about 09:00, sure from 1\d:00", line)
    assert f"{line}." in evening_text(answer(site(), table), [])
    dripping = dict.fromkeys(("wet wood", "damp bark"))
    oil = answer(site(), table)
    assert dew_line(replace(oil, material=oil.material.with_limits(**dripping))) == ""


@pytest.mark.parametrize(
    ("units", "wanted"), [("us", "at most 10 mph wanted"), ("metric", "at most 4.5 m/s wanted")]
)
def test_no_go_says_value_and_limit_in_the_readers_units(units: str, wanted: str) -> None:
    gale = answer(site("", ('"us"', f'"{units}"')), steady(wind_ms=15.0))
    words = reason(gale.tomorrow, gale)
    assert words.startswith("too windy (")
    assert wanted in words  # 10 mph: 3 CCR 6960


@pytest.mark.parametrize(
    ("units", "said"),
    [
        ("metric", "-3.1 °C with 1.5 °C taken off for a forecast's error; more than 0.0 °C"),
        ("us", "26 °F with 3 °F taken off for a forecast's error; more than 32 °F"),
    ],
)
def test_frost_says_what_was_taken_off_the_file_s_value(units: str, said: str) -> None:
    """The file has -1.6 degC; 1.5 K for the error of a forecast: common practice, no source."""
    table = steady(dew_point_c=-6.0)
    table.iloc[77, table.columns.get_loc("temp_c")] = -1.6
    frosty = answer(site("", ('"us"', f'"{units}"')), table)
    assert reason(frosty.tomorrow, frosty) == f"frost too near ({said} wanted)"


def test_unknown_says_whether_it_is_early_or_a_hole() -> None:
    early = answer(site(), steady(hours=72))
    assert reason(early.tomorrow, early).startswith("too early to say; not ruled out: ")
    none = answer(site(), steady(hours=48))
    assert reason(none.tomorrow, none) == "too early to say: the weather ends before that"
    weather = steady()
    weather.iloc[60:62, weather.columns.get_loc("rain_mm")] = float("nan")
    hole = answer(site(), weather)
    assert reason(hole.tomorrow, hole).startswith(
        "cannot tell, weather is missing; not ruled out: "
    )


def test_days_off_and_short_days() -> None:
    closed = answer(site("[access]\nclosed = [2026-01-13]\n"))
    assert reason(closed.tomorrow, closed) == "not a working day"
    late = answer(site('[access]\nuntil = "9:00"\n'))
    assert reason(late.tomorrow, late) == "less than 2 h of working time"


def test_blocks_as_the_adviser_names_them() -> None:
    both = blocks_line(answer(site(EARLY_PEACH)).blocks)
    assert both.startswith("For rows 1-4; not the early peach: open flowers")
    none = blocks_line(answer(site("", ('"dormant"', '"full bloom"'))).blocks)
    assert none.startswith("No block is ready; rows 1-4: open flowers")
    bare = site("", ('stage = "dormant"\nobserved = 2026-01-09\n', ""))
    assert "no stage noted" in blocks_line(answer(bare).blocks)
    stale = blocks_line(answer(site(EARLY_PEACH), now="2026-01-17 08:00").blocks)
    assert "rows 1-4: buds last seen Fri 9 Jan" in stale


def test_how_far_the_program_has_come() -> None:
    done = site('[[program.rounds]]\nmaterial = "oil"\nrounds = 3\ndone = [2026-01-03]\n')
    assert rounds_line(answer(done)) == "1 of 3 rounds of oil done, the last on Sat 3 Jan"
    whole = site('[[program.rounds]]\nmaterial = "oil"\nrounds = 1\ndone = [2026-01-03]\n')
    assert rounds_line(answer(whole)).endswith("no round is owed")


def test_cautions_stand_once() -> None:
    dry = cautions(answer(site()))
    assert len(dry) == len(set(dry))
    assert "label is the law" in dry[-1]


def test_every_limit_has_short_words() -> None:
    for material in CATALOGUE.values():
        for limit in material.limits:
            assert 3 <= len(limit_words(limit.name, material)) <= 32
    assert limit_words("spacing", OIL) == "too soon after the last spray"


@pytest.mark.parametrize("name", ["cold", "wind"])
def test_the_found_value_is_the_one_that_gave_the_margin(name: str) -> None:
    limit = OIL.limit(name)
    assert found_value(limit, 0.0) == limit.value
    sign = 1 if limit.bound == "at least" else -1
    assert found_value(limit, -0.5) == pytest.approx(limit.value - sign * 0.5 * limit.width)
    assert found_value(limit, 1.0) != found_value(limit, 1.0)  # capped: unknown


def test_units_of_both_systems() -> None:
    assert shown(10.0, "degC", "us") == "50 °F"
    assert shown(-0.04, "deg", "metric") == "0°"
    assert shown(5.0, "K", "us") == "9 °F"  # a difference has no 32
    assert shown(25.4, "mm", "us") == "1.00 in"
    assert shown(0.254, "mm", "metric") == "0.25 mm"


def told(source: dict[str, Any], now: pd.Timestamp) -> str:
    table = pd.DataFrame()
    table.attrs["source"] = source
    return source_line(weather_source(table, now))


def test_a_sheltered_site_says_so() -> None:
    # common practice: a user's own figure goes with the answer that rests on it
    open_site = site()
    sheltered = replace(open_site, setting=replace(open_site.setting, shelter=0.5))
    assert not answer(open_site).notes
    text = evening_text(answer(sheltered), [])
    assert "Note: the trees are sheltered: wind and gusts count 50 %." in text


def test_source_age_and_credit() -> None:
    now = pd.Timestamp("2026-01-12 18:00", tz="UTC")
    source = {"name": "a service", "issued": now - pd.Timedelta(hours=7), "credit": "by them"}
    assert told(source, now) == "Weather: a service; issued 7 h before this answer; by them"
    undated = {**source, "issued": None, "fetched": now - pd.Timedelta(days=40)}
    athens = now.tz_convert("Europe/Athens")
    assert told(undated, athens) == "Weather: a service; fetched 2025-12-03 20:00; by them"
    stale = told({**source, "stale": True}, now)
    assert "an older answer from the cache" in stale


@pytest.mark.parametrize("with_hours", [False, True])
def test_the_whole_text_fits_eighty_columns(with_hours: bool) -> None:
    first = answer(site(EARLY_PEACH), now="2026-01-12 08:00")
    other = answer(site(EARLY_PEACH), now="2026-01-12 08:00", material="copper")
    text = evening_text(first, [other], with_hours=with_hours)
    assert max(map(cell_len, text.splitlines())) <= WIDTH
    for words in ("chance", "to hold", "rain-free", "keep 2 days between the two", "tomorrow"):
        assert words in text
    assert ("Hour by hour" in text) == with_hours


def test_tables_wrap_their_last_column_only() -> None:
    text = table_text(["a\nb", "long"], [["x", "word " * 40]], right=(0,))
    lines = text.splitlines()
    assert lines[0] == "a  long"
    assert lines[1] == "b"
    assert set(lines[2]) == {"-"}
    assert lines[3].startswith("x  word")
    assert lines[4].startswith("   word")
    assert max(map(len, lines)) <= WIDTH


def test_a_slot_to_midnight_ends_at_24_wherever_it_is_told() -> None:
    said = answer(site())
    late = [replace(slot, end=slot.start.normalize() + pd.Timedelta(days=1)) for slot in said.slots]
    assert said.tomorrow.slot is not None
    until = said.tomorrow.slot.start.normalize() + pd.Timedelta(days=1)
    tomorrow = replace(said.tomorrow, slot=replace(said.tomorrow.slot, end=until))
    text = evening_text(replace(said, slots=late, tomorrow=tomorrow), [])
    assert "-24:00 tomorrow" in " ".join(text.split())
    assert "-00:00" not in text


def test_a_day_is_told_as_it_goes_where_one_limit_follows_another() -> None:
    """Wet wood is nearest to letting it go, but the wind after it is what stops the job."""
    day = windy_from(12)
    day.iloc[48:58, day.columns.get_loc("rain_mm")] = 1.0
    said = answer(site('[access]\nfrom = "8:00"\nuntil = "17:00"\n'), day)
    assert said.tomorrow.verdict == "no-go"
    # the rain ends at 10, the wood is wet after it; an instant is judged at both ends of its hour
    assert reason(said.tomorrow, said) == (
        "rain within 24 h until 10:00; 10:00-11:00 wet wood; from 11:00 too windy"
    )
    gale = windy_from(0)  # one limit all day: its value
    assert "wanted)" in reason(answer(site(), gale).tomorrow, answer(site(), gale))

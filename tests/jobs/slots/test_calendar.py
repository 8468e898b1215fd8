"""The calendar: read back by another library, updated by a second import, its dead slots gone."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import icalendar
import pandas as pd
import pytest

from spraywindow.errors import InputError
from spraywindow.jobs.slots.answer import Evening, evening
from spraywindow.jobs.slots.calendar import slot_uid, slots_calendar, updated_calendar
from spraywindow.jobs.slots.first import planned_slots
from spraywindow.sources.demo.samples import DEMO_NOW, demo_forecast
from tests.command import command
from tests.page_values import BITING, biting_site, demo_evenings, demo_site, evenings_of

ics = pytest.importorskip("ics")
LATER = DEMO_NOW + pd.Timedelta(hours=3)


def read(content: bytes | str) -> dict[str, icalendar.Event]:
    events = icalendar.Calendar.from_ical(content).events
    found = {str(event["uid"]): event for event in events}
    assert len(found) == len(events)
    return found


def wet_evenings() -> list[Evening]:
    """Later on the same evening, rain has come into the forecast for all the week."""
    table = demo_forecast()
    table.loc[table.index >= LATER, "rain_mm"] = 1.0
    return [evening(demo_site(), table, LATER, name) for name in demo_site().program.materials]


def test_another_library_reads_the_same_slots() -> None:
    read_back = ics.Calendar(slots_calendar(demo_evenings(), alarm_h=12).decode())
    got = sorted((event.begin.datetime, event.end.datetime) for event in read_back.events)
    wanted = sorted(
        (slot.start.to_pydatetime(), slot.end.to_pydatetime())
        for each in demo_evenings()
        for slot in each.slots
    )
    assert got == wanted
    assert all(event.begin.tzinfo is not None for event in read_back.events)
    assert sum("planned round" in event.categories for event in read_back.events) == len(
        planned_slots(demo_evenings())
    )


def test_times_are_local_with_the_zone_s_rules_in_the_file() -> None:
    text = slots_calendar(demo_evenings()).decode()
    assert "DTSTART;TZID=Europe/Athens:20260113T100000\r\n" in text
    zone = icalendar.Calendar.from_ical(text).timezones[0]
    assert zone.tz_name == "Europe/Athens"
    summer = dt.datetime(2026, 7, 1, tzinfo=zone.to_tz())
    assert summer.utcoffset() == dt.timedelta(hours=3)
    # RFC 5545, 3.1: lines end in CRLF and hold at most 75 octets
    assert max(len(line) for line in text.encode().split(b"\r\n")) <= 75
    assert "\n" not in text.replace("\r\n", "")


def test_the_calendar_has_a_name_by_the_standard_and_the_older_way() -> None:
    calendar = icalendar.Calendar.from_ical(slots_calendar(demo_evenings()))
    assert str(calendar["name"]) == str(calendar["x-wr-calname"]) == "Varkessa Bank: spray hours"


def test_a_second_import_updates() -> None:
    first = read(slots_calendar(demo_evenings()))
    second = read(slots_calendar(evenings_of(demo_site(), LATER)))
    assert second.keys() == first.keys()
    for uid, event in second.items():
        assert event["sequence"] > first[uid]["sequence"]
        assert event["last-modified"].dt > first[uid]["last-modified"].dt
        assert event["dtstamp"].dt == LATER.to_pydatetime()


def test_the_same_evening_gives_the_same_bytes() -> None:
    assert slots_calendar(demo_evenings()) == slots_calendar(demo_evenings())


def test_ids_differ_by_site_material_day_and_number() -> None:
    day = dt.date(2026, 1, 13)
    ids = [
        slot_uid("a", "oil", day), slot_uid("b", "oil", day), slot_uid("a", "copper", day),
        slot_uid("a", "oil", day + dt.timedelta(days=1)), slot_uid("a", "oil", day, 2),
        slot_uid("ao", "il", day),
    ]  # fmt: skip
    assert len(set(ids)) == len(ids)
    assert slot_uid("a", "oil", day) == ids[0]


def test_a_slot_that_is_gone_is_cancelled_not_left_standing(tmp_path: Path) -> None:
    file = tmp_path / "slots.ics"
    file.write_text(updated_calendar(file, demo_evenings()), newline="")
    before = read(file.read_bytes())
    assert not any(event["status"] == "CANCELLED" for event in before.values())
    file.write_text(updated_calendar(file, wet_evenings()), newline="")
    after = read(file.read_bytes())
    assert after.keys() == before.keys()
    assert all(event["status"] == "CANCELLED" for event in after.values())
    assert all(after[uid]["sequence"] > before[uid]["sequence"] for uid in before)


def test_what_is_over_or_of_another_site_is_not_cancelled() -> None:
    before = slots_calendar(demo_evenings())
    week_later = demo_forecast()
    week_later.index = week_later.index + pd.Timedelta(days=7)
    week_later.attrs.pop("forecast_from")
    now = DEMO_NOW + pd.Timedelta(days=7)
    evenings = [evening(demo_site(), week_later, now, "oil")]
    after = read(slots_calendar(evenings, before=before))
    assert len(after) == len(evenings[0].slots)
    other = evenings_of(demo_site(name="Elsewhere"), LATER)
    assert not read(slots_calendar(other, before=before)).keys() & read(before).keys()


def test_alarms_only_where_asked_and_planned() -> None:
    assert "VALARM" not in slots_calendar(demo_evenings()).decode()
    for event in read(slots_calendar(demo_evenings(), alarm_h=12)).values():
        planned = "planned round" in str(event["summary"])
        assert len(event.alarms.times) == planned
        if planned:
            assert event.start - event.alarms.times[0].trigger == dt.timedelta(hours=12)


def test_names_that_bite_stay_names() -> None:
    events = read(slots_calendar(evenings_of(biting_site())))
    assert all(str(event["location"]) == BITING for event in events.values())
    assert len(events) > 3


def test_a_week_without_slots_is_an_empty_calendar() -> None:
    assert read(slots_calendar(wet_evenings())) == {}


def test_no_calendar_where_one_should_be(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="the old calendar cannot be read"):
        slots_calendar(demo_evenings(), before=b"something else")
    with pytest.raises(InputError, match="cannot read"):
        updated_calendar(tmp_path, demo_evenings())


def test_the_command_writes_and_updates_a_file(tmp_path: Path) -> None:
    file, picture = tmp_path / "slots.ics", tmp_path / "week.svg"
    for more in (("--plot", picture), ()):
        assert command("slots", "--ics", file, *more).code == 0
        assert len(read(file.read_bytes())) == sum(len(each.slots) for each in demo_evenings())
    assert picture.read_text("utf-8").startswith("<?xml")

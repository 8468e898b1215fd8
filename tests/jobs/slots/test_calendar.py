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


def calendar_of(evenings: list[Evening], before: bytes | None = None) -> bytes:
    return slots_calendar([evenings], evenings[0].now, before=before)


def wet_evenings() -> list[Evening]:
    """Later on the same evening, rain has come into the forecast for all the week."""
    table = demo_forecast()
    table.loc[table.index >= LATER, "rain_mm"] = 1.0
    return [evening(demo_site(), table, LATER, name) for name in demo_site().program.materials]


def test_another_library_reads_the_same_slots() -> None:
    read_back = ics.Calendar(calendar_of(demo_evenings()).decode())
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
    text = calendar_of(demo_evenings()).decode()
    assert "DTSTART;TZID=Europe/Athens:20260113T100000\r\n" in text
    zone = icalendar.Calendar.from_ical(text).timezones[0]
    assert zone.tz_name == "Europe/Athens"
    summer = dt.datetime(2026, 7, 1, tzinfo=zone.to_tz())
    assert summer.utcoffset() == dt.timedelta(hours=3)
    # RFC 5545, 3.1: lines end in CRLF and hold at most 75 octets
    assert max(len(line) for line in text.encode().split(b"\r\n")) <= 75
    assert "\n" not in text.replace("\r\n", "")


def test_the_calendar_has_a_name_by_the_standard_and_the_older_way() -> None:
    calendar = icalendar.Calendar.from_ical(calendar_of(demo_evenings()))
    assert str(calendar["name"]) == str(calendar["x-wr-calname"]) == "Varkessa Bank: spray hours"


def test_a_second_import_updates() -> None:
    first = read(calendar_of(demo_evenings()))
    second = read(calendar_of(evenings_of(demo_site(), LATER)))
    assert second.keys() == first.keys()
    for uid, event in second.items():
        assert event["sequence"] > first[uid]["sequence"]
        assert event["last-modified"].dt > first[uid]["last-modified"].dt
        assert event["dtstamp"].dt == LATER.to_pydatetime()


def test_the_same_evening_gives_the_same_bytes() -> None:
    assert calendar_of(demo_evenings()) == calendar_of(demo_evenings())


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
    file.write_text(updated_calendar(file, [demo_evenings()], DEMO_NOW), newline="")
    before = read(file.read_bytes())
    assert not any(event["status"] == "CANCELLED" for event in before.values())
    file.write_text(updated_calendar(file, [wet_evenings()], LATER), newline="")
    after = read(file.read_bytes())
    assert after.keys() == before.keys()
    assert all(event["status"] == "CANCELLED" for event in after.values())
    assert all(after[uid]["sequence"] > before[uid]["sequence"] for uid in before)


def test_what_is_over_or_of_another_site_is_not_cancelled() -> None:
    before = calendar_of(demo_evenings())
    week_later = demo_forecast()
    week_later.index = week_later.index + pd.Timedelta(days=7)
    week_later.attrs.pop("forecast_from")
    now = DEMO_NOW + pd.Timedelta(days=7)
    evenings = [evening(demo_site(), week_later, now, "oil")]
    after = read(calendar_of(evenings, before=before))
    assert len(after) == len(evenings[0].slots)
    other = evenings_of(demo_site(name="Elsewhere"), LATER)
    both = read(calendar_of(other, before=before))
    assert not any(both[uid]["status"] == "CANCELLED" for uid in read(before))


def test_planned_rounds_alone_have_alarms_the_evening_before_and_an_hour_before() -> None:
    # RFC 5545, 3.6.6: a trigger counts from the start; which hours: common practice, no source
    for event in read(calendar_of(demo_evenings())).values():
        planned = "planned round" in str(event["summary"])
        times = [alarm.trigger for alarm in event.alarms.times]
        assert len(times) == 2 * planned
        if planned:
            eve = dt.datetime.combine(event.start.date() - dt.timedelta(days=1), dt.time(20))
            assert [time.replace(tzinfo=None) for time in times] == [
                eve, event.start.replace(tzinfo=None) - dt.timedelta(hours=1),
            ]  # fmt: skip
            assert all(time.utcoffset() == event.start.utcoffset() for time in times)


def test_the_alarm_is_an_hour_before_the_crew_leaves() -> None:
    leave = pd.Timestamp("2026-01-13 08:40", tz="Europe/Athens")
    content = slots_calendar([demo_evenings()], DEMO_NOW, leaving={("Varkessa Bank", "oil"): leave})
    (event,) = [e for e in read(content).values() if e.alarms.times and e.start.day == 13]
    assert event.alarms.times[1].trigger == leave - dt.timedelta(hours=1)


def test_without_a_go_there_is_no_alarm() -> None:
    before = calendar_of(demo_evenings())
    assert b"VALARM" in before
    assert b"VALARM" not in calendar_of(wet_evenings(), before=before)


def test_of_a_site_without_an_answer_nothing_stays_as_if_confirmed() -> None:
    before = calendar_of(demo_evenings())
    first = read(slots_calendar([], LATER, name="all", before=before))
    assert first.keys() == read(before).keys()
    for uid, event in first.items():
        assert str(event["summary"]).startswith("not confirmed: ")
        assert str(event["description"]).startswith("Not confirmed: no answer on 2026-01-12 ")
        assert event["sequence"] > read(before)[uid]["sequence"]
        assert event["transp"] == "TRANSPARENT"
        assert not event.alarms.times
    again = slots_calendar([], LATER, name="all", before=slots_calendar(
        [], LATER, name="all", before=before))  # fmt: skip
    assert all(str(e["summary"]).count("not confirmed") == 1 for e in read(again).values())
    after = read(slots_calendar([evenings_of(demo_site(), LATER)], LATER, before=again))
    assert not any("not confirmed" in str(event["summary"]) for event in after.values())


def test_names_that_bite_stay_names() -> None:
    events = read(calendar_of(evenings_of(biting_site())))
    assert all(str(event["location"]) == BITING for event in events.values())
    assert len(events) > 3


def test_a_week_without_slots_is_an_empty_calendar() -> None:
    assert read(calendar_of(wet_evenings())) == {}


def test_no_calendar_where_one_should_be(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="the old calendar cannot be read"):
        calendar_of(demo_evenings(), before=b"something else")
    with pytest.raises(InputError, match="cannot read"):
        updated_calendar(tmp_path, [demo_evenings()], DEMO_NOW)


def test_the_command_writes_and_updates_a_file(tmp_path: Path) -> None:
    file, picture = tmp_path / "slots.ics", tmp_path / "week.svg"
    for more in (("--plot", picture), ()):
        assert command("slots", "--ics", file, *more).code == 0
        assert len(read(file.read_bytes())) == sum(len(each.slots) for each in demo_evenings())
    assert picture.read_text("utf-8").startswith("<?xml")

"""The coming week's slots and planned rounds as a calendar file (RFC 5545, 7986).

Stable ids: a site, a material and a local day (and, should a day have several slots, the slot's
number on it) always give the same id, so that a later import updates the entry. Slots that an
earlier file held and a later one does not are cancelled in it, never left standing.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from spraywindow.errors import InputError
from spraywindow.jobs.slots.answer import Evening
from spraywindow.jobs.slots.first import planned_slots
from spraywindow.jobs.slots.words import (
    blocks_line,
    chance_words,
    closing_words,
    doubt_lines,
    opening_words,
    rounds_line,
    weaker_words,
)
from spraywindow.show import LABEL, hours_words, source_line
from spraywindow.spray import Slot

if TYPE_CHECKING:
    from icalendar import Calendar, Component, Event

PRODUCT = "-//spraywindow//slots//EN"
CALENDAR_MARK = (b"BEGIN:VCALENDAR", f"PRODID:{PRODUCT}".encode())
"""By which a calendar of ours is known."""
_NAMESPACE = uuid.uuid5(uuid.NAMESPACE_URL, "spraywindow:slots")
_EPOCH = pd.Timestamp("2020-01-01", tz="UTC")


def slots_calendar(
    evenings: Sequence[Evening], *, alarm_h: float | None = None, before: bytes | None = None
) -> bytes:
    """Write the calendar.

    Parameters
    ----------
    evenings : sequence of Evening
        One for every material of the program; all of one site and one `now`.
    alarm_h : float, optional
        Remind of planned rounds so long before their start [h].
    before : bytes, optional
        The calendar that this one replaces: what it held of this site from `now` on, and is
        gone, is cancelled.

    Returns
    -------
    bytes
        Times are local, with the time zone's rules in the file.

    Raises
    ------
    InputError
        If `before` is no calendar.
    """
    from icalendar import Calendar

    first = evenings[0]
    planned = planned_slots(evenings)
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    # the name twice: RFC 7986, 5.1, and the older way that many programs still read
    for name in ("name", "x-wr-calname"):
        calendar.add(name, f"{first.site.name}: spray hours")
    for evening in evenings:
        by_day: dict[dt.date, int] = {}
        for slot in sorted(evening.slots, key=lambda slot: slot.start):
            day = slot.start.date()
            by_day[day] = by_day.get(day, 0) + 1
            calendar.add_component(_event(slot, evening, by_day[day], slot in planned, alarm_h))
    if before is not None:
        for event in _cancelled(calendar, _read(before), first):
            calendar.add_component(event)
    if calendar.events:
        year = first.now.year  # rules of these years only: all of them would be half the file
        calendar.add_missing_timezones(dt.date(year - 1, 1, 1), dt.date(year + 2, 1, 1))
    return bytes(calendar.to_ical())


def updated_calendar(
    path: Path, evenings: Sequence[Evening], *, alarm_h: float | None = None
) -> str:
    """The calendar to put in a file's place; what the file held and is gone is cancelled in it.

    Raises
    ------
    InputError
        As `slots_calendar`, or if the file is there and cannot be read, or holds what would be
        lost: events of another site or another program.
    """
    try:
        before = path.read_bytes() if path.exists() else None
    except OSError as error:
        raise InputError("cannot read", where=str(path), got=error.strerror) from error
    for event in [] if before is None else _read(before).events:
        if not _is_of(event, evenings[0]):
            raise InputError(
                "the calendar there holds events that are not of this site",
                where=str(path),
                expected=evenings[0].site.name,
                got=str(event.get("location") or event.get("summary", "")),
                cure="choose another name",
            )
    return slots_calendar(evenings, alarm_h=alarm_h, before=before).decode()


def slot_uid(site: str, material: str, day: dt.date, number: int = 1) -> str:
    """The id of a slot: the same for the same site, material, day and number on that day."""
    parts = [site, material, day.isoformat(), *([str(number)] if number > 1 else [])]
    return f"{uuid.uuid5(_NAMESPACE, chr(0).join(parts))}@spraywindow"


def _event(
    slot: Slot, evening: Evening, number: int, planned: bool, alarm_h: float | None
) -> Event:
    from icalendar import Alarm, Event

    site, name = evening.site, evening.material.name
    event = Event()
    event.add("uid", slot_uid(site.name, name, slot.start.date(), number))
    _issue(event, evening.now)
    event.add("dtstart", slot.start.to_pydatetime())
    event.add("dtend", slot.end.to_pydatetime())
    event.add("summary", f"{name}, {'planned round' if planned else 'possible'}: {site.name}")
    event.add("location", site.name)
    event.add("geo", (site.place.latitude, site.place.longitude))
    event.add("status", "TENTATIVE")
    event.add("transp", "OPAQUE" if planned else "TRANSPARENT")
    event.add("categories", ["planned round" if planned else "slot"])
    event.add("description", _description(slot, evening))
    if planned and alarm_h is not None:
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", f"{name}, {site.name}: look at the newest forecast first")
        alarm.add("trigger", -dt.timedelta(hours=alarm_h))
        event.add_component(alarm)
    return event


def _description(slot: Slot, evening: Evening) -> str:
    return "\n".join(
        [
            f"{evening.material.title} {hours_words(slot.start, slot.end)}: "
            f"{opening_words(slot, evening)}; {closing_words(slot, evening)}"
            f"{weaker_words(evening, slot)}.",
            f"Best from {slot.best_start:%H:%M}; {chance_words(slot)}; "
            f"{slot.dry_h_after:.0f} h without rain known after it.",
            f"{blocks_line(evening.blocks)}.",
            *([f"{rounds}."] if (rounds := rounds_line(evening)) else []),
            *(f"{line}." for line in doubt_lines(evening.site)),
            f"As of {evening.now:%Y-%m-%d %H:%M}. {source_line(evening.source)}.",
            LABEL,
        ]
    )


def _issue(event: Component, now: pd.Timestamp) -> None:
    """Stamp an event with its issue time; later issues supersede earlier ones."""
    utc = now.tz_convert("UTC")
    for name in ("dtstamp", "last-modified"):
        event.pop(name, None)
        event.add(name, utc.floor("s").to_pydatetime())
    event.pop("sequence", None)
    event.add("sequence", int((utc - _EPOCH) / pd.Timedelta(minutes=1)))


def _read(content: bytes) -> Calendar:
    from icalendar import Calendar

    try:
        return Calendar.from_ical(content)
    except ValueError as error:
        raise InputError(
            "the old calendar cannot be read", got=str(error), cure="move it away"
        ) from error


def _cancelled(new: Calendar, old: Calendar, evening: Evening) -> Iterable[Component]:
    """Events of the old calendar, still to come at the same site, that the new one lacks."""
    kept = {str(event["uid"]) for event in new.events}
    for event in old.events:
        if _is_of(event, evening) and str(event["uid"]) not in kept and event.end > evening.now:
            _issue(event, evening.now)
            event.pop("status", None)
            event.add("status", "CANCELLED")
            event.subcomponents = []
            yield event


def _is_of(event: Component, evening: Evening) -> bool:
    """Whether an event is one of ours of the evening's site."""
    ours = str(event.get("uid", "")).endswith("@spraywindow")
    return ours and str(event.get("location")) == evening.site.name

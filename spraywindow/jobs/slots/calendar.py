"""The coming week's slots and planned rounds as a calendar file (RFC 5545, 7986).

Stable ids: a site, a material and a local day (and, should a day have several slots, the slot's
number on it) always give the same id, so that a later import updates the entry. Slots that an
earlier file held and a later one does not are cancelled in it, never left standing.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Collection, Iterable, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

import pandas as pd

from spraywindow.days import at_clock
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


EVENING_H = 20
"""Local clock hour of the day before a planned round at which its first alarm is; P."""
Leaving = Mapping[tuple[str, str], pd.Timestamp]
"""When the crew leaves for a site and a material, on the first day of the answers."""


def slots_calendar(
    every: Sequence[Sequence[Evening]],
    now: pd.Timestamp,
    *,
    name: str = "",
    leaving: Leaving = MappingProxyType({}),
    before: bytes | None = None,
) -> bytes:
    """Write the calendar.

    Planned rounds have alarms: the evening before, and an hour before the crew leaves, or before
    the slot where that is not known. Without a planned round there is none.

    Parameters
    ----------
    every : sequence of sequence of Evening
        Of each site one for every material of the program.
    now : Timestamp
    name : str
        Of the calendar; default: the first site's.
    leaving : mapping of (site, material) to Timestamp, optional
    before : bytes, optional
        The calendar that this one replaces. What it held from `now` on is cancelled where it is
        gone, and marked as not confirmed where its site is not answered.

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

    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    # the name twice: RFC 7986, 5.1, and the older way that many programs still read
    for key in ("name", "x-wr-calname"):
        calendar.add(key, name or f"{every[0][0].site.name}: spray hours")
    for evenings in every:
        planned = planned_slots(evenings)
        for evening in evenings:
            by_day: dict[dt.date, int] = {}
            for slot in sorted(evening.slots, key=lambda slot: slot.start):
                day = slot.start.date()
                by_day[day] = by_day.get(day, 0) + 1
                event = _event(slot, evening, by_day[day], slot in planned)
                if slot in planned:
                    _add_alarms(event, slot, evening, leaving)
                calendar.add_component(event)
    if before is not None:
        answered = {evenings[0].site.name for evenings in every}
        for gone in _gone(calendar, _read(before), answered, now):
            calendar.add_component(gone)
    if calendar.events:
        year = now.year  # rules of these years only: all of them would be half the file
        calendar.add_missing_timezones(dt.date(year - 1, 1, 1), dt.date(year + 2, 1, 1))
    return bytes(calendar.to_ical())


def updated_calendar(
    path: Path,
    every: Sequence[Sequence[Evening]],
    now: pd.Timestamp,
    *,
    name: str = "",
    leaving: Leaving = MappingProxyType({}),
    of_folder: bool = False,
) -> str:
    """The calendar to put in a file's place; what the file held and is gone is cancelled in it.

    Parameters
    ----------
    of_folder : bool
        Whether the file is of a folder of sites, of which some may have no answer.

    Raises
    ------
    InputError
        As `slots_calendar`, or if the file is there and cannot be read, or holds what would be
        lost: events of another program, or of a site that is not asked for.
    """
    try:
        before = path.read_bytes() if path.exists() else None
    except OSError as error:
        raise InputError("cannot read", where=str(path), got=error.strerror) from error
    names = [evenings[0].site.name for evenings in every]
    for event in [] if before is None else _read(before).events:
        if not _is_ours(event) or not (of_folder or str(event.get("location")) in names):
            raise InputError(
                "the calendar there holds events that are not of "
                + ("these sites" if of_folder else "this site"),
                where=str(path),
                expected=", ".join(names),
                got=str(event.get("location") or event.get("summary", "")),
                cure="choose another name",
            )
    return slots_calendar(every, now, name=name, leaving=leaving, before=before).decode()


def slot_uid(site: str, material: str, day: dt.date, number: int = 1) -> str:
    """The id of a slot: the same for the same site, material, day and number on that day."""
    parts = [site, material, day.isoformat(), *([str(number)] if number > 1 else [])]
    return f"{uuid.uuid5(_NAMESPACE, chr(0).join(parts))}@spraywindow"


def _event(slot: Slot, evening: Evening, number: int, planned: bool) -> Event:
    from icalendar import Event

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
    return event


def _add_alarms(event: Event, slot: Slot, evening: Evening, leaving: Leaving) -> None:
    """The alarms of a planned round that are still to come, before its start (RFC 5545, 3.6.6)."""
    from icalendar import Alarm

    name, site = evening.material.name, evening.site
    leave = slot.start
    if slot.start.date() == evening.first.date:
        leave = leaving.get((site.name, name), leave)
    eve = at_clock(
        slot.start.tz_localize(None).normalize() - dt.timedelta(days=1), EVENING_H,
        site.place.timezone,
    )  # fmt: skip
    for time in (eve, leave - dt.timedelta(hours=1)):
        if time <= evening.now:
            continue
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", f"{name}, {site.name}: look at the newest forecast first")
        alarm.add("trigger", (time - slot.start).to_pytimedelta())
        event.add_component(alarm)


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


NOT_CONFIRMED = "not confirmed"


def _gone(
    new: Calendar, old: Calendar, answered: Collection[str], now: pd.Timestamp
) -> Iterable[Component]:
    """Events of the old calendar, still to come, that the new one lacks.

    Those of the sites that are answered are cancelled. Of another site nobody knows any more what
    they said: they stay, marked so, without an alarm.
    """
    kept = {str(event["uid"]) for event in new.events}
    for event in old.events:
        if not _is_ours(event) or str(event["uid"]) in kept or event.end <= now:
            continue
        _issue(event, now)
        event.subcomponents = []
        if str(event.get("location")) in answered:
            event.pop("status", None)
            event.add("status", "CANCELLED")
        elif not str(event["summary"]).startswith(NOT_CONFIRMED):
            for key, words in (
                ("summary", f"{NOT_CONFIRMED}: {event['summary']}"),
                ("description", f"Not confirmed: no answer on {now:%Y-%m-%d %H:%M}; an earlier "
                 f"one said what follows.\n{event.get('description', '')}"),
                ("transp", "TRANSPARENT"),
            ):  # fmt: skip
                event.pop(key, None)
                event.add(key, words)
        yield event


def _is_ours(event: Component) -> bool:
    return str(event.get("uid", "")).endswith("@spraywindow")

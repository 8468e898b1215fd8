"""One decision in every command. No outside source: the commands are held against each other."""

from __future__ import annotations

import pandas as pd
import pytest
from icalendar import Calendar

import spraywindow as sw
from spraywindow.jobs.slots.calendar import slots_calendar
from spraywindow.jobs.slots.first import planned_slots, tonight, urgency
from tests.command import command
from tests.jobs.slots.test_evening import answer, day, site

EVENINGS = ["2026-01-12 18:00", "2026-01-13 09:00", "2026-01-13 19:00", "2026-01-14 18:00",
            "2026-01-16 17:00"]  # fmt: skip


@pytest.mark.parametrize("now", EVENINGS)
def test_slots_report_calendar_mix_and_python_say_one_thing(
    now: str, tmp_path: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(str(tmp_path))
    said = command("slots", "--now", now, "--json").answer
    first = said.get("today") or said["tomorrow"]
    text = command("slots", "--now", now).text.removeprefix("Varkessa Bank: ")
    advice = first["advice"] or first["verdict"]
    assert text.startswith(advice)
    if first["advice"]:
        assert said["material"] in text.splitlines()[0] + text.splitlines()[1]

    at = pd.Timestamp(now, tz="Europe/Athens")
    here = sw.read_site(sw.sample_path("orchard.toml"))
    found = here.tonight(sw.demo_forecast(), at, winters=sw.demo_winters())
    ours = found.to_dict()
    assert {key: ours[key] for key in ("material", "tomorrow", "plan")} == {
        key: said[key] for key in ("material", "tomorrow", "plan")
    }

    assert command("mix", "--now", now, "--json").answer["material"] == said["material"]

    page = command("report", "--now", now, "--json").answer
    shown = page["answers"][0]
    assert (shown["material"], shown["tomorrow"]) == (said["material"], said["tomorrow"])

    evenings = list(found.found)
    planned = {(slot.start, slot.material) for slot in planned_slots(evenings)}
    assert {(start.date().isoformat(), name) for start, name in planned} <= {
        (step["date"], step["material"]) for step in said["plan"]
    }
    events = Calendar.from_ical(slots_calendar(evenings, alarm_h=12)).walk("VEVENT")
    alarmed = {event.decoded("dtstart") for event in events if event.walk("VALARM")}
    assert alarmed == {start.to_pydatetime() for start, _ in planned}


def test_waiting_is_never_planned_for_the_morning_that_is_let_pass() -> None:
    for now in EVENINGS:
        at = pd.Timestamp(now, tz="Europe/Athens")
        evenings = tonight(site(), sw.demo_forecast(), at)
        decision = evenings[0].first.decision
        assert decision is not None
        days = [step.date for step in decision.plan]
        assert (decision.date in days) == (decision.advice in ("spray", "either"))
        assert days == sorted(days)


def test_a_material_that_owes_nothing_is_not_urgent() -> None:
    done = '[[program.rounds]]\nmaterial = "oil"\nrounds = 1\ndone = [2025-12-20]\n'
    assert urgency(answer(site(done)), day(13)) is None

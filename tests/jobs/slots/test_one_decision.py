"""One decision in every command. No outside source: the commands are held against each other."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from icalendar import Calendar

import spraywindow as sw
from spraywindow.jobs.slots.calendar import slots_calendar
from spraywindow.jobs.slots.first import planned_slots, tonight, urgency
from spraywindow.program.worth import Terms
from spraywindow.site.groups import block_need
from spraywindow.weather.table import check_hourly
from spraywindow.winters.evenings import decided, mornings_told, seen_mornings
from spraywindow.winters.past import past_season
from spraywindow.winters.replays import ErrorModel, Foresight
from tests.command import command
from tests.jobs.slots.test_evening import answer, day, site

EVENINGS = ["2026-01-13 09:00", "2026-01-16 17:00"]


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
    events = Calendar.from_ical(slots_calendar([evenings], evenings[0].now)).walk("VEVENT")
    alarmed = {event.decoded("dtstart") for event in events if event.walk("VALARM")}
    soon = evenings[0].now + pd.Timedelta(hours=1)  # no alarm that should have rung by now
    assert alarmed == {start.to_pydatetime() for start, _ in planned if start > soon}


def undated_orchard() -> str:
    """The demo's site file of any winter, with nothing done or seen yet."""
    text = sw.sample_path("orchard.toml").read_text()
    text = re.sub(r"(?m)^(stage|observed|done) = .*\n", "", text)
    text = text.replace("leaf_fall = 2025-12-02", 'usual_leaf_fall = "2 Dec"')
    return text[: text.index("[copper]")]


def drawn_evenings(count: int, seed: int) -> list[tuple[str, str]]:
    """Evenings of past winters at hours of the day, and the site file with what is done by then.

    They lie before the buds swell: nobody has looked at them.
    """
    rng = np.random.default_rng(seed)
    out = []
    for _ in range(count):
        day = dt.date(int(rng.integers(2018, 2025)), 12, 8) + dt.timedelta(int(rng.integers(0, 34)))
        text = undated_orchard()
        for name in ("oil", "copper"):
            ago = int(rng.integers(1, 12))
            if rng.random() < 0.5 and (day - dt.timedelta(ago)).day > 3:
                done = f"done = [{day - dt.timedelta(ago)}]"
                text = text.replace(f'material = "{name}"', f'material = "{name}"\n{done}')
        out.append((f"{day} {rng.choice(['07:00', '10:00', '13:00', '18:00', '21:00'])}", text))
    return out


@pytest.mark.parametrize(("now", "text"), drawn_evenings(2, 10))
def test_any_evening_has_one_answer_everywhere(
    now: str, text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)  # the report writes its page there
    at = pd.Timestamp(now, tz="Europe/Athens")
    orchard, ahead, past = (tmp_path / name for name in ("site.toml", "week.csv", "past.csv"))
    orchard.write_text(text)
    winters = sw.demo_winters()
    around = pd.Timedelta(days=8)
    winters[at - around : at + around].to_csv(ahead, index_label="time")
    winters[at - pd.Timedelta(days=1700) : at].to_csv(past, index_label="time")
    ask = ("--site", orchard, "--weather", ahead, "--winters", past, "--now", now)
    said = command("slots", *ask, "--json").answer
    first = said.get("today") or said["tomorrow"]

    page = command("report", *ask, "--json").answer["answers"][0]
    same = ("material", "tomorrow", "plan", "skip", "basis")
    assert {key: page[key] for key in same} == {key: said[key] for key in same}
    assert command("mix", *ask, "--json").answer["material"] == said["material"]

    visits = command("visits", *ask, "--json").answer
    assert visits["date"] == first["date"]
    about = next(each for each in visits["choices"] if each["material"] == said["material"])
    told = ("verdict", "advice", "worth_now", "worth_waiting")
    assert {key: about[key] for key in told} == {key: first[key] for key in told}
    stops = [stop["material"] for stop in visits["stops"]]
    assert stops == ([said["material"]] if first["advice"] in ("spray", "either") else [])
    assert all(stop["prize"] == max(said["skip"]["rounds"], 0) for stop in visits["stops"])

    here = sw.read_site(orchard)
    evenings = list(here.tonight(sw.read_weather(ahead), at, winters=sw.read_weather(past)).found)
    ours = evenings[0].first.decision
    assert ours is not None
    assert (evenings[0].material.name, ours.advice) == (said["material"], first["advice"])
    planned = {(slot.start, slot.material) for slot in planned_slots(evenings)}
    steps = {(step["date"], step["material"]) for step in said["plan"]}
    assert {(start.date().isoformat(), name) for start, name in planned} <= steps
    events = Calendar.from_ical(slots_calendar([evenings], evenings[0].now)).walk("VEVENT")
    alarmed = {event.decoded("dtstart") for event in events if event.walk("VALARM")}
    soon = evenings[0].now + pd.Timedelta(hours=1)  # no alarm that should have rung by now
    assert alarmed == {start.to_pydatetime() for start, _ in planned if start > soon}


def test_season_and_backtest_act_on_an_evening_as_it_was_advised(tmp_path: Path) -> None:
    file = tmp_path / "site.toml"
    file.write_text(undated_orchard())
    here, winters = sw.read_site(file), check_hourly(sw.demo_winters())
    fall, program = dt.date(2024, 12, 2), here.program
    season = past_season(
        winters, here.place, program, {name: here.material(name) for name in program.materials},
        first=fall.replace(year=2025), need=block_need(here.blocks[0], here, None)[1],
        setting=here.setting, access=here.access, duration_h=here.job_h,
    )  # fmt: skip
    # the last winter by the very forecasts that slots is told, the others with the usual errors;
    # all by the general chances, as slots says them
    mornings = mornings_told(Foresight(), season.materials)
    true, usual = seen_mornings(season, winters, here.place, [Foresight(), ErrorModel()], mornings)
    last = np.arange(len(season.labels)) == season.labels.index("2024/25")
    chances = np.where(last, true.general_chances, usual.general_chances)
    found = decided(season, program, chances, Terms.usual(program, season.materials))
    states = found.moves.states
    acted = []
    for evening_d in np.sort(np.random.default_rng(11).choice(np.arange(3, 41), 10, replace=False)):
        at = pd.Timestamp(fall + dt.timedelta(int(evening_d)), tz="Europe/Athens") + pd.Timedelta(
            hours=18
        )
        around = pd.Timedelta(days=9)
        evenings = tonight(
            here, winters[at - around : at + around], at, winters=winters[winters.index < at]
        )
        decision = evenings[0].tomorrow.decision
        assert decision is not None
        for each in evenings:
            number = program.materials.index(each.material.name)
            told = chances[evening_d + 1, 0, number, last][0]
            assert (each.tomorrow.verdict == "go") == np.isfinite(told)
            if np.isfinite(told):
                assert each.tomorrow.chance_dry == pytest.approx(told, abs=1e-9)
        visit = states.visits[found.visits[evening_d + 1, 0, last][0]]
        made = tuple(program.materials[number] for number in visit)
        acted.append(decision.word)
        if decision.advice != "either":  # worth about as much: the replay may do one or the other
            assert made == (decision.materials if decision.advice == "spray" else ())
    assert {"spray", "wait", "no-go"} <= set(acted)


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

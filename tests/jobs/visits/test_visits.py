"""One morning at several sites: urgency, the day's choices, and the reasons."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import InputError
from spraywindow.jobs.slots.first import Urgency
from spraywindow.jobs.visits.answer import Visits, plan_visits, told_apart, why_not_visited
from spraywindow.jobs.visits.driving import driving_minutes
from spraywindow.jobs.visits.route import CrewDay, Job, route_of
from spraywindow.site.flowers import last_day_of, main_flowering
from spraywindow.site.site import Site, read_site, with_done
from spraywindow.sources.files.read_file import read_weather
from spraywindow.spray.catalogue import COPPER, OIL
from tests.command import command
from tests.site_files import write_site, write_weather

EVENING = pd.Timestamp("2026-01-08 16:00", tz="UTC")


@pytest.fixture(scope="module")
def weather(tmp_path_factory: pytest.TempPathFactory) -> pd.DataFrame:
    path = tmp_path_factory.mktemp("weather") / "w.csv"
    return read_weather(write_weather(path, "2026-01-01", 20))


def _site(folder: Path, name: str, **places: float) -> Site:
    return read_site(write_site(folder / f"{name}.toml", name=name, **places))


def _plan(sites: list[Site], weather: pd.DataFrame, **more: object) -> Visits:
    minutes = driving_minutes(
        np.array([site.place.latitude for site in sites]),
        np.array([site.place.longitude for site in sites]),
    )
    now = more.pop("now", EVENING)
    return plan_visits(sites, [weather] * len(sites), now, minutes, **more)  # type: ignore[arg-type]


def test_mornings_left_are_those_known_and_a_share_of_the_later_ones() -> None:
    urgency = Urgency(3, 2, 16, dt.date(2026, 2, 14), 0.25)
    assert urgency.chances == 6.0


def test_the_season_ends_before_the_usual_first_flower(tmp_path: Path) -> None:
    north = _site(tmp_path, "north")
    for day in (dt.date(2026, 1, 8), dt.date(2025, 11, 8)):
        found = main_flowering(north, day)
        assert found.day == dt.date(2026, 3, 1)
        assert last_day_of(COPPER, found) == dt.date(2026, 2, 28)
        # oil goes up to bud burst: ten days before the flowers its last stage is over (P)
        assert last_day_of(OIL, found) == dt.date(2026, 2, 18)


def test_an_assumed_end_gives_way_to_buds_that_were_seen(tmp_path: Path) -> None:
    path = write_site(tmp_path / "A.toml")
    text = path.read_text().replace('usual_first_flower = "1 Mar"\n', "")
    path.write_text(text)
    march = dt.date(2026, 3, 12)
    assumed = main_flowering(read_site(path), march)
    assert assumed.assumed
    assert not main_flowering(_site(tmp_path, "B"), march).assumed
    # dormant on 2 January: in flower in mid-February all the same
    assert assumed.day == dt.date(2026, 2, 15)
    path.write_text(text.replace("2026-01-02", "2026-03-10"))
    assert main_flowering(read_site(path), march).day == dt.date(2026, 4, 7)
    before = main_flowering(read_site(path), dt.date(2026, 3, 9))  # not seen yet
    assert before.day == dt.date(2026, 2, 15)


def test_the_plan_says_whether_the_end_is_assumed(tmp_path: Path, weather: pd.DataFrame) -> None:
    path = write_site(tmp_path / "A.toml")
    plan = _plan([read_site(path)], weather)
    assert not any(choice.urgency.assumed for choice in plan.choices[0])
    path.write_text(path.read_text().replace('usual_first_flower = "1 Mar"\n', ""))
    plan = _plan([read_site(path)], weather)
    assert all(choice.urgency.assumed for choice in plan.choices[0])


def test_all_sites_that_fit_are_visited_one_after_the_other(
    tmp_path: Path, weather: pd.DataFrame
) -> None:
    sites = [_site(tmp_path, name, longitude=21.4 + 0.1 * n) for n, name in enumerate("ABC")]
    plan = _plan(sites, weather)
    assert plan.day == dt.date(2026, 1, 9)
    assert sorted(stop.job.site for stop in plan.route.stops) == [0, 1, 2]
    # the middle one lies on the way
    assert plan.route.stops[1].job.site == 1
    for stop in plan.route.stops:
        choice, slot = plan.chosen(stop.job)
        assert slot.start <= plan.at(stop.start_min, stop.job.site)
        assert plan.at(stop.end_min, stop.job.site) <= slot.end
        assert choice.answer.verdict == "go"


def test_before_noon_the_plan_is_for_today_and_from_now_on(
    tmp_path: Path, weather: pd.DataFrame
) -> None:
    now = pd.Timestamp("2026-01-08 09:20", tz="UTC")  # 11:20 in Athens
    plan = _plan([_site(tmp_path, "A")], weather, now=now)
    assert plan.day == dt.date(2026, 1, 8)
    assert all(plan.at(stop.start_min, 0) >= now for stop in plan.route.stops)


def test_the_way_from_home_begins_now(tmp_path: Path, weather: pd.DataFrame) -> None:
    now = pd.Timestamp("2026-01-08 09:20", tz="UTC")
    far = np.array([[0.0, 60.0], [60.0, 0.0]])
    plan = plan_visits([_site(tmp_path, "A")], [weather], now, far, home=1)
    (stop,) = plan.route.stops
    assert plan.at(stop.start_min, 0) == now + pd.Timedelta(minutes=60)
    assert plan.route.drive_min == 120


def test_mornings_after_the_first_flower_are_no_chances(
    tmp_path: Path, weather: pd.DataFrame
) -> None:
    path = write_site(tmp_path / "A.toml")
    early = tmp_path / "early.toml"
    # of buds that were dormant in early December nothing else follows
    text = path.read_text().replace("2026-01-02", "2025-12-05")
    early.write_text(text.replace('"1 Mar"', '"11 Jan"'))
    late_plan, plan = _plan([read_site(path)], weather), _plan([read_site(early)], weather)
    known = {choice.material: choice.urgency.known for choice in plan.choices[0]}
    assert known == {"oil": 0, "copper": 2}  # 9 and 10 January, too late for oil
    assert all(choice.urgency.known > 2 for choice in late_plan.choices[0])


def test_a_site_without_rounds_owed_is_left_out(tmp_path: Path, weather: pd.DataFrame) -> None:
    done = [dt.date(2025, 12, day) for day in (5, 15, 25)]
    site = with_done(_site(tmp_path, "A"), {"oil": done, "copper": done[:2]})
    plan = _plan([site, _site(tmp_path, "B")], weather)
    assert plan.left_out == {0: "the program is done"}
    assert plan.choices[0] == ()


def test_what_no_maximum_allows_is_not_owed(tmp_path: Path, weather: pd.DataFrame) -> None:
    path = write_site(tmp_path / "A.toml", name="A")
    text = path.read_text().replace('between = "2 days"', "copper_maximum_kg_ha = 1.0")
    for name in ("oil", "copper"):
        text = text.replace(
            f'material = "{name}"', f'material = "{name}"\ncopper_per_round_kg_ha = 1.0'
        )
    path.write_text(text)
    site = with_done(read_site(path), {"copper": [dt.date(2025, 12, 5)]})
    plan = _plan([site, _site(tmp_path, "B")], weather)
    assert plan.choices[0] == ()
    assert plan.left_out == {0: "the season's maxima allow no more"}


def test_the_urgent_site_goes_first_when_the_day_is_short(
    tmp_path: Path, weather: pd.DataFrame
) -> None:
    done = {"oil": [dt.date(2025, 12, 5), dt.date(2025, 12, 15)], "copper": [dt.date(2025, 12, 10)]}
    calm, urgent = with_done(_site(tmp_path, "calm"), done), _site(tmp_path, "urgent")
    # the work ends by 17:00: leaving at 14:00, two jobs of 2 h do not fit
    plan = _plan([calm, urgent], weather, leave_h=14.0)
    assert [stop.job.site for stop in plan.route.stops] == [1]
    worth = {number: max(c.prize for c in plan.choices[number]) for number in (0, 1)}
    assert plan.left_out[0] == (
        "no time beside the others; in the place of urgent the day would count "
        f"{worth[0]:.2f} in all, not {worth[1]:.2f}"
    )
    late = _plan([calm, urgent], weather, leave_h=16.0)
    assert late.route.stops == ()
    assert set(late.left_out.values()) == {"its good hours cannot be reached in time"}


def test_the_reason_tells_what_both_plans_count_in_all(tmp_path: Path) -> None:
    """Arithmetic by hand: the site's worthier material is not the one that fits."""
    sites = [_site(tmp_path, name) for name in "ABC"]
    minutes = np.array([[0.0, 10.0, 10.0], [10.0, 0.0, 10.0], [10.0, 10.0, 0.0]])
    jobs = [
        Job(0, "oil", 480, 600, 120, 0.5),
        Job(1, "oil", 600, 740, 120, 0.4),
        Job(2, "oil", 480, 500, 120, 0.9),  # too short
        Job(2, "copper", 600, 740, 120, 0.3),
    ]
    day = CrewDay(tuple(jobs), minutes)
    assert why_not_visited(2, sites, day, route_of(day)) == (
        "no time beside the others; in the place of B the day would count 0.80 in all, not 0.90"
    )
    even = replace(jobs[3], worth=0.4)
    day = day.of([*jobs[:3], even])
    far = replace(day, minutes=minutes + np.array([[0, 0, 7], [0, 0, 7], [7, 7, 0]]))
    assert why_not_visited(2, sites, far, route_of(far)).endswith(
        "in the place of B the day would count as much in all, 0.90, with 7 min more driving"
    )
    near = why_not_visited(2, sites, day, route_of(day))
    assert near.endswith("as much in all, 0.90, with no less driving")


def test_two_worths_are_told_apart() -> None:
    assert told_apart(0.238, 0.242) == ("0.238", "0.242")
    assert told_apart(0.2, 0.5) == ("0.20", "0.50")


def test_rounds_of_earlier_winters_are_owed_again(tmp_path: Path, weather: pd.DataFrame) -> None:
    site = _site(tmp_path, "A")
    last = [dt.date(2025, 1, day) for day in (3, 13, 23)]
    plan = _plan([with_done(site, {"oil": last})], weather)
    assert {choice.material: choice.urgency.owed for choice in plan.choices[0]} == {
        "oil": 3,
        "copper": 2,
    }


def test_a_site_that_cannot_be_answered_is_left_out_with_its_reason(
    tmp_path: Path, weather: pd.DataFrame
) -> None:
    early = with_done(_site(tmp_path, "early"), {"oil": [dt.date(2026, 1, 30)]})
    short, good = _site(tmp_path, "short"), _site(tmp_path, "good")
    minutes = np.zeros((3, 3))
    tables = [weather, weather[:48], weather]
    plan = plan_visits([early, short, good], tables, EVENING, minutes)
    assert [stop.job.site for stop in plan.route.stops] == [2]
    assert "done on a day to come" in plan.left_out[0]
    assert "2026-01-08" in plan.left_out[1]
    with pytest.raises(InputError, match=r"early: .*day to come.*short: "):
        plan_visits([early, short], tables[:2], EVENING, minutes)


def test_a_round_to_come_is_refused_though_nothing_is_owed(
    tmp_path: Path, weather: pd.DataFrame
) -> None:
    done = [dt.date(2025, 12, 5), dt.date(2025, 12, 15), dt.date(2026, 1, 30)]
    site = with_done(_site(tmp_path, "A"), {"oil": done, "copper": done[:2]})
    plan = _plan([site, _site(tmp_path, "B")], weather)
    assert "done on a day to come" in plan.left_out[0]


def test_the_usual_share_can_be_given(tmp_path: Path, weather: pd.DataFrame) -> None:
    plan = _plan([_site(tmp_path, "A")], weather, usual_share=0.0)
    for choice in plan.choices[0]:
        assert choice.urgency.chances == choice.urgency.known
    usual = _plan([_site(tmp_path, "A")], weather)
    shares = {choice.material: choice.urgency.usual_share for choice in usual.choices[0]}
    assert shares == {"oil": 0.25, "copper": 0.5}


@pytest.mark.parametrize("now", ["2026-01-12 18:00", "2026-01-13 19:00", "2026-01-16 17:00"])
def test_a_site_costs_to_skip_what_slots_says_it_costs(now: str) -> None:
    """The one decision: arithmetic of the same values, no outside source."""
    said = command("slots", "--now", now, "--json").answer
    choices = command("visits", "--now", now, "--json").answer["choices"]
    own = next(each for each in choices if each["material"] == said["material"])
    first = said["tomorrow"]
    assert own["advice"] == first["advice"]
    assert own["worth_waiting"] == first["worth_waiting"]
    assert own["prize"] == (said["skip"] or {"rounds": 0.0})["rounds"]

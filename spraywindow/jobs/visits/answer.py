"""One morning, many sites: where one crew goes, in which order, with which material, and why.

A site's prize is what it costs to let the day pass there, by the decision of its evening. A later
morning counts for it by the share of them on which the crew of all the sites is free. The route
that is worth the most goes, and of equal ones that with the least driving. Every site that is not
on it has its reason.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import pandas as pd

from spraywindow.errors import InputError, SprayWindowError, one_line
from spraywindow.jobs.slots import (
    DayAnswer,
    Decision,
    Evening,
    Urgency,
    beyond_at_large,
    beyond_winters,
    decide,
    evening_of_each,
    urgency,
)
from spraywindow.jobs.visits.route import CrewDay, Job, Route, exchanged_routes, route_of, timed
from spraywindow.program import Program
from spraywindow.reasons import Reason
from spraywindow.site import Doubt, Site, in_season, refuse_future
from spraywindow.spray import Slot
from spraywindow.weather import Array

_MOST_DIGITS = 6  # worths are whole millionths


def why_not_visited(site: int, sites: Sequence[Site], day: CrewDay, route: Route) -> str:
    """Why a site with open hours is not on the route.

    Where it could take the place of one visit, both plans are told by what they count in all:
    the route counts at least as much, since no single exchange makes it better.
    """
    if not any(timed(day, [job]) for job in day.jobs if job.site == site):
        return "its good hours cannot be reached in time"
    out, other = min(
        exchanged_routes(day, route, site), key=lambda pair: pair[1].rank, default=(None, None)
    )
    if out is None or other is None:
        return "no time beside the others, nor in the place of any one of them"
    begin = f"no time beside the others; in the place of {sites[out.site].name} the day would count"
    if other.rank[0] > route.rank[0]:
        would, does = told_apart(other.worth, route.worth)
        return f"{begin} {would} in all, not {does}"
    more = f"{other.drive_min - route.drive_min:.0f}"
    driving = f"{more} min more driving" if more not in ("0", "-0") else "no less driving"
    return f"{begin} as much in all, {route.worth:.2f}, with {driving}"


def told_apart(one: float, other: float) -> tuple[str, str]:
    """Two unequal worths with as many decimals as it takes to tell them apart, two at least."""
    for digits in range(2, _MOST_DIGITS + 1):
        pair = f"{one:.{digits}f}", f"{other:.{digits}f}"
        if pair[0] != pair[1]:
            break
    return pair


@dataclass(frozen=True)
class Choice:
    """A material at a site on the day: the answer, its slots, what is owed, what is decided.

    `slots` are those that the day's decision would use; none where waiting is worth more.
    """

    json_keys: ClassVar = (
        "site=evening.site.name", "material", "verdict=answer.verdict", "reason!",
        "owed=urgency.owed", "known_mornings=urgency.known", "later_days=urgency.later_days",
        "last_day=urgency.last_day", "last_day_assumed=urgency.assumed",
        "chances=urgency.chances:2", "advice=decision.advice", "worth_now=decision.worth_now:2",
        "worth_waiting=decision.worth_waiting:2", "prize:2",
    )  # fmt: skip

    site: int
    evening: Evening
    answer: DayAnswer
    slots: tuple[Slot, ...]
    urgency: Urgency
    decision: Decision

    @property
    def material(self) -> str:
        """Name of the material."""
        return self.evening.material.name

    @property
    def prize(self) -> float:
        """What it costs not to go with it on the day, in expected effective rounds."""
        return 0.0 if self.decision.skip is None else self.decision.skip.rounds


@dataclass(frozen=True)
class PlannedStop:
    """A stop of the round in the site's time, to the minute, with its choice and slot."""

    json_keys: ClassVar = (
        "order", "site=choice.evening.site.name", "material=choice.material", "leave", "arrive",
        "start", "end", "drive_min:1", "slot(start end)", "prize=choice.prize:2",
        "chance=slot.chance:3", "reason!",
    )  # fmt: skip

    order: int
    choice: Choice
    slot: Slot
    leave: pd.Timestamp
    arrive: pd.Timestamp
    start: pd.Timestamp
    end: pd.Timestamp
    drive_min: float


@dataclass(frozen=True)
class LeftOut:
    """A site that is not visited: why, or where that is empty, what the weather's answers say."""

    json_keys: ClassVar = ("site", "reason!")

    site: str
    why: str
    choices: tuple[Choice, ...] = ()


@dataclass(frozen=True)
class Visits:
    """The plan of one day: the route, all choices by site, and why a site is left out.

    Attributes
    ----------
    now : Timestamp
        In the time of the first site.
    day : date
    zero : Timestamp
        Zero of the route's minutes.
    route : Route
    choices : tuple of tuple of Choice
        By site; empty where nothing is owed.
    left_out : mapping of int to str
        Site to the reason; empty where the weather's own answer says it.
    unread : sequence of (str, str)
        Name and reason of sites that could not even be read.
    driving : str
        Where the minutes of driving come from, in words.
    crew_share : float
        Share of the later mornings on which the crew is free for each of the sites.
    """

    json_keys: ClassVar = (
        "now", "date=day", "stops", "left_out=all_left_out", "choices=every_choice",
        "drive_min=route.drive_min:1", "worth=route.worth", "route(proven way)", "driving",
        "in_doubt", "crew_share:2", "cautions!",
    )  # fmt: skip

    sites: tuple[Site, ...]
    now: pd.Timestamp
    day: dt.date
    zero: pd.Timestamp
    route: Route
    choices: tuple[tuple[Choice, ...], ...]
    left_out: Mapping[int, str]
    unread: Sequence[tuple[str, str]] = ()
    driving: str = ""
    crew_share: float = 1.0

    @property
    def stops(self) -> tuple[PlannedStop, ...]:
        """The stops in order."""
        out = []
        for order, stop in enumerate(self.route.stops, start=1):
            leave, arrive, start, end = (
                self.at(minutes, stop.job.site).round("min")
                for minutes in (stop.leave_min, stop.arrive_min, stop.start_min, stop.end_min)
            )
            choice, slot = self.chosen(stop.job)
            out.append(PlannedStop(order, choice, slot, leave, arrive, start, end, stop.drive_min))
        return tuple(out)

    @property
    def all_left_out(self) -> tuple[LeftOut, ...]:
        """Every site that is not visited, those that could not be read last."""
        return (
            *(
                LeftOut(self.sites[site].name, why, self.choices[site])
                for site, why in self.left_out.items()
            ),
            *(LeftOut(name, why) for name, why in self.unread),
        )

    @property
    def every_choice(self) -> tuple[Choice, ...]:
        """The choices of all sites."""
        return tuple(choice for several in self.choices for choice in several)

    @property
    def in_doubt(self) -> tuple[Doubt, ...]:
        """The rounds in doubt of all sites."""
        return tuple(doubt for site in self.sites for doubt in site.in_doubt)

    def at(self, minutes: float, site: int) -> pd.Timestamp:
        """A moment of the route in a site's time."""
        moment = self.zero + pd.Timedelta(minutes=minutes)
        return moment.tz_convert(self.sites[site].place.timezone)

    def chosen(self, job: Job) -> tuple[Choice, Slot]:
        """The choice and the slot behind a job."""
        for choice in self.choices[job.site]:
            for slot in choice.slots:
                if (
                    choice.material == job.material
                    and _minute(slot.start, self.zero) == job.opens_min
                ):
                    return choice, slot
        raise ValueError("a job of another plan")


VISITS_A_DAY = 2
"""Sites that one crew serves on a good day; P."""


def served_share(visits_a_day: int, sites: int) -> float:
    """Share of the mornings on which a crew that so many sites want is free for each of them."""
    return min(visits_a_day / max(sites, 1), 1.0)


def plan_visits(
    sites: Sequence[Site],
    weathers: Sequence[pd.DataFrame],
    now: pd.Timestamp,
    minutes: Array,
    *,
    home: int | None = None,
    leave_h: float | None = None,
    usual_share: float | None = None,
    visits_a_day: int = VISITS_A_DAY,
    winters: Sequence[pd.DataFrame | None] = (),
    unread: Sequence[tuple[str, str]] = (),
    driving: str = "",
) -> Visits:
    """Plan one crew's next day: today before noon, else tomorrow, by the first site's clock.

    A site that cannot be answered is left out with the reason; the others are planned.

    Parameters
    ----------
    sites : sequence of Site
        With what is done.
    weathers : sequence of DataFrame
        One each, holding `now`.
    now : Timestamp
        tz-aware.
    minutes : array [from, to]
        Driving [min]: the sites in order, and home if there is one.
    home : int, optional
        Number of the home in `minutes`.
    leave_h : float, optional
        Earliest local clock hour at which the crew leaves home; not before `now` in any case.
    usual_share : float, optional
        Share of later mornings that are usable [0-1], for every material; default: `USUAL_SHARE`
        or `USUAL_SHARE_SHORT`.
    visits_a_day : int
        Sites that the crew serves on a good day, from 1 on: of more sites, each counts on a later
        morning only by the share on which the crew is free.
    winters : sequence of DataFrame or None, optional
        Hourly record of past winters of each site; without one later mornings are taken as they
        are at large.
    unread : sequence of (str, str)
        Name and reason of sites that could not even be read.
    driving : str
        Where `minutes` come from, in words.

    Raises
    ------
    InputError
        If no site can be answered; with every site's reason.
    """
    local = now.tz_convert(sites[0].place.timezone)
    day = local.date() if local.hour < 12 else local.date() + dt.timedelta(days=1)
    zero = pd.Timestamp(day, tz=sites[0].place.timezone)
    choices: list[tuple[Choice, ...]] = []
    left_out: dict[int, str] = {}
    owing = sum(any(_in_season(site, now).visits_allowed) for site in sites)
    crew_share = served_share(visits_a_day, owing)
    pasts = winters or [None] * len(sites)
    for number, (site, weather, past) in enumerate(zip(sites, weathers, pasts, strict=True)):
        several: tuple[Choice, ...] = ()
        try:
            several = _choices(number, site, weather, now, day, usual_share, past, crew_share)
        except SprayWindowError as error:
            left_out[number] = str(error)
        choices.append(several)
    if len(left_out) == len(sites):
        unanswered = [*unread, *((sites[number].name, why) for number, why in left_out.items())]
        raise InputError(one_line([f"{name}: {why}" for name, why in unanswered]))
    jobs = tuple(
        Job(
            number,
            choice.material,
            _minute(slot.start, zero),
            _minute(slot.end, zero),
            sites[number].job_h * 60,
            max(choice.prize, LEAST_PRIZE),
        )
        for number, several in enumerate(choices)
        for choice in several
        for slot in choice.slots
    )
    ready = max(_minute(now, zero), -np.inf if leave_h is None else leave_h * 60)
    crew_day = CrewDay(jobs, minutes, home, ready)
    route = route_of(crew_day)
    on_route = {job.site for job in route.jobs}
    open_sites = {job.site for job in jobs}
    for number, several in enumerate(choices):
        if number in on_route or number in left_out:
            continue
        if not several:
            left_out[number] = _nothing_owed(sites[number], now)
        elif number in open_sites:
            left_out[number] = why_not_visited(number, sites, crew_day, route)
        else:
            left_out[number] = ""
    return Visits(
        tuple(sites), local, day, zero, route, tuple(choices), dict(sorted(left_out.items())),
        unread, driving, crew_share,
    )  # fmt: skip


def _in_season(site: Site, now: pd.Timestamp) -> Program:
    return in_season(site, now.tz_convert(site.place.timezone).date()).program


def _nothing_owed(site: Site, now: pd.Timestamp) -> str:
    program = _in_season(site, now)
    done = not any(entry.rounds_owed for entry in program.entries)
    return "the program is done" if done else "the season's maxima allow no more"


def _minute(moment: pd.Timestamp, zero: pd.Timestamp) -> float:
    return float((moment - zero) / pd.Timedelta(minutes=1))


LEAST_PRIZE = 0.01
"""Of a visit that is worth about as much as waiting: it goes where the crew has nothing better."""


def _choices(
    number: int,
    site: Site,
    weather: pd.DataFrame,
    now: pd.Timestamp,
    day: dt.date,
    share: float | None,
    winters: pd.DataFrame | None,
    served: float,
) -> tuple[Choice, ...]:
    """What the site may get: a choice for each material that owes visits, the dearest first.

    A material that had better wait has no slots on the day.
    """
    today = now.tz_convert(site.place.timezone).date()
    refuse_future(site, today)
    out = []
    evenings = evening_of_each(site, weather, now, site.program.materials)
    if winters is None:
        beyond = beyond_at_large(site, now, share)
    else:
        beyond = beyond_winters(site, winters, now, weather)
    for tonight in evenings:
        urgent = urgency(tonight, day, share)
        if urgent is None:  # nothing is owed in this season
            continue
        answer = next(
            (each for each in tonight.answers if each.date == day),
            DayAnswer(
                day, "unknown", None, "", np.nan, Reason("the weather does not reach so far")
            ),
        )
        slots = tuple(slot for slot in tonight.slots if slot.start.date() == day)
        decision = decide(evenings, beyond, day=day, only=tonight.material.name, served=served)
        goes = answer.verdict == "go" and decision.advice in ("spray", "either")
        out.append(Choice(number, tonight, answer, slots if goes else (), urgent, decision))
    return tuple(sorted(out, key=lambda choice: -choice.prize))

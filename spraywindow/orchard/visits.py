"""One morning, many sites: where one crew goes, in which order, with which material.

Urgency is what a site owes over what its season still holds: rounds owed of a material, divided
by the usable mornings known this week and those to be expected until the first flower. The
route with the most urgency goes, and of equal ones that with the least driving.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from spraywindow.orchard.evening import Answer, Evening, evening
from spraywindow.orchard.route import Job, Route, best_route
from spraywindow.orchard.site import Site
from spraywindow.orchard.urgency import Urgency, urgency
from spraywindow.spray.slots import Slot
from spraywindow.weather.interval import Array


@dataclass(frozen=True)
class Choice:
    """A material at a site on the day: the answer, its slots, how urgent it is."""

    site: int
    evening: Evening
    answer: Answer
    slots: tuple[Slot, ...]
    urgency: Urgency

    @property
    def material(self) -> str:
        """Name of the material."""
        return self.evening.material.name


@dataclass(frozen=True)
class Visits:
    """The plan of one day: the route, all choices by site, and why a site is left out.

    Attributes
    ----------
    day : date
    zero : Timestamp
        Zero of the route's minutes.
    route : Route
    choices : tuple of tuple of Choice
        By site; empty where nothing is owed.
    left_out : mapping of int to str
        Site to the reason.
    """

    sites: tuple[Site, ...]
    day: dt.date
    zero: pd.Timestamp
    route: Route
    choices: tuple[tuple[Choice, ...], ...]
    left_out: Mapping[int, str]

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


def plan_visits(
    sites: Sequence[Site],
    weathers: Sequence[pd.DataFrame],
    now: pd.Timestamp,
    minutes: Array,
    *,
    home: int | None = None,
    leave_h: float | None = None,
    usual_share: float | None = None,
) -> Visits:
    """Plan one crew's next day: today before noon, else tomorrow, by the first site's clock.

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

    Raises
    ------
    InputError
        If a weather table does not hold `now`, or too many sites have open hours.
    """
    local = now.tz_convert(sites[0].place.timezone)
    day = local.date() if local.hour < 12 else local.date() + dt.timedelta(days=1)
    zero = pd.Timestamp(day, tz=sites[0].place.timezone)
    choices = tuple(
        _choices(number, site, weather, now, day, usual_share)
        for number, (site, weather) in enumerate(zip(sites, weathers, strict=True))
    )
    jobs = [
        Job(
            number,
            choice.material,
            _minute(slot.start, zero),
            _minute(slot.end, zero),
            sites[number].crew.job * 60,
            choice.urgency.value,
        )
        for number, several in enumerate(choices)
        for choice in several
        for slot in choice.slots
    ]
    ready = max(_minute(now, zero), -np.inf if leave_h is None else leave_h * 60)
    route = best_route(jobs, minutes, home=home, ready_min=ready)
    visited = {stop.job.site for stop in route.stops}
    left_out = {
        number: _why_not(number, sites, several, jobs, route, minutes, home, ready)
        for number, several in enumerate(choices)
        if number not in visited
    }
    return Visits(tuple(sites), day, zero, route, choices, left_out)


def _minute(moment: pd.Timestamp, zero: pd.Timestamp) -> float:
    return float((moment - zero) / pd.Timedelta(minutes=1))


def _choices(
    number: int,
    site: Site,
    weather: pd.DataFrame,
    now: pd.Timestamp,
    day: dt.date,
    share: float | None,
) -> tuple[Choice, ...]:
    """What the site may get: a choice for each material that owes visits, most urgent first."""
    out = []
    for entry in site.program.entries:
        if not entry.visits_owed:
            continue
        the = evening(site, weather, now, entry.material)
        urgent = urgency(the, day, share)
        if urgent is None:  # done by what this season's record says
            continue
        answer = next(
            (each for each in the.answers if each.date == day),
            Answer(day, "unknown", None, "", np.nan, "the weather does not reach so far"),
        )
        slots = tuple(slot for slot in the.slots if slot.start.date() == day)
        out.append(Choice(number, the, answer, slots if answer.verdict == "go" else (), urgent))
    return tuple(sorted(out, key=lambda choice: -choice.urgency.value))


def _why_not(
    site: int,
    sites: Sequence[Site],
    choices: Sequence[Choice],
    jobs: Sequence[Job],
    route: Route,
    minutes: Array,
    home: int | None,
    ready_min: float,
) -> str:
    """Why a site is not on the route; empty where the weather's own answer says it."""
    if not choices:
        return "the program is done"
    own = [job for job in jobs if job.site == site]
    if not own:
        return ""
    if not best_route(own, minutes, home=home, ready_min=ready_min).stops:
        return "its good hours cannot be reached in time"
    worth = max(job.worth for job in own)
    for out in sorted(route.stops, key=lambda stop: stop.job.worth):
        rest = [stop.job for stop in route.stops if stop is not out]
        swapped = best_route([*rest, *own], minutes, home=home, ready_min=ready_min)
        if len(swapped.stops) == len(rest) + 1:
            return (
                f"no time beside the others; in the place of {sites[out.job.site].name} it would "
                f"count {worth:.2f}, not {out.job.worth:.2f}"
            )
    return "no time beside the others, who count more together"

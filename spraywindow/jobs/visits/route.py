"""The best round of one crew through several sites on one day, by dynamic programming.

A label is a set of sites visited, the last of them, the worth gathered, the time and the driving
so far [1]_. It is dropped when another one of the same set and last site is at least as good in
all three, or when even the worthiest sites left could not bring it up to a round that is known:
the answer is exact. With a width, only the most promising labels of each length go on [2]_, and
the answer is exact only where none had to be left behind.

References
----------
.. [1] Held and Karp (1962), A dynamic programming approach to sequencing problems,
   J. SIAM 10: 196-210, https://doi.org/10.1137/0110015
.. [2] Malandraki and Dial (1996), A restricted dynamic programming heuristic algorithm for the
   time dependent traveling salesman problem, European J. Operational Research 90: 45-55,
   https://doi.org/10.1016/0377-2217(94)00299-1
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Literal, NamedTuple

import numpy as np

from spraywindow.weather import Array

Way = Literal["exact", "label search"]
NEAR: Way = "label search"
WORTH_STEPS = 1_000_000
"""Worths are compared in millionths, so that sums are exact."""
CLOSE_MIN = 1e-9
"""Times that differ by less are equal [min]."""


@dataclass(frozen=True)
class Job:
    """One material at one site within one run of good hours.

    Parameters
    ----------
    site : int
        Number of the site, from 0.
    material : str
    opens_min, closes_min : float
        The work must lie between them [min from any common zero].
    work_min : float
        Length of the work, above 0 [min].
    worth : float
        What the visit counts, above 0.
    """

    site: int
    material: str
    opens_min: float
    closes_min: float
    work_min: float
    worth: float

    @property
    def steps(self) -> int:
        """The worth in whole steps."""
        return round(self.worth * WORTH_STEPS)


@dataclass(frozen=True)
class CrewDay:
    """What a day offers one crew.

    Parameters
    ----------
    jobs : tuple of Job
        Each site is visited at most once, for one of its jobs.
    minutes : array [from, to]
        Driving between the places [min]: the sites by number, and home if there is one.
    home : int, optional
        Number of the place where the day begins and ends. Without it the day begins at the
        first site and ends at the last.
    ready_min : float
        When the crew can leave home, or be at the first site, at the earliest [min].
    """

    jobs: tuple[Job, ...]
    minutes: Array
    home: int | None = None
    ready_min: float = -math.inf

    def drive_min(self, last: Job | None, job: Job) -> float:
        """Driving to a job from another one, or from where the day begins [min]."""
        place = self.home if last is None else last.site
        return 0.0 if place is None else float(self.minutes[place, job.site])

    def home_min(self, last: Job | None) -> float:
        """Driving home after a job [min]."""
        if self.home is None or last is None:
            return 0.0
        return float(self.minutes[last.site, self.home])

    def end_min(self, time_min: float, last: Job | None, job: Job) -> float | None:
        """When a job is done after another that ended at a time; None where it closes before."""
        begin = max(time_min + self.drive_min(last, job), job.opens_min)
        end = begin + job.work_min
        return end if end <= job.closes_min + CLOSE_MIN else None

    def of(self, jobs: Sequence[Job]) -> CrewDay:
        """The same day with other jobs."""
        return replace(self, jobs=tuple(jobs))


@dataclass(frozen=True)
class Stop:
    """A visit of the route: driving there, and when it is left, reached, begun, ended [min]."""

    job: Job
    drive_min: float
    leave_min: float
    arrive_min: float
    start_min: float
    end_min: float


@dataclass(frozen=True)
class Route:
    """The stops in order, what they are worth, and the driving with the way home [min].

    `proven` tells whether no round is better; `way` how it was found.
    """

    stops: tuple[Stop, ...]
    worth: float
    drive_min: float
    proven: bool = False
    way: Way = "exact"

    @property
    def jobs(self) -> tuple[Job, ...]:
        """The jobs in order."""
        return tuple(stop.job for stop in self.stops)

    @property
    def rank(self) -> tuple[int, float, float]:
        """The lesser, the better: by worth, then driving, then the end."""
        steps = sum(job.steps for job in self.jobs)
        return -steps, round(self.drive_min, 6), self.stops[-1].end_min if self.stops else -math.inf


def timed(day: CrewDay, jobs: Sequence[Job]) -> Route | None:
    """Put jobs in a given order on the clock, each as early as it may; None where one closes."""
    stops: list[Stop] = []
    time, last = day.ready_min, None
    for job in jobs:
        drive, end = day.drive_min(last, job), day.end_min(time, last, job)
        if end is None:
            return None
        start = end - job.work_min
        # the first leaves home as late as it may, the others when the work is done
        leave = max(day.ready_min, start - drive) if last is None else time
        stops.append(Stop(job, drive, leave, leave + drive, start, end))
        time, last = end, job
    drive = sum(stop.drive_min for stop in stops) + day.home_min(last)
    return Route(tuple(stops), sum(job.steps for job in jobs) / WORTH_STEPS, drive)


MOST_LABELS = 1_000_000
"""Beyond so many visits looked at, a few seconds, the exact search is given up."""
WIDEST = 1000
"""Labels of each length that the search without a proof keeps."""
USUAL_WAY = 0.25
"""Quantile of the driving between the sites that stands for the way to a next one."""


class _Label(NamedTuple):
    """A set of sites visited, the job done last (by number; -1: none), and what came of it."""

    visited: int
    last: int
    worth: int
    time_min: float
    drive_min: float
    before: _Label | None = None

    def jobs(self) -> list[int]:
        """The jobs in order, by number."""
        return [] if self.before is None else [*self.before.jobs(), self.last]


def route_of(day: CrewDay, *, most: int = MOST_LABELS, widest: int = WIDEST) -> Route:
    """Find the route with the most worth, of those the one with the least driving.

    Parameters
    ----------
    day : CrewDay
    most : int
        Beyond so many visits looked at the exact search is given up.
    widest : int
        So many labels of each length go on in the search for a near route, which comes first.

    Returns
    -------
    Route
        `proven` where no other is better; elsewhere no single exchange of visits makes it better.
    """
    near = _labelled_route(day, widest=widest)
    assert near is not None  # it is never given up
    if near.proven:
        return near
    exact = _labelled_route(day, near, most=most)
    if exact is not None:
        return exact
    sites = {job.site for job in day.jobs}
    while True:
        others = (made for site in sites for _, made in exchanged_routes(day, near, site))
        other = min(others, key=lambda route: route.rank, default=near)
        if other.rank >= near.rank:
            return near
        near = other


def exchanged_routes(day: CrewDay, route: Route, site: int) -> Iterator[tuple[Job, Route]]:
    """Every route in which a visit of a site, not on it, takes the place of one of the visits.

    Gives the job that goes with each; the others keep their order.
    """
    if any(job.site == site for job in route.jobs):
        return
    for number, out in enumerate(route.jobs):
        rest = route.jobs[:number] + route.jobs[number + 1 :]
        for job in (job for job in day.jobs if job.site == site):
            for place in range(len(rest) + 1):
                if made := timed(day, [*rest[:place], job, *rest[place:]]):
                    yield out, replace(made, way=NEAR)


def _labelled_route(
    day: CrewDay,
    known: Route | None = None,
    *,
    most: float = math.inf,
    widest: float = math.inf,
) -> Route | None:
    """Search by labels; of equal worth and driving, the route that ends first.

    With a route that is known the answer comes sooner. None where more visits than `most` were
    looked at.
    """
    steps = _Steps(day)
    best = _Label(0, -1, 0, day.ready_min, 0.0)
    best_rank, least = steps.rank(best), -known.rank[0] if known else 0
    looked, whole = 0, True
    level = [best]
    while level:
        following: dict[tuple[int, int], list[_Label]] = {}
        for made in (made for label in level for made in steps.visits_after(label)):
            looked += 1
            if looked > most:
                return None
            if made.worth >= best.worth and (rank := steps.rank(made)) < best_rank:
                best, best_rank, least = made, rank, max(least, made.worth)
            _keep(following.setdefault((made.visited, steps.sites[made.last]), []), made)
        level = [
            label for labels in following.values() for label in labels if steps.most(label) >= least
        ]
        if len(level) > widest:
            whole = False
            level.sort(key=lambda label: (-steps.likely(label), label.time_min))
            del level[int(widest) :]
    found = timed(day, [day.jobs[number] for number in best.jobs()])
    if found is None:
        raise ValueError("a label that does not keep to its hours")
    return replace(found, proven=whole, way="exact" if whole else NEAR)


class _Steps:
    """From one visit to the next, the day's numbers at hand."""

    def __init__(self, day: CrewDay):
        self._day = day
        self.sites = [job.site for job in day.jobs]
        bit = {site: 1 << number for number, site in enumerate(sorted(set(self.sites)))}
        # the last row: from where the day begins
        befores: list[Job | None] = [*day.jobs, None]
        self._jobs = [
            (
                number,
                bit[job.site],
                job.steps,
                job.opens_min,
                job.work_min,
                job.closes_min + CLOSE_MIN,
                [day.drive_min(before, job) for before in befores],
            )
            for number, job in enumerate(day.jobs)
        ]
        self._home = [day.home_min(before) for before in befores]
        worthiest: dict[int, int] = {}
        for job in day.jobs:
            worthiest[bit[job.site]] = max(worthiest.get(bit[job.site], 0), job.steps)
        self._worths = sorted(((worth, site) for site, worth in worthiest.items()), reverse=True)
        self._closes = max((job.closes_min for job in day.jobs), default=0.0)
        ways = [float(day.minutes[one, other]) for one in bit for other in bit if one != other]
        work = min((job.work_min for job in day.jobs), default=1.0)
        self._shortest = work + min(ways, default=0.0)
        self._usual = work + (float(np.quantile(ways, USUAL_WAY)) if ways else 0.0)

    def visits_after(self, label: _Label) -> Iterator[_Label]:
        """Every label that one visit more makes."""
        visited, last, worth, time, drive, _ = label
        for number, site, steps, opens, work, closes, ways in self._jobs:
            if not visited & site:
                way = ways[last]
                end = max(time + way, opens) + work
                if end <= closes:
                    yield _Label(visited | site, number, worth + steps, end, drive + way, label)

    def rank(self, label: _Label) -> tuple[int, float, float]:
        """As `Route.rank`."""
        drive = label.drive_min + self._home[label.last]
        return -label.worth, round(drive, 6), label.time_min

    def most(self, label: _Label) -> int:
        """The most worth that can come of a label: the worthiest sites left, as time allows."""
        count = int((self._closes - label.time_min) / self._shortest + 1e-6)
        return label.worth + sum(islice(self._left(label), max(count, 0)))

    def likely(self, label: _Label) -> float:
        """As `most`, were the ways to the sites left the usual ones."""
        count, part = divmod(max((self._closes - label.time_min) / self._usual, 0.0), 1.0)
        left = self._left(label)
        return label.worth + sum(islice(left, int(count))) + part * next(left, 0)

    def _left(self, label: _Label) -> Iterator[int]:
        """Worths of the sites not visited, the worthiest first."""
        return (worth for worth, site in self._worths if not label.visited & site)


def _keep(labels: list[_Label], made: _Label) -> None:
    """Add a label unless another is at least as good; drop those that it beats."""
    _, _, worth, time, drive, _ = made
    for other in labels:
        if other.worth >= worth and other.time_min <= time and other.drive_min <= drive:
            return
    labels[:] = [
        other
        for other in labels
        if not (worth >= other.worth and time <= other.time_min and drive <= other.drive_min)
    ]
    labels.append(made)

"""A round of one crew through several sites on one day: jobs, stops, and the clock of a round."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from spraywindow.weather.interval import Array

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

"""The best round of one crew through several sites on one day, by dynamic programming.

A label is a set of sites visited, the last of them, the worth gathered, the time and the driving
so far [1]_. It is dropped when another one of the same set and last site is at least as good in
all three, or when even the worthiest sites left could not bring it up to a round that is known:
the answer is exact. With a width, only the most promising labels of each length go on [2]_, and
the answer is as good as exact only where none had to be left behind.

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
from collections.abc import Iterator
from dataclasses import replace
from itertools import islice
from typing import NamedTuple

from spraywindow.orchard.route import CLOSE_MIN, CrewDay, Job, Route, timed


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


def labelled_route(
    day: CrewDay, known: Route, *, most: float = math.inf, widest: int | None = None
) -> Route | None:
    """Find the route with the most worth, of those the one with the least driving.

    Parameters
    ----------
    day : CrewDay
    known : Route
        Any route of that day; the better, the sooner the answer.
    most : float
        Beyond so many visits looked at the search is given up.
    widest : int, optional
        So many labels of each length go on, those that could still gather the most.

    Returns
    -------
    Route or None
        Equal in worth and driving, the one that ends first. None where the search was given up.
    """
    steps = _Steps(day)
    best = _Label(0, -1, 0, day.ready_min, 0.0)
    best_rank, least = steps.rank(best), -known.rank[0]
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
        if widest is not None and len(level) > widest:
            whole = False
            level.sort(key=lambda label: (-steps.most(label), label.time_min))
            del level[widest:]
    found = timed(day, [day.jobs[number] for number in best.jobs()])
    if found is None:
        raise ValueError("a label that does not keep to its hours")
    return replace(found, proven=whole, way="exact" if whole else "insertion and exchange")


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
        left = (worth for worth, site in self._worths if not label.visited & site)
        return label.worth + sum(islice(left, max(count, 0)))


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

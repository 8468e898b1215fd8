"""A good round without a proof: the cheapest insertion, then exchanges until none is better.

A round is built by putting in, again and again, the visit that counts most (or counts most for
its time) where it lengthens the way least. It is then changed in every way of [1]_ and [2]_: a
stretch is turned round or moved, up to `LONGEST_CUT` visits in a row give way to another, and
what then fits is put in. The first change that makes it better is kept, until none does.

References
----------
.. [1] Croes (1958), A method for solving traveling-salesman problems, Operations Research 6:
   791-812, https://doi.org/10.1287/opre.6.6.791: stretches turned round (2-opt).
.. [2] Or (1976), Traveling salesman-type combinatorial problems, thesis, Northwestern
   University: stretches of up to three moved (or-opt).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

from spraywindow.orchard.route import CLOSE_MIN, CrewDay, Job, Route, timed
from spraywindow.weather.interval import Array

LONGEST_CUT = 3
Order = tuple[int, ...]
"""Jobs of the day by number, one after the other."""


def near_route(day: CrewDay) -> Route:
    """Find a route that no single change improves; it keeps to every hour, and is not proven."""
    search = _Search(day)
    orders = [search.improved(search.filled((), by_time=by_time)) for by_time in (False, True)]
    return search.route(min(orders, key=search.rank))


def improved_route(day: CrewDay, jobs: Sequence[Job]) -> Route:
    """Improve a route of a day, given by its jobs in order, until no single change does."""
    search = _Search(day)
    return search.route(search.improved(tuple(day.jobs.index(job) for job in jobs)))


def exchanged_routes(day: CrewDay, route: Route, site: int) -> Iterator[tuple[Job, Route]]:
    """Every route in which a visit of a site takes the place of one of the visits.

    Gives the job that goes with each; the others keep their order.
    """
    search = _Search(day)
    order = tuple(day.jobs.index(job) for job in route.jobs)
    for place, out in enumerate(route.jobs):
        rest = order[:place] + order[place + 1 :]
        for job in np.flatnonzero(search.site == site):
            if search.keeps(rest) and (made := search.put_in(rest, int(job))) is not None:
                yield out, search.route(made)


class _Search:
    """The jobs of a day as arrays, so that all places of all jobs are tried at once.

    The number after the last job stands for where the day begins and ends.
    """

    def __init__(self, day: CrewDay):
        jobs = day.jobs
        self.day = day
        self.site = np.array([job.site for job in jobs], dtype=np.int64)
        self.opens = np.array([job.opens_min for job in jobs])
        self.work = np.array([job.work_min for job in jobs])
        self.latest = np.array([job.closes_min for job in jobs]) - self.work + CLOSE_MIN
        self.steps = np.array([job.steps for job in jobs], dtype=np.int64)
        self.way: Array = np.zeros((len(jobs) + 1, len(jobs) + 1))
        self.way[:-1, :-1] = day.minutes[np.ix_(self.site, self.site)]
        self.way[-1, :-1] = [day.drive_min(None, job) for job in jobs]
        self.way[:-1, -1] = [day.home_min(job) for job in jobs]
        self._rows = list(zip(self.opens.tolist(), self.work.tolist(), self.latest.tolist(),
                              strict=True))  # fmt: skip
        self._ways = self.way.tolist()

    def route(self, order: Order) -> Route:
        """The order on the clock."""
        found = timed(self.day, [self.day.jobs[number] for number in order])
        if found is None:
            raise ValueError("an order that does not keep to its hours")
        return replace(found, way="insertion and exchange")

    def improved(self, order: Order) -> Order:
        """Change an order until no change makes it better."""
        rank, found = self.rank(order), True
        while found:
            found = False
            for changed in self._changes(order):
                if not self.keeps(changed):
                    continue
                tried = self.filled(changed)
                if (new := self.rank(tried)) < rank:
                    order, rank, found = tried, new, True
                    break
        return order

    def keeps(self, order: Order) -> bool:
        """Whether an order keeps to its hours."""
        return self._ends(order) is not None

    def rank(self, order: Order) -> tuple[int, float, float]:
        """As `Route.rank`, of an order that keeps to its hours."""
        ends = self._ends(order) or [math.nan]
        drive = sum(self._ways[one][other] for one, other in pairwise((-1, *order, -1)))
        return -int(self.steps[list(order)].sum()), round(drive, 6), ends[-1]

    def filled(self, order: Order, *, by_time: bool = False) -> Order:
        """Put in what fits, the worthiest first; `by_time`: for the work and the way it takes."""
        while True:
            added, fits = self._places(order)
            if not fits.any():
                return order
            least = np.where(fits, added, np.inf).min(axis=0)
            # by a table of minutes a detour may even shorten the way
            time = self.work + np.maximum(least, 0.0) if by_time else 1.0
            worth = np.where(fits.any(axis=0), self.steps / time, -1.0)
            order = self._at_best_place(order, int(np.lexsort((least, -worth))[0]), added, fits)

    def put_in(self, order: Order, job: int) -> Order | None:
        """Put one job in where it lengthens the way least; None where it fits nowhere."""
        added, fits = self._places(order)
        return self._at_best_place(order, job, added, fits) if fits[:, job].any() else None

    def _at_best_place(
        self, order: Order, job: int, added: Array, fits: NDArray[np.bool_]
    ) -> Order:
        place = int(np.where(fits[:, job], added[:, job], np.inf).argmin())
        return (*order[:place], job, *order[place:])

    def _places(self, order: Order) -> tuple[Array, NDArray[np.bool_]]:
        """Driving that each job adds at each place of an order [min], and whether it fits there.

        Both [place, job]; a job of a site that is in the order fits nowhere.
        """
        ends = np.array(self._ends(order))
        before, after = [-1, *order], [*order, -1]
        to, on = self.way[before, :-1], self.way[:-1, after].T
        start = np.maximum(ends[:, None] + to, self.opens)
        fits = (start <= self.latest) & ~np.isin(self.site, self.site[list(order)])
        # the one after must begin early enough for all that follow
        fits &= start + self.work + on <= np.array(self._latest_starts(order))[:, None]
        return to + on - self.way[before, after][:, None], fits

    def _ends(self, order: Order) -> list[float] | None:
        """When the crew is free before each place of an order [min]; None where a job closes."""
        ends, last = [self.day.ready_min], -1
        for job in order:
            opens, work, latest = self._rows[job]
            start = max(ends[-1] + self._ways[last][job], opens)
            if start > latest:
                return None
            ends.append(start + work)
            last = job
        return ends

    def _latest_starts(self, order: Order) -> list[float]:
        """When to be at each place of an order at the latest, for it and those after [min]."""
        latest, following = [math.inf], -1
        for job in reversed(order):
            _, work, closes = self._rows[job]
            latest.append(min(closes, latest[-1] - self._ways[job][following] - work))
            following = job
        return latest[::-1]

    def _changes(self, order: Order) -> Iterator[Order]:
        """Every order that one change makes; some do not keep to the hours."""
        count = len(order)
        for begin, end in combinations(range(count + 1), 2):
            if end - begin > 1:
                yield order[:begin] + order[begin:end][::-1] + order[end:]
        for length in range(1, min(LONGEST_CUT, count) + 1):
            for begin in range(count - length + 1):
                cut, rest = order[begin : begin + length], order[:begin] + order[begin + length :]
                for place in range(len(rest) + 1):
                    yield rest[:place] + cut + rest[place:]
                if self.keeps(rest):  # driving need not be shorter without a stop
                    added, fits = self._places(rest)
                    for job in np.flatnonzero(fits.any(axis=0)):
                        yield self._at_best_place(rest, int(job), added, fits)

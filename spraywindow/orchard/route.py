"""The best round of one crew through several sites on one day, exactly.

Dynamic programming over subsets of the sites: a label is a set of sites visited, the last of
them, the worth gathered, the time and the driving so far. A label is dropped only when another
one of the same set and last site is at least as good in all three, so the answer is exact.

References
----------
.. [1] Held and Karp (1962), A dynamic programming approach to sequencing problems,
   J. SIAM 10: 196-210, https://doi.org/10.1137/0110015
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from spraywindow.errors import InputError, describe
from spraywindow.weather.interval import Array

MOST_SITES = 14
"""So many sites with open hours are planned exactly, within seconds."""
_WORTH_STEPS = 1_000_000  # worths are compared in millionths, so that sums are exact


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
        Length of the work [min].
    worth : float
        What the visit counts, above 0.
    """

    site: int
    material: str
    opens_min: float
    closes_min: float
    work_min: float
    worth: float


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
    """The stops in order, what they are worth, and the driving with the way home [min]."""

    stops: tuple[Stop, ...]
    worth: float
    drive_min: float


@dataclass(frozen=True)
class _Label:
    visited: int
    last: int
    worth: int
    time_min: float
    drive_min: float
    job: Job | None = None
    before: _Label | None = None


def best_route(
    jobs: Sequence[Job], minutes: Array, *, home: int | None = None, ready_min: float = -math.inf
) -> Route:
    """Find the route with the most worth, of those the one with the least driving.

    Parameters
    ----------
    jobs : sequence of Job
        Each site is visited at most once, for one of its jobs.
    minutes : array [from, to]
        Driving between the places [min]: the sites by number, and home if there is one.
    home : int, optional
        Number of the place where the day begins and ends. Without it the day begins at the
        first site and ends at the last.
    ready_min : float
        When the crew can leave home, or be at the first site, at the earliest [min].

    Returns
    -------
    Route
        Equal in worth and driving, the one that ends first.

    Raises
    ------
    InputError
        If more than `MOST_SITES` sites have jobs.
    """
    sites = sorted({job.site for job in jobs})
    if len(sites) > MOST_SITES:
        raise InputError(
            describe("too many sites with open hours for one crew's route",
                     expected=f"at most {MOST_SITES}", got=len(sites),
                     cure="plan by district, or by crew")
        )  # fmt: skip
    bit = {site: 1 << number for number, site in enumerate(sites)}
    start = _Label(0, -1 if home is None else home, 0, ready_min, 0.0)
    level: dict[tuple[int, int], list[_Label]] = {(0, start.last): [start]}
    best = start
    while level:
        following: dict[tuple[int, int], list[_Label]] = {}
        for labels in level.values():
            for label in labels:
                best = _better(best, label, minutes, home)
                for job in jobs:
                    if label.visited & bit[job.site]:
                        continue
                    made = _visit(label, job, minutes, bit[job.site])
                    if made is not None:
                        _keep(following.setdefault((made.visited, made.last), []), made)
        level = following
    return _route(best, minutes, home, ready_min)


def _visit(label: _Label, job: Job, minutes: Array, bit: int) -> _Label | None:
    drive = 0.0 if label.last < 0 else float(minutes[label.last, job.site])
    begin = max(label.time_min + drive, job.opens_min)
    end = begin + job.work_min
    if end > job.closes_min + 1e-9:
        return None
    worth = label.worth + round(job.worth * _WORTH_STEPS)
    return _Label(label.visited | bit, job.site, worth, end, label.drive_min + drive, job, label)


def _keep(labels: list[_Label], made: _Label) -> None:
    """Add a label unless another is at least as good; drop those that it beats."""
    if any(_covers(other, made) for other in labels):
        return
    labels[:] = [other for other in labels if not _covers(made, other)]
    labels.append(made)


def _covers(one: _Label, other: _Label) -> bool:
    return (
        one.worth >= other.worth
        and one.time_min <= other.time_min
        and one.drive_min <= other.drive_min
    )


def _home_min(label: _Label, minutes: Array, home: int | None) -> float:
    return 0.0 if home is None or label.job is None else float(minutes[label.last, home])


def _better(best: _Label, label: _Label, minutes: Array, home: int | None) -> _Label:
    def rank(each: _Label) -> tuple[int, float, float]:
        drive = each.drive_min + _home_min(each, minutes, home)
        return -each.worth, round(drive, 6), each.time_min

    return label if rank(label) < rank(best) else best


def _route(last: _Label, minutes: Array, home: int | None, ready_min: float) -> Route:
    stops: list[Stop] = []
    label = last
    while label.job is not None and label.before is not None:
        before = label.before
        drive = label.drive_min - before.drive_min
        start = label.time_min - label.job.work_min
        # the first leaves home as late as it may, the others when the work is done
        leave = max(ready_min, start - drive) if before.job is None else before.time_min
        stops.insert(0, Stop(label.job, drive, leave, leave + drive, start, label.time_min))
        label = before
    total = last.drive_min + _home_min(last, minutes, home)
    return Route(tuple(stops), last.worth / _WORTH_STEPS, total)

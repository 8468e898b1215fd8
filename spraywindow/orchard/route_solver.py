"""A round improved by OR-Tools, where it is installed, on days too large for the exact search.

Guided local search from a round that is known; one step of worth is weighed as `WORTH_WAY` steps
of the way. Driving is rounded up and hours inwards to whole steps, so that what it finds keeps
to the hours. The work is limited by the number of rounds looked at, not by the clock, so that
the answer is the same every time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from importlib.util import find_spec
from typing import Any

from spraywindow.orchard.route import CrewDay, Job, Route, timed

TIME_STEPS = 1000
"""Steps of time in a minute."""
WORTH_WAY = 10
MOST_ROUNDS = 1000


def solver_there() -> bool:
    """Whether OR-Tools is installed."""
    return find_spec("ortools") is not None


def solved_route(day: CrewDay, known: Route, most_rounds: int = MOST_ROUNDS) -> Route:
    """Improve a route of a day; never worse than the one known.

    Parameters
    ----------
    day : CrewDay
    known : Route
    most_rounds : int
        Rounds that the search accepts before it ends.
    """
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2

    nodes = (None, *(job for job in day.jobs if _starts(day, job)))
    manager = pywrapcp.RoutingIndexManager(len(nodes), 1, 0)
    model = pywrapcp.RoutingModel(manager)
    _lay_out(model, manager, day, nodes)
    search = pywrapcp.DefaultRoutingSearchParameters()
    search.local_search_metaheuristic = (
        routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    )
    search.solution_limit = most_rounds
    begin = model.ReadAssignmentFromRoutes([[nodes.index(job) for job in known.jobs]], True)
    if begin is None:  # it does not fit by the rounded times
        found = model.SolveWithParameters(search)
    else:
        found = model.SolveFromAssignmentWithParameters(begin, search)
    best = known
    if found is not None:
        index, order = found.Value(model.NextVar(model.Start(0))), []
        while not model.IsEnd(index):
            order.append(nodes[manager.IndexToNode(index)])
            index = found.Value(model.NextVar(index))
        made = timed(day, [job for job in order if job is not None])
        best = min((route for route in (known, made) if route), key=lambda route: route.rank)
    return replace(best, way="OR-Tools")


def _lay_out(model: Any, manager: Any, day: CrewDay, nodes: Sequence[Job | None]) -> None:
    """One crew, a node a job, each within its hours, at most one a site."""
    ways = [[_way(day, one, other) for other in nodes] for one in nodes]
    times = [
        [(_up(one.work_min) if one else 0) + (way if other else 0)
         for other, way in zip(nodes, row, strict=True)]
        for one, row in zip(nodes, ways, strict=True)
    ]  # fmt: skip
    model.SetArcCostEvaluatorOfAllVehicles(model.RegisterTransitMatrix(ways))
    last = max((_down(job.closes_min) for job in day.jobs), default=0)
    first = min((_starts(day, job).start for job in nodes if job), default=0)
    model.AddDimension(model.RegisterTransitMatrix(times), last, last, False, "time")
    clock = model.GetDimensionOrDie("time")
    begin = _up(day.ready_min) if math.isfinite(day.ready_min) else min(first, 0)
    clock.CumulVar(model.Start(0)).SetMin(max(begin, 0))
    of_site: dict[int, list[Any]] = {}
    for number, job in enumerate(nodes):
        if job is None:
            continue
        index, starts = manager.NodeToIndex(number), _starts(day, job)
        clock.CumulVar(index).SetRange(starts.start, starts.stop - 1)
        model.AddDisjunction([index], job.steps * WORTH_WAY)
        of_site.setdefault(job.site, []).append(model.ActiveVar(index))
    for active in of_site.values():
        model.solver().Add(model.solver().Sum(active) <= 1)


def _starts(day: CrewDay, job: Job) -> range:
    """Steps of time at which a job may begin, were it the first."""
    return range(_up(job.opens_min), _down(job.closes_min) - _up(job.work_min) + 1)


def _way(day: CrewDay, one: Job | None, other: Job | None) -> int:
    if one is other:
        return 0
    return _up(day.drive_min(one, other) if other else day.home_min(one))


def _up(minutes: float) -> int:
    return math.ceil(round(minutes * TIME_STEPS, 3))


def _down(minutes: float) -> int:
    return math.floor(round(minutes * TIME_STEPS, 3))

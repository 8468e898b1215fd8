"""The round of a day: exactly where that can be told, else as near the best as can be found."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from spraywindow.orchard.route import CrewDay, Job, Route
from spraywindow.orchard.route_labels import labelled_route
from spraywindow.orchard.route_near import improved_route, near_route
from spraywindow.orchard.route_solver import solved_route, solver_there
from spraywindow.weather.interval import Array

MOST_LABELS = 1_000_000
"""Beyond so many visits looked at, a few seconds, the exact search is given up."""
WIDEST = 1000
"""Labels of each length that the search without a proof keeps."""


def best_route(
    jobs: Sequence[Job], minutes: Array, *, home: int | None = None, ready_min: float = -math.inf
) -> Route:
    """Find the route with the most worth, of those the one with the least driving.

    Parameters
    ----------
    jobs, minutes, home, ready_min
        As for `CrewDay`.

    Returns
    -------
    Route
        `proven` where no other is better. Where too many sites have open hours to tell, the best
        of the plain search, improved by OR-Tools if it is installed (the extra `routes`); no
        single exchange of visits makes it better.
    """
    return route_of(CrewDay(tuple(jobs), minutes, home, ready_min))


def route_of(
    day: CrewDay, *, most_labels: int = MOST_LABELS, widest: int = WIDEST, solver: bool = True
) -> Route:
    """Find the route of a day; see `best_route`.

    Parameters
    ----------
    day : CrewDay
    most_labels : int
        Beyond so many visits looked at the exact search is given up.
    widest : int
        Labels of each length that the search without a proof keeps.
    solver : bool
        Whether to use OR-Tools where it is installed.
    """
    plain = plain_route(day, widest)
    if plain.proven:
        return plain
    exact = labelled_route(day, plain, most=most_labels)
    if exact is not None:
        return exact
    if not (solver and solver_there()):
        return plain
    return replace(improved_route(day, solved_route(day, plain).jobs), way="OR-Tools")


def plain_route(day: CrewDay, widest: int = WIDEST) -> Route:
    """The better of an insertion and of the label search of a limited width, then exchanges.

    It is proven where the width was never reached.
    """
    known = near_route(day)
    found = labelled_route(day, known, widest=widest)
    if found is None or found.proven:
        return found or known
    return improved_route(day, min(found, known, key=lambda route: route.rank).jobs)

"""Why a site is not on the day's route, in words that add up."""

from __future__ import annotations

from collections.abc import Sequence

from spraywindow.orchard.route import CrewDay, Route, timed
from spraywindow.orchard.route_labels import exchanged_routes
from spraywindow.orchard.site import Site

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

"""When each material's season ends: last usable day per winter, as it turned out and as forecast.

A material may be sprayed up to its last stage, the whole of it: the season ends on the day
before the next stage that the bloom model knows.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spraywindow.season.bloom import (
    STAGE_SHARES,
    Anchor,
    date_quantiles,
    forecast_stage_days,
    stage_days,
)
from spraywindow.season.requirement import Requirement
from spraywindow.season.winters import WinterSums
from spraywindow.weather.interval import Array

_CODES = tuple(STAGE_SHARES)


@dataclass(frozen=True)
class Endings:
    """Last usable local days of each winter, counted from that winter's day 0.

    Attributes
    ----------
    turned_out : array [material, winter]
        As the winter's own temperatures had it; inf where the stage is never reached.
    then : array [evening, material, winter]
        The middle forecast on the evening before day 0, 1, ...: knows that winter to the day.
    """

    turned_out: Array
    then: Array


def stop_stage(last_stage: int) -> int:
    """The first stage of the bloom model after a material's last one."""
    return next((code for code in _CODES if code > last_stage), _CODES[-1])


def endings(
    sums: WinterSums,
    need: Requirement,
    winters: Sequence[int],
    starts: Sequence[dt.date],
    days: int,
    last_stages: Sequence[int],
    *,
    current: int | None = None,
    known_until: dt.date | None = None,
    anchor: Anchor | None = None,
) -> Endings:
    """Find the last usable days of past winters.

    Parameters
    ----------
    sums : WinterSums
    need : Requirement
        Of the block.
    winters : sequence of int
        Columns of `sums`, one a calendar.
    starts : sequence of date
        Day 0 of each calendar.
    days : int
        Length of the calendars [days].
    last_stages : sequence of int
        BBCH code per material.
    current : int, optional
        Column of the winter at hand: its chill and heat up to `known_until` come first, and
        each past winter's temperatures after it.
    known_until : date, optional
        First day that the winter at hand does not know.
    anchor : Anchor, optional
        Stage seen in the winter at hand.
    """
    stops = [_CODES.index(stop_stage(stage)) for stage in last_stages]
    offsets = np.array(
        [sums.day_number(start, winter) for start, winter in zip(starts, winters, strict=True)]
    )
    if current is not None and known_until is not None:
        known = sums.day_number(known_until, current)
        ahead = forecast_stage_days(sums, current, [known], need, anchor=anchor)[0]
        offset = sums.day_number(starts[0].replace(year=_year_of(starts[0], known_until)), current)
        turned_out = ahead[list(winters)][:, stops].T - offset - 1.0
        then = np.broadcast_to(
            date_quantiles(ahead)[1, stops][None, :, None] - offset - 1.0,
            (days, len(stops), len(winters)),
        )
        return Endings(turned_out, then)
    turned_out = stage_days(sums, need)[list(winters)][:, stops].T - offsets - 1.0
    then = np.empty((days, len(stops), len(winters)))
    for column, winter in enumerate(winters):
        evenings = offsets[column] + np.arange(days)
        middle = date_quantiles(forecast_stage_days(sums, winter, evenings, need))[:, 1]
        then[:, :, column] = middle[:, stops] - offsets[column] - 1.0
    return Endings(turned_out, then)


def _year_of(start: dt.date, near: dt.date) -> int:
    """Year that puts a calendar day nearest before another date."""
    return near.year if (start.month, start.day) <= (near.month, near.day) else near.year - 1


def usual_ending(
    first_flower: tuple[int, int], starts: Sequence[dt.date], days: int, materials: int
) -> Endings:
    """Endings from a usual first flower (month, day): the day before it, in every winter."""
    last = np.empty((materials, len(starts)))
    for column, start in enumerate(starts):
        flower = dt.date(start.year, *first_flower)
        if flower <= start:
            flower = dt.date(start.year + 1, *first_flower)
        last[:, column] = (flower - start).days - 1.0
    return Endings(last, np.broadcast_to(last, (days, *last.shape)))

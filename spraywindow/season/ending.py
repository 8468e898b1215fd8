"""When each material's season ends: last usable day per winter, as it turned out and as forecast.

A material may be sprayed up to its last stage, the whole of it: the season ends on the day
before the next stage that the bloom model knows. Days are counted from each winter's day 0.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from spraywindow.place import Place
from spraywindow.season.bloom import (
    STAGE_SHARES,
    Anchor,
    at_start,
    date_quantiles,
    first_day,
    forecast_stage_days,
    stage_days,
)
from spraywindow.season.requirement import Requirement
from spraywindow.season.winters import WinterSums, winter_label, winter_start
from spraywindow.weather.interval import Array

LONGEST_SEASON_D = 200
MOST_SILENT_D = 31
"""A record that stops so many days before day 0 says too little of the winter at hand."""
_CODES = tuple(STAGE_SHARES)


@dataclass(frozen=True)
class Need:
    """What decides when the trees flower.

    Parameters
    ----------
    trees : Requirement or (month, day)
        Chill and heat of the cultivar group, or the usual first flower.
    seen : (date, share of heat), optional
        A stage seen in the season at hand.
    leaf_fall : date, optional
        Of the season meant; day 0 by default.
    """

    trees: Requirement | tuple[int, int]
    seen: tuple[dt.date, float] | None = None
    leaf_fall: dt.date | None = None


@dataclass(frozen=True, eq=False)
class StageDays:
    """Days on which each winter reaches each stage of the bloom model.

    Attributes
    ----------
    turned_out : array [stage, winter]
        As the winter's own temperatures had it; inf never, NaN unknown. Stages in the order of
        `spraywindow.season.bloom.STAGE_SHARES`.
    then : array [evening, stage, winter]
        The middle forecast on the evening before day 0, 1, ...: it knows that winter up to the
        evening and goes on with the others.
    """

    turned_out: Array
    then: Array


@dataclass(frozen=True, eq=False)
class Endings:
    """Last usable local days of each winter.

    Attributes
    ----------
    turned_out : array [material, winter]
        As the winter's own temperatures had it; inf where the stage is never reached.
    then : array [evening, material, winter]
        As forecast on the evening before day 0, 1, ...
    """

    turned_out: Array
    then: Array


def stop_stage(last_stage: int) -> int:
    """The first stage of the bloom model after a material's last one."""
    return next((code for code in _CODES if code > last_stage), _CODES[-1])


def season_stages(
    sums: WinterSums,
    need: Need,
    winters: Sequence[int],
    starts: Sequence[dt.date],
    first: dt.date,
    place: Place,
) -> StageDays:
    """Find the stages of past winters, behind what is known of the winter at hand.

    Parameters
    ----------
    sums : WinterSums
        Of the record, joined with the forecast where they meet.
    need : Need
    winters : sequence of int
        Columns of `sums`, one a calendar.
    starts : sequence of date
        Day 0 of each calendar.
    first : date
        Day 0 in the season at hand.
    place : Place

    Returns
    -------
    StageDays
        From a usual first flower (month, day) only that stage is known, and known beforehand.

    Notes
    -----
    Where the record knows the winter at hand nearly up to day 0, each past winter is judged as
    the winter at hand would go on with its temperatures: sums of chill and heat up to the last
    known day, then that winter's increments. A stage seen in the winter at hand counts likewise.
    """
    offsets = np.array([sums.day_number(s, w) for s, w in zip(starts, winters, strict=True)])
    if not isinstance(need.trees, Requirement):
        return _usual_flower(need.trees, winters, offsets, sums)
    anchor = None
    if need.seen is not None:
        seen, share = need.seen
        anchor = Anchor((seen - winter_start(first, place.latitude)).days, share)
    label = winter_label(first, place.latitude)
    if label in sums.labels:
        current = sums.labels.index(label)
        known = int(sums.known_days[current])
        if sums.day_number(first, current) - known <= MOST_SILENT_D:
            sums = _behind(sums, current, known)
    turned_out = _reached(sums, need.trees, anchor)[list(winters)].T - offsets
    # seasons are as long as the calendars that are made of them
    stays = turned_out[np.isfinite(turned_out)]
    longest = stays.max() + 1 if stays.size else LONGEST_SEASON_D
    evenings = int(np.clip(longest, 1, LONGEST_SEASON_D))
    then = np.empty((evenings, len(_CODES), len(winters)))
    for column, winter in enumerate(winters):
        known_days = offsets[column] + np.arange(evenings)
        ahead = forecast_stage_days(sums, winter, known_days, need.trees, anchor=anchor)
        then[..., column] = date_quantiles(ahead)[:, 1] - offsets[column]
    return StageDays(turned_out, then)


def endings(stages: StageDays, last_stages: Sequence[int]) -> Endings:
    """The last usable day of each material: the one before its stop stage.

    A material whose stop stage is unknown ends with the first open flower. Without another winter
    to forecast by, nothing ends the season beforehand: the crew sees the flowers open.
    """
    stops = [_CODES.index(stop_stage(stage)) for stage in last_stages]
    unknown = np.asarray(np.isnan(stages.turned_out).all(axis=1))
    stops = [len(_CODES) - 1 if unknown[stop] else stop for stop in stops]
    then = stages.then[:, stops] - 1.0
    return Endings(stages.turned_out[stops] - 1.0, np.where(np.isnan(then), np.inf, then))


def _behind(sums: WinterSums, current: int, known: int) -> WinterSums:
    """Every winter as it would go on behind the known days of the winter at hand."""

    def joined(values: Array) -> Array:
        ahead = values[known, current] + values - values[known]
        days = np.arange(len(values))[:, None]
        return np.where(days <= known, values[:, [current]], ahead)

    return replace(sums, chill=joined(sums.chill), heat=joined(sums.heat))


def _reached(sums: WinterSums, need: Requirement, anchor: Anchor | None) -> Array:
    """Day numbers on which each winter reaches each stage, [winter, stage]."""
    if anchor is None:
        return stage_days(sums, need)
    shares = np.array(list(STAGE_SHARES.values()))
    wanted = need.heat_gdh * np.maximum(shares - anchor.share, 0.0)
    rows = []
    for heat in sums.heat.T:
        goal = at_start(heat, anchor.day_number) + wanted
        # the day during which the sum is reached, as in the bloom model
        rows.append(np.maximum(first_day(heat, goal) - 1.0, anchor.day_number))
    return np.array(rows)


def _usual_flower(
    flower: tuple[int, int], winters: Sequence[int], offsets: Array, sums: WinterSums
) -> StageDays:
    month, day = flower[0], min(flower[1], 28) if flower[0] == 2 else flower[1]
    turned_out = np.full((len(_CODES), len(winters)), np.nan)
    for column, winter in enumerate(winters):
        start = sums.starts[winter]
        year = start.year + ((month, day) < (start.month, start.day))
        turned_out[-1, column] = sums.day_number(dt.date(year, month, day), winter)
    turned_out = turned_out - offsets
    return StageDays(turned_out, np.broadcast_to(turned_out, (LONGEST_SEASON_D, *turned_out.shape)))

"""The buds of a dormant season: on which day each winter reaches each stage, as far as is known.

What somebody saw in the season at hand comes first. Behind it stand the chill and heat of the
cultivar group, or the usual first flower of the site.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from spraywindow.days import next_date
from spraywindow.place import Place
from spraywindow.trees.bloom import (
    DAYS_TO_FLOWER,
    STAGE_SHARES,
    Anchor,
    at_start,
    date_quantiles,
    first_day,
    forecast_stage_days,
    stage_days,
)
from spraywindow.trees.chill_and_heat import WinterSums, winter_label, winter_start
from spraywindow.trees.cultivar_groups import Requirement
from spraywindow.trees.stages import Stage
from spraywindow.weather import Array

LONGEST_SEASON_D = 200
MOST_SILENT_D = 31
"""A record that stops so many days before day 0 says too little of the winter at hand."""
AT_MOST = {0: 51, 1: 51, 9: 53}
"""Flower buds are at most so far (BBCH) while buds are dormant or the leaf buds, which run beside
them, are so far; P."""
CODES = tuple(STAGE_SHARES)


@dataclass(frozen=True)
class Need:
    """What decides when the trees flower.

    Parameters
    ----------
    trees : Requirement or (month, day)
        Chill and heat of the cultivar group, or the usual first flower.
    seen : Stage, optional
        Buds seen in the season at hand, up to the first open flower.
    leaf_fall : date, optional
        Of the season meant; day 0 by default.

    Raises
    ------
    ValueError
        If what was seen has no date, or tells nothing of the buds.
    """

    trees: Requirement | tuple[int, int]
    seen: Stage | None = None
    leaf_fall: dt.date | None = None

    def __post_init__(self) -> None:
        if self.seen and (self.seen.observed is None or self.seen.bbch not in DAYS_TO_FLOWER):
            raise ValueError(f"not buds that were seen on a day: {self.seen}")


@dataclass(frozen=True, eq=False)
class StageDays:
    """Days from day 0 on which each winter reaches each stage of the bloom model.

    Attributes
    ----------
    actual : array [stage, winter]
        As the winter's own temperatures had it; inf never, NaN unknown. Stages in the order of
        `spraywindow.trees.bloom.STAGE_SHARES`.
    forecast : array [evening, stage, winter]
        The middle forecast on the evening before day 0, 1, ...: it knows that winter up to the
        evening and goes on with the others.
    bounds : array [2, stage]
        The first and the last day that what was seen leaves; without end where it says nothing.
    """

    actual: Array
    forecast: Array
    bounds: Array


@dataclass(frozen=True)
class _Sight:
    """Buds that were seen, on a day number of the winter at hand."""

    bbch: int
    day: int

    @property
    def exact(self) -> bool:
        """Whether the flower buds themselves were seen, and not only how far they are at most."""
        return self.bbch in STAGE_SHARES

    @property
    def anchor(self) -> Anchor:
        """From where heat is counted on."""
        return Anchor(self.day, STAGE_SHARES[AT_MOST.get(self.bbch, self.bbch)])


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
        From a usual first flower (month, day) the stages are known beforehand: the usual days
        before it.

    Raises
    ------
    ValueError
        If the buds were seen in another growing year than that of `first`.

    Notes
    -----
    Where the record knows the winter at hand nearly up to day 0, each past winter is judged as
    the winter at hand would go on with its temperatures: sums of chill and heat up to the last
    known day, then that winter's increments. A stage seen in the winter at hand counts likewise.
    """
    offsets = np.array([sums.day_number(s, w) for s, w in zip(starts, winters, strict=True)])
    sight = _sight(need.seen, first, place)
    # where buds are at most so far, the later of both counts: from there, and as if unseen
    ways = (sight,) if sight is None or sight.exact else (None, sight)
    day_0 = (first - winter_start(first, place.latitude)).days
    bounds = _bounds(sight, day_0)
    if not isinstance(need.trees, Requirement):
        flowers = _usual_flowers(need.trees, winters, sums) - offsets
        days = np.max([_days_before(flowers, way, day_0) for way in ways], axis=0)
        actual = np.clip(days, *bounds[..., None])
        forecast = np.broadcast_to(actual, (LONGEST_SEASON_D, *actual.shape))
        return StageDays(actual, forecast, bounds)
    label = winter_label(first, place.latitude)
    if label in sums.labels:
        current = sums.labels.index(label)
        known = int(sums.known_days[current])
        if sums.day_number(first, current) - known <= MOST_SILENT_D:
            sums = _behind(sums, current, known)
    reached = np.max([_reached(sums, need.trees, way) for way in ways], axis=0)[list(winters)]
    actual = np.clip(reached.T - offsets, *bounds[..., None])
    # seasons are as long as the calendars that are made of them
    stays = actual[np.isfinite(actual)]
    longest = stays.max() + 1 if stays.size else LONGEST_SEASON_D
    evenings = int(np.clip(longest, 1, LONGEST_SEASON_D))
    forecast = np.empty((evenings, len(CODES), len(winters)))
    anchors = [way.anchor if way else None for way in ways]
    for column, winter in enumerate(winters):
        known_days = offsets[column] + np.arange(evenings)
        ahead = [
            forecast_stage_days(sums, winter, known_days, need.trees, anchor=anchor)
            for anchor in anchors
        ]
        middle = date_quantiles(np.max(ahead, axis=0))[:, 1]
        forecast[..., column] = np.clip(middle - offsets[column], *bounds)
    return StageDays(actual, forecast, bounds)


def _sight(seen: Stage | None, first: dt.date, place: Place) -> _Sight | None:
    if seen is None or seen.observed is None:
        return None
    start = winter_start(first, place.latitude)
    if winter_start(seen.observed, place.latitude) != start:
        raise ValueError(f"{seen} on {seen.observed} is of another season than {first}")
    return _Sight(seen.bbch, (seen.observed - start).days)


def _bounds(sight: _Sight | None, day_0: int) -> Array:
    """Later stages come after the day on which somebody looked, earlier ones came before."""
    if sight is None:
        return np.repeat([[-np.inf], [np.inf]], len(CODES), axis=1)
    later, day = np.array([code > sight.bbch for code in CODES]), sight.day - day_0
    return np.array([np.where(later, day + 1, -np.inf), np.where(later, np.inf, day)])


def _behind(sums: WinterSums, current: int, known: int) -> WinterSums:
    """Every winter as it would go on behind the known days of the winter at hand."""

    def joined(values: Array) -> Array:
        ahead = values[known, current] + values - values[known]
        days = np.arange(len(values))[:, None]
        return np.where(days <= known, values[:, [current]], ahead)

    return replace(sums, chill=joined(sums.chill), heat=joined(sums.heat))


def _reached(sums: WinterSums, need: Requirement, sight: _Sight | None) -> Array:
    """Day numbers on which each winter reaches each stage, [winter, stage]."""
    if sight is None:
        return stage_days(sums, need)
    anchor = sight.anchor
    shares = np.array(list(STAGE_SHARES.values()))
    wanted = need.heat_gdh * np.maximum(shares - anchor.share, 0.0)
    rows = []
    for heat in sums.heat.T:
        goal = at_start(heat, anchor.day_number) + wanted
        # the day during which the sum is reached, as in the bloom model
        rows.append(np.maximum(first_day(heat, goal) - 1.0, anchor.day_number))
    return np.array(rows)


def _usual_flowers(flower: tuple[int, int], winters: Sequence[int], sums: WinterSums) -> Array:
    """Day number of the usual first flower in each winter."""
    starts = [sums.starts[winter] for winter in winters]
    return np.array([float((next_date(flower, start) - start).days) for start in starts])


def _days_before(flowers: Array, sight: _Sight | None, day_0: int) -> Array:
    """Days of the stages from day 0, the usual days before the flowers, [stage, winter]."""
    if sight is not None:
        flower = sight.day - day_0 + DAYS_TO_FLOWER[sight.bbch]
        flowers = np.full(len(flowers), flower, dtype=float)
    return np.asarray(flowers - np.array([[DAYS_TO_FLOWER[code]] for code in CODES]))

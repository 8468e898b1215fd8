"""The buds of a dormant season: on which day each winter reaches each stage, as far as is known.

What somebody saw in the season at hand comes first. Behind it stands the usual first flower,
shifted by the chill and heat of each winter.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

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
from spraywindow.trees.flowering import Flowering, Need, UsualWinter, models_of, usual_winter
from spraywindow.trees.stages import FIRST_FLOWER, Stage
from spraywindow.weather import Array

LONGEST_SEASON_D = 200
MOST_SILENT_D = 31
"""A record that stops so many days before day 0 says too little of the winter at hand."""
AT_MOST = {0: 51, 1: 51, 9: 53}
"""Flower buds are at most so far (BBCH) while buds are dormant or the leaf buds, which run beside
them, are so far; P."""
CODES = tuple(STAGE_SHARES)


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
    quantiles : array [3, stage]
        10, 50 and 90 % in the season at hand, over every usable winter and widened by the error
        of the model; NaN where nothing is known.
    error_days : float
        Standard error of the model [d].
    early : array [winter]
        The 10 % day of the first flower as the other winters have it.
    never : bool array [winter]
        Whether a winter does not bring the chill or heat by the model.
    assumed : bool
        No usual date is given, and no flower buds were seen.
    """

    actual: Array
    forecast: Array
    bounds: Array
    quantiles: Array
    error_days: float
    early: Array
    never: NDArray[np.bool_]
    assumed: bool = False

    def flowering(self, first: dt.date) -> Flowering | None:
        """The first flower as dates, where day 0 is `first`; None where nothing is known."""
        return _flowering(self.quantiles, first, self.error_days, self.assumed)


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

    @property
    def _usual(self) -> Array:
        """Day numbers of the stages where no heat is counted."""
        before = [DAYS_TO_FLOWER[self.bbch] - DAYS_TO_FLOWER[code] for code in CODES]
        return self.day + np.array(before, dtype=float)

    def told(self, days: Array) -> Array:
        """Days [..., stage] from the anchor, the usual ones where no record tells the heat."""
        return np.where(np.isnan(days), self._usual, days)

    def no_later(self, days: Array) -> Array:
        """Days [..., stage] from the anchor, of closed buds no later than the usual ones.

        Buds that were dormant in early winter keep nobody from the usual date in a cold one.
        """
        if self.exact:
            return days
        return np.asarray(np.minimum(days, self._usual))


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

    Raises
    ------
    ValueError
        If the buds were seen in another growing year than that of `first`.

    Notes
    -----
    Where the record knows the winter at hand nearly up to day 0, each past winter is judged as
    the winter at hand would go on with its temperatures: sums of chill and heat up to the last
    known day, then that winter's increments. A stage seen in the winter at hand counts likewise,
    and from flower buds that were seen heat alone leads.
    """
    offsets = np.array([sums.day_number(s, w) for s, w in zip(starts, winters, strict=True)])
    buds = _buds(sums, need, first, place)
    usual, ways, bounds = buds.usual, buds.ways, buds.bounds
    rows = list(winters)
    begins = [sums.starts[winter] for winter in rows]
    # what is usual for a winter is what the other winters are: none knows its own end beforehand
    own = [buds.without(winter) for winter in rows]
    model = np.array([each.model[row] for each, row in zip(own, rows, strict=True)])
    unseen = np.array([each.unseen(*both) for each, *both in zip(own, begins, model, strict=True)])
    anchored = [_reached(buds.sums, usual.trees, way)[rows] for way in ways if way]
    actual = np.clip(buds.joined(unseen, anchored).T - offsets, *bounds[..., None])
    # seasons are as long as the calendars that are made of them
    stays = actual[np.isfinite(actual)]
    longest = stays.max() + 1 if stays.size else LONGEST_SEASON_D
    evenings = int(np.clip(longest, 1, LONGEST_SEASON_D))
    forecast = np.empty((evenings, len(CODES), len(winters)))
    for column, (winter, begin) in enumerate(zip(winters, begins, strict=True)):
        known_days = offsets[column] + np.arange(evenings)
        usual = own[column].usual
        ahead = [
            forecast_stage_days(
                buds.sums, winter, known_days, usual.trees, anchor=way.anchor if way else None
            )
            for way in ways
        ]
        unseen = usual.shifted(begin, ahead[0])
        anchored = [way.no_later(days) for days, way in zip(ahead, ways, strict=True) if way]
        middle = date_quantiles(buds.joined(unseen, anchored))[:, 1]
        if buds.given:
            middle = np.where(np.isnan(middle), usual.stages(begin), middle)
        forecast[..., column] = np.clip(middle - offsets[column], *bounds)
    return StageDays(
        actual, forecast, bounds, buds.quantiles(), need.error_days,
        np.array([each.quantiles()[0, -1] for each in own]),
        np.isinf(model[:, -1]), assumed=buds.assumed,
    )  # fmt: skip


def first_flower(sums: WinterSums, need: Need, first: dt.date, place: Place) -> Flowering | None:
    """Find the first flower of the season at hand alone, as `season_stages` has it.

    Parameters, errors and notes as there; None where nothing is known.
    """
    buds = _buds(sums, need, first, place)
    return _flowering(buds.quantiles(), first, need.error_days, buds.assumed)


def _flowering(
    quantiles: Array, first: dt.date, error_days: float, assumed: bool
) -> Flowering | None:
    days = quantiles[:, CODES.index(FIRST_FLOWER)]
    if not np.isfinite(days).all():
        return None
    low, day, high = (first + dt.timedelta(days=int(np.floor(each + 0.5))) for each in days)
    return Flowering(day, low, high, error_days, assumed=assumed)


@dataclass(frozen=True, eq=False)
class _Buds:
    """What is known of the buds of the season at hand, before any calendar is made.

    Sums go on behind the known days of the winter at hand; `ways` are how the stages are counted,
    of which the later counts: as if unseen (None), and from what was seen.
    """

    sums: WinterSums
    need: Need
    usual: UsualWinter
    others: NDArray[np.bool_]
    ways: tuple[_Sight | None, ...]
    start: dt.date
    day_0: int
    bounds: Array
    place: Place
    models: Sequence[tuple[Requirement, Array]]

    def without(self, winter: int) -> _Buds:
        """The same, where a winter tells nothing of the others."""
        others = self.others & (np.arange(len(self.others)) != winter)
        usual = usual_winter(self.sums, self.need, others, self.place, self.models)
        return replace(self, usual=usual, others=others)

    @cached_property
    def model(self) -> Array:
        """Day numbers of the stages as nobody saw them, [winter, stage]."""
        return stage_days(self.sums, self.usual.trees)

    @property
    def given(self) -> bool:
        """Whether a usual date tells of the stages also where no winter does."""
        return self.need.usual is not None and self.ways == (None,)

    @property
    def assumed(self) -> bool:
        """Whether neither a usual date nor flower buds that were seen lead."""
        return self.need.usual is None and None in self.ways

    def unseen(self, start: dt.date, model: Array) -> Array:
        """Stage days of the winter that begins at `start`, by the model's [..., stage].

        The usual ones where the record cannot tell the model's.
        """
        days = self.usual.shifted(start, model)
        if self.need.usual is None:
            return days
        return np.where(np.isnan(days), self.usual.stages(start), days)

    def joined(self, unseen: Array, anchored: Sequence[Array]) -> Array:
        """The latest of the ways that count."""
        parts = [unseen, *anchored] if None in self.ways else anchored
        return np.asarray(np.max(parts, axis=0))

    def quantiles(self) -> Array:
        """Of the days from day 0, [3, stage]."""
        if not self.others.any() and self.given:
            days = self.usual.stages(self.start)[None]
        else:
            unseen = self.unseen(self.start, self.model)
            anchored = [_reached(self.sums, self.usual.trees, way) for way in self.ways if way]
            days = self.joined(unseen, anchored)[self.others]
        return np.clip(_quantiles(days - self.day_0, self.need.error_days), *self.bounds)


def _buds(sums: WinterSums, need: Need, first: dt.date, place: Place) -> _Buds:
    start = winter_start(first, place.latitude)
    sight = _sight(need.seen, first, place)
    label = winter_label(first, place.latitude)
    current = sums.labels.index(label) if label in sums.labels else -1
    others = sums.usable & (np.arange(len(sums.labels)) != current)
    models = models_of(sums, need)
    usual = usual_winter(sums, need, others, place, models)
    if current >= 0:
        known = int(sums.known_days[current])
        if sums.day_number(first, current) - known <= MOST_SILENT_D:
            sums = _behind(sums, current, known)
    day_0 = (first - start).days
    # where buds are at most so far, the later of both counts: from there, and as if unseen
    ways = (sight,) if sight is None or sight.exact else (None, sight)
    bounds = _bounds(sight, day_0)
    return _Buds(sums, need, usual, others, ways, start, day_0, bounds, place, models)


def _quantiles(days: Array, error_days: float) -> Array:
    """10, 50 and 90 % of days [winter, stage]; the middle is of the winters alone."""
    if not len(days):
        return np.full((3, days.shape[1]), np.nan)
    low, _, high = date_quantiles(days, error_days=error_days)
    return np.array([low, np.median(days, axis=0), high])


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


def _reached(sums: WinterSums, need: Requirement, sight: _Sight) -> Array:
    """Day numbers on which each winter reaches each stage from what was seen, [winter, stage]."""
    anchor = sight.anchor
    shares = np.array(list(STAGE_SHARES.values()))
    wanted = need.heat_gdh * np.maximum(shares - anchor.share, 0.0)
    rows = []
    for heat in sums.heat.T:
        goal = at_start(heat, anchor.day_number) + wanted
        # the day during which the sum is reached, as in the bloom model
        rows.append(np.maximum(first_day(heat, goal) - 1.0, anchor.day_number))
    return sight.no_later(sight.told(np.array(rows)))

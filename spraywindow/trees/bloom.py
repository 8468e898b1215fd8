"""When the buds will swell, burst and flower: chill and heat, from many winters.

The two overlap, as in the chill overlap model [1]_: heat counts once a share of the chill is met,
and chill that is still lacking when the heat is there costs more heat, instead of putting the
flowers off without bound. The forecast of an evening knows the winter at hand up to that evening,
and goes on with the temperatures of every *other* winter after it, one date each. Splicing adds
differences of chill sums; the half-built portion at the join is lost, at most one portion.

References
----------
.. [1] Darbyshire, Pope and Goodwin (2016), An evaluation of the chill overlap model to predict
   flowering time in apple tree, Sci. Hortic. 198: 142-149 (M: the form, from memory of it).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spraywindow.trees.chill_and_heat import DAYS, WinterSums
from spraywindow.trees.cultivar_groups import Requirement

Floats = NDArray[np.float64]

MODEL_ERROR_DAYS = 5.0
"""Standard error of a chill-and-heat bloom date (Drepper et al. 2020, apple and pear)."""

DAYS_TO_FLOWER = {0: 28, 1: 21, 9: 14, 51: 21, 53: 14, 55: 10, 57: 7, 59: 3, 60: 0}
"""BBCH code -> days from a stage to the first flower where no heat is counted, peach (P: common
practice, no source)."""
STAGE_SHARES: dict[int, float] = {51: 0.55, 53: 0.67, 55: 0.75, 57: 0.82, 59: 0.92, 60: 1.0}
"""BBCH code -> share of the heat to first flower at which the stage is reached: what has come so
many days before the flowers, middle of the groups at Davis (1994-2018) and Kyoto."""

HEAT_FROM, CHILL_WORTH = 0.6, 0.5
"""Share of the chill from which heat counts, and the heat that the chill beyond it is worth (share
of the heat requirement). Flowering at Kyoto and Washington up to 1987 fits best at 0.5 to 0.6 and
0.5 to 1 (notebooks/fit_flowering.py); where chill is ample, as there, little depends on it."""
QUANTILES = (0.1, 0.5, 0.9)
_ERROR_STEPS = np.array([NormalDist().inv_cdf((step + 0.5) / 9) for step in range(9)])


@dataclass(frozen=True)
class Anchor:
    """A stage that somebody saw: heat is counted on from there, chill no longer matters.

    Raises
    ------
    ValueError
        If the day is none of the winter, or the share none.
    """

    day_number: int
    share: float

    def __post_init__(self) -> None:
        if not 0 <= self.day_number <= DAYS:
            raise ValueError(f"day {self.day_number} is none of the winter's {DAYS}")
        if not 0 <= self.share <= 1:
            raise ValueError(f"no share of the heat: {self.share}")


def stage_days(
    sums: WinterSums, need: Requirement, shares: Mapping[int, float] = STAGE_SHARES
) -> Floats:
    """Day numbers on which each whole winter reaches each stage, as it turned out.

    Returns
    -------
    array, shape (winters, stages)
        Day number in the winter; inf where the winter never gets there, NaN where unknown.
        Stages in the order of `shares`.
    """
    days = np.full((len(sums.labels), len(shares)), np.nan)
    portion = heat_a_portion(need)
    for winter in range(len(sums.labels)):
        chill, heat = sums.chill[:, winter], sums.heat[:, winter]
        start = first_day(chill, HEAT_FROM * need.chill)
        warm = at_start(heat, start) + need.heat_gdh * np.array(list(shares.values()))
        begins = _begins(heat, warm, heat + portion * chill, warm + portion * need.chill)
        days[winter] = np.maximum(begins - 1.0, start)
    return days


def heat_a_portion(need: Requirement) -> float:
    """What each portion of the chill beyond the share `HEAT_FROM` is worth [degC h]."""
    return CHILL_WORTH * need.heat_gdh / ((1.0 - HEAT_FROM) * need.chill)


def forecast_stage_days(
    sums: WinterSums,
    winter: int,
    known_days: ArrayLike,
    need: Requirement,
    *,
    shares: Mapping[int, float] = STAGE_SHARES,
    anchor: Anchor | None = None,
) -> Floats:
    """Forecast the stages of one winter on many evenings at once, one date per other winter.

    Parameters
    ----------
    sums : WinterSums
    winter : int
        Column of the winter at hand; nothing of it after the known days is used.
    known_days : array of int, shape (evenings,)
        Days of this winter that are known on each evening, a forecast included.
    need : Requirement
    shares : mapping, optional
        Stages wanted, with their share of the heat.
    anchor : Anchor, optional
        An observed stage; used on the evenings that know its day.

    Returns
    -------
    array, shape (evenings, winters, stages)
        Day numbers; inf where that winter would not get there, NaN for the winter itself, for
        winters that are not usable, and where this winter's sums are unknown.
    """
    known = np.clip(np.atleast_1d(np.asarray(known_days, dtype=np.int64)), 0, DAYS)
    part = np.array(list(shares.values()))
    own_chill, own_heat = sums.chill[:, winter], sums.heat[:, winter]
    # Chill reached within the known days, or an observed stage: where heat counts from.
    enough, portion = HEAT_FROM * need.chill, heat_a_portion(need)
    chilled: Floats = np.full(len(known), first_day(own_chill, enough))
    seen: Floats = np.zeros(len(known))
    use = np.zeros(len(known), dtype=bool)
    if anchor is not None:
        use = known >= anchor.day_number
        chilled = np.where(use, float(anchor.day_number), chilled)
        seen = np.where(use, anchor.share, 0.0)
    wanted = need.heat_gdh * np.maximum(part - seen[:, None], 0.0)
    inside = chilled <= known
    since = np.where(inside, own_heat[known] - at_start(own_heat, chilled), 0.0)[:, None]

    def day(chill: Floats, heat: Floats, warm: Floats, lacking: Floats, start: Floats) -> Floats:
        """Day during which heat and chill are there, not before that of the start."""
        both = np.where(use[:, None], -np.inf, warm + portion * lacking[:, None])
        begins = _begins(heat, warm, heat + portion * chill, both)
        return np.asarray(np.maximum(begins - 1.0, start[:, None]))

    goal = at_start(own_heat, chilled)[:, None] + wanted
    own = day(own_chill, own_heat, goal, np.full(len(known), need.chill), chilled)
    past = own < known[:, None]
    unknown = np.isnan(own_heat[known] + own_chill[known])[:, None]
    days = np.full((len(known), len(sums.labels), len(part)), np.nan)
    for other in np.flatnonzero(sums.usable):
        if other == winter:
            continue
        chill, heat = sums.chill[:, other], sums.heat[:, other]
        joined = chill[known] - own_chill[known]
        start = np.where(inside, known, first_day(chill, enough + joined))
        goal = at_start(heat, start)[:, None] + wanted - since
        ahead = day(chill, heat, goal, need.chill + joined, start)
        days[:, other] = np.where(unknown, np.nan, np.where(past, own, ahead))
    return days


def date_quantiles(
    days: Floats, *, axis: int = -2, error_days: float = MODEL_ERROR_DAYS,
    quantiles: tuple[float, ...] = QUANTILES,
) -> Floats:  # fmt: skip
    """Quantiles of the dates over the winters, widened by the error of the model.

    Parameters
    ----------
    days : array
        Day numbers with the winters on `axis`; NaN is left out, inf is later than any date.
    error_days : float
        Standard error of the model [d]; the winters alone would promise too much.

    Returns
    -------
    array
        The quantiles stand where the winters stood; NaN without any winter.
    """
    moved = np.moveaxis(np.asarray(days, dtype=float), axis, -1)[..., None]
    if not moved.shape[-2]:
        moved = np.full((*moved.shape[:-2], 1, 1), np.nan)
    mixed = (moved + error_days * _ERROR_STEPS).reshape(*moved.shape[:-2], -1)
    mixed.sort(axis=-1)  # NaN goes last, behind inf
    count = np.count_nonzero(~np.isnan(mixed), axis=-1)
    picked = []
    for quantile in quantiles:
        # The lower neighbour: interpolating between a date and "never" has no meaning.
        place = np.clip(np.ceil(quantile * count).astype(np.int64) - 1, 0, None)
        picked.append(np.take_along_axis(mixed, place[..., None], axis=-1)[..., 0])
    return np.moveaxis(np.stack(picked, axis=-1), -1, axis)


def first_day(sums: Floats, wanted: ArrayLike) -> Floats:
    """First day before whose start a growing sum has reached `wanted`; inf never, NaN unknown."""
    goal = np.asarray(wanted, dtype=float)
    place = sums.searchsorted(goal)
    unknown = np.isnan(goal)
    found = (place < sums.searchsorted(np.nan)) & ~unknown  # NaN stands last in a sum
    missing = np.where(unknown | np.isnan(sums[-1]), np.nan, np.inf)
    return np.where(found, place, missing)


def at_start(sums: Floats, day: ArrayLike) -> Floats:
    """A sum at the start of a day; inf beyond the year, NaN before it or on an unknown day."""
    days = np.asarray(day, dtype=float)
    inside = (days >= 0) & (days <= len(sums) - 1)
    value = sums[np.where(inside, days, 0).astype(np.int64)]
    return np.where(inside, value, np.where(days > 0, np.inf, np.nan))


def _begins(heat: Floats, warm: Floats, both: Floats, enough: Floats) -> Floats:
    """First day that starts with both goals reached: chill beyond the need is worth nothing."""
    return np.maximum(first_day(heat, warm), first_day(both, enough))

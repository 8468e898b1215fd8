"""When trees flower: the usual first flower leads, chill and heat only shift it.

A cultivar group's needs are known within weeks, the usual date of a site within days. So the
model tells but how far a winter stands from the usual one, and of that a share is believed. A
winter that never brings the chill by the model is a late one, and closes nothing.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.days import next_date
from spraywindow.place import Place
from spraywindow.trees.bloom import DAYS_TO_FLOWER, MODEL_ERROR_DAYS, STAGE_SHARES, stage_days
from spraywindow.trees.chill_and_heat import (
    DAYS,
    WinterSums,
    chill_start,
    winter_start,
    winter_sums,
)
from spraywindow.trees.cultivar_groups import CULTIVAR_GROUPS, Requirement
from spraywindow.trees.stages import Stage
from spraywindow.weather import Array

FIRST_FLOWER_NORTH, FIRST_FLOWER_SOUTH = (2, 15), (8, 15)
"""Usual first flower (month, day) where nobody gives one and no record tells; P, mild winters."""
SHIFT_SHARE = 0.5
"""Share of the model's departure from the usual winter that is believed: slope of flowering on it,
0.56 at Kyoto and 0.46 at Washington up to 1987 (notebooks/fit_flowering.py)."""
EARLIEST_D, LATEST_D = 21.0, 10.0
"""Days before and after the usual date between which the flowers are put. In 75 years of Kyoto and
Washington none came sooner; one in ten came 5 to 8 days late, and whoever waits longer than
these ten keeps a season open that may be over."""
GROUP_ERROR_DAYS = 10.0
"""Standard error of the first flower where only the group is known: the 5 d of the model and about
8 for a cultivar within its group; P."""
USUAL_SPREAD_DAYS = 5.0
"""What winters differ by where no record tells: first flowers of Kyoto stray by 4.8 d, P."""
_TENTH = NormalDist().inv_cdf(0.9)
_BEFORE = np.array([float(DAYS_TO_FLOWER[code]) for code in STAGE_SHARES])


@dataclass(frozen=True)
class Need:
    """What decides when the trees flower.

    Parameters
    ----------
    trees : Requirement or None
        Chill and heat of the cultivar group; None takes the group whose middle in the record lies
        nearest to the usual first flower.
    usual : (month, day), optional
        The usual first flower of the site: it leads.
    seen : Stage, optional
        Buds seen in the season at hand, up to the first open flower.
    leaf_fall : date, optional
        Of the season meant; day 0 by default.

    Raises
    ------
    ValueError
        If there is neither group nor usual date, or what was seen has no date, or tells nothing
        of the buds.
    """

    trees: Requirement | None
    usual: tuple[int, int] | None = None
    seen: Stage | None = None
    leaf_fall: dt.date | None = None

    def __post_init__(self) -> None:
        if self.seen and (self.seen.observed is None or self.seen.bbch not in DAYS_TO_FLOWER):
            raise ValueError(f"not buds that were seen on a day: {self.seen}")
        if self.trees is None and self.usual is None:
            raise ValueError("neither a cultivar group nor a usual first flower")

    @property
    def error_days(self) -> float:
        """Standard error of the first flower [d], beside what the winters differ by."""
        exact = self.seen and self.seen.bbch in STAGE_SHARES
        return MODEL_ERROR_DAYS if self.usual or exact else GROUP_ERROR_DAYS


@dataclass(frozen=True)
class Flowering:
    """First flower of the season at hand: the middle, and between which dates 8 of 10 are meant.

    Attributes
    ----------
    day, low, high : date
    error_days : float
        Standard error of the middle [d]; the range holds it beside the spread of the winters.
    seen : bool
        Somebody saw the flowers.
    assumed : bool
        Neither seen nor given by anybody: of a cultivar group, or of mild winters at large.
    """

    day: dt.date
    low: dt.date
    high: dt.date
    error_days: float = 0.0
    seen: bool = False
    assumed: bool = False


def usual_flowering(day: dt.date, *, assumed: bool = False) -> Flowering:
    """A usual date where no record tells how far its winters stand apart."""
    error = GROUP_ERROR_DAYS if assumed else MODEL_ERROR_DAYS
    off = dt.timedelta(days=round(_TENTH * float(np.hypot(error, USUAL_SPREAD_DAYS))))
    return Flowering(day, day - off, day + off, error, assumed=assumed)


def default_flower(place: Place) -> tuple[int, int]:
    """Usual first flower of mild winters at large (month, day)."""
    return FIRST_FLOWER_NORTH if place.latitude >= 0 else FIRST_FLOWER_SOUTH


@dataclass(frozen=True, eq=False)
class UsualWinter:
    """The usual winter of a site, from which the model shifts the others.

    Attributes
    ----------
    trees : Requirement
        Whose chill and heat shift.
    middle : array [stage]
        Day numbers of the model's middle over the winters; not finite where it has none.
    flower : (month, day) or None
        The usual first flower that leads; None where the model's own middle does.
    """

    trees: Requirement
    middle: Array
    flower: tuple[int, int] | None

    def stages(self, start: dt.date) -> Array:
        """Usual day numbers of the stages in the winter that begins at `start`."""
        if self.flower is None:
            return self.middle
        return float((next_date(self.flower, start) - start).days) - _BEFORE

    def shifted(self, start: dt.date, model: Array) -> Array:
        """Day numbers of the stages by the model's [..., stage]; NaN stays unknown.

        A model that knows no usual winter here says nothing, and the usual date stands.
        """
        known = np.isfinite(self.middle)
        off = SHIFT_SHARE * (model - np.where(known, self.middle, 0.0))
        off = np.where(known, off, np.where(np.isnan(model), np.nan, 0.0))
        days = np.rint(self.stages(start) + np.clip(off, -EARLIEST_D, LATEST_D))
        # no stage stands behind the next one
        return np.minimum.accumulate(days[..., ::-1], axis=-1)[..., ::-1]


def bud_sums(temp_c: pd.Series[float], place: Place, need: Need, first: dt.date) -> WinterSums:
    """Sum chill and heat, and ask of each winter for no more temperatures than tell its flowers.

    Where a usual date leads, the days from leaf fall until the flowers come at the latest: what
    the model lacks before shifts them little. Else those from where chill counts until the trees
    flower by the model.

    Parameters
    ----------
    temp_c : pandas.Series
        As for `spraywindow.trees.chill_and_heat.winter_sums`.
    place : Place
    need : Need
    first : date
        Day 0, which stands for a leaf fall that the need does not give.
    """
    fall, latest = need.leaf_fall or first, dt.timedelta(days=LATEST_D + 1)
    ends: dict[dt.date, dt.date] = {}
    if need.usual is None:
        assert need.trees is not None
        whole = winter_sums(temp_c, place)
        if whole.usable.all():
            return whole
        for start, day in zip(whole.starts, stage_days(whole, need.trees)[:, -1], strict=True):
            ends[start] = start + dt.timedelta(days=int(day) + 1 if np.isfinite(day) else DAYS)

    def needed(start: dt.date) -> tuple[dt.date, dt.date]:
        until = [next_date(need.usual, start) + latest if need.usual else ends[start]]
        if need.seen and need.seen.observed:
            on = next_date((need.seen.observed.month, need.seen.observed.day), start)
            until.append(on + dt.timedelta(days=DAYS_TO_FLOWER[need.seen.bbch]) + latest)
        since = next_date((fall.month, fall.day), start) if need.usual else None
        return since or chill_start(start, place.latitude), max(until)

    return winter_sums(temp_c, place, needed=needed)


def models_of(sums: WinterSums, need: Need) -> list[tuple[Requirement, Array]]:
    """Stage days [winter, stage] of the model, by each group that a need leaves open."""
    groups = CULTIVAR_GROUPS.values() if need.trees is None else (need.trees,)
    return [(group, stage_days(sums, group)) for group in groups]


def usual_winter(
    sums: WinterSums,
    need: Need,
    others: NDArray[np.bool_],
    place: Place,
    models: Sequence[tuple[Requirement, Array]] | None = None,
) -> UsualWinter:
    """The usual winter by the model, over the winters of a record without the one at hand.

    Parameters
    ----------
    sums : WinterSums
    need : Need
    others : bool array [winter]
        The winters that count.
    place : Place
    models : sequence, optional
        As `models_of` gives them, where they are known already.
    """
    start = winter_start(sums.starts[0], place.latitude)
    off, best = np.inf, None
    for group, every in models or models_of(sums, need):
        days = every[others]
        middle = np.median(days, axis=0) if len(days) else np.full(len(_BEFORE), np.nan)
        wanted = next_date(need.usual, start) - start if need.usual else dt.timedelta(0)
        here = abs(float(middle[-1]) - wanted.days)
        if best is None or here < off:
            off, best = here if np.isfinite(here) else np.inf, (group, middle)
    assert best is not None
    flower = need.usual
    if flower is None and not np.isfinite(best[1]).all():
        flower = default_flower(place)
    return UsualWinter(*best, flower)

"""How likely a job is to hold: the chance of the event itself, from what a forecast says of it.

The event is the whole job: every hour within every hard limit, and for `Chances.dry` also the dry
hours that the material wants. Three steps, all monotone in the forecast, so that a tighter limit,
more forecast rain or less knowledge never raises a chance:

1. Each hard limit alone: a logistic regression of "held through the job" on how far the forecast
   lies from the limit, uncapped, in the limit's own unit, and on the lead. The limit is part of
   the predictor [1]_, so one set of coefficients serves every material and every limit. Rain over a
   window enters as square roots [1]_ [2]_, with the chances of rain and the share of wet hours.
2. Limits that fail for one cause (wind and gusts; cold and frost; rain in 24 and in 72 hours) are
   one family. Within a family, and between families, the chance is in the middle between limits
   that always fail together and limits that fail each for itself.
3. What comes out is calibrated by a second logistic regression, on the likeliest job of each
   morning: the best of several is less likely than it looks.

The coefficients, the leads that they were earned at, and the record of what came true are data:
`chance.json`, made by ``notebooks/fit_chance.py``, which names its period and its source.

References
----------
.. [1] Wilks (2009), Extending logistic regression to provide full-probability-distribution MOS
   forecasts, Meteorological Applications 16:361.
.. [2] Messner, Mayr, Wilks, Zeileis (2014), Extending extended logistic regression, Monthly
   Weather Review 142:448.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, ClassVar, NamedTuple

import numpy as np
from numpy.typing import NDArray

from spraywindow.spray.conditions import Conditions
from spraywindow.spray.errors_by_lead import NIGHT_MINIMUM
from spraywindow.spray.kernel import applies
from spraywindow.spray.material import Limit, Material
from spraywindow.spray.quantities import (
    LOW_SUN_DEG,
    NEAR_EDGE_H,
    OPEN_SKY,
    QUANTITIES,
    STILL_MS,
    looked_at,
)
from spraywindow.weather import Array, Interval, forward_highest

Integers = NDArray[np.int64]


class Model(NamedTuple):
    """Which regression a quantity's limits share, what fails with it, and its scale."""

    name: str
    family: str
    scale: float


MODELS = {
    "wind_at_top": Model("wind", "wind", 2.0),
    "gust": Model("gust", "wind", 3.0),
    "temp": Model("temperature", "temperature", 3.0),
    "sun_temp": Model("temperature", "temperature", 3.0),
    "highest_temp": Model("temperature", "temperature", 3.0),
    "lowest_temp": Model("frost", "temperature", 1.0),
    "lowest_temp_until_dry": Model("temperature", "temperature", 3.0),
    "lowest_temp_either_side": Model("frost", "temperature", 1.0),
    "warm_sun_elevation": Model("high sun", "high sun", 30.0),
    "hot_dry_air": Model("humidity", "wood", 10.0),
    "humidity": Model("humidity", "wood", 10.0),
    "hours_dry": Model("dry wood", "wood", 2.0),
    "hours_dry_before_trouble": Model("drying", "wood", 6.0),
    "rain_ahead": Model("rain", "rain", 1.0),
    "rain_after_drying": Model("rain", "rain", 1.0),
    "inversion": Model("inversion", "inversion", 1.0),
    "degrees_off_downwind": Model("direction", "direction", 30.0),
}
"""By quantity; scales only keep the regressions well conditioned. The chance of rain is no limit
of its own here: it tells of the rain."""
GUST_FACTOR = 1.8
"""Gust over the mean wind at 10 m, where no gusts are told (the regression has its own line)."""
FARTHEST = 3.0
"""Scales beyond which a forecast is no further from its limit."""
MOST_RAIN_MM = 80.0
WET_HOUR_MM = 0.1
LEAST, MOST = 1e-5, 1.0 - 1e-4


class Clues(NamedTuple):
    """What the forecast says of one limit: the model, what fails with it, [job, term]."""

    model: str
    family: str
    terms: Array
    known: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Jobs:
    """Jobs to judge in a block of hours.

    Parameters
    ----------
    hours : int array [hour of the job, job]
        Rows of the conditions.
    columns : tuple of int arrays [job]
        Where each job stands on the axes after time; empty for one site.
    lead_h : array [job]
        Hours from the forecast's issue to the job's start; below 0 for one that was over then.
    """

    hours: Integers
    columns: tuple[Integers, ...]
    lead_h: Array

    def worst(self, values: Array, pick: Callable[..., Any] = np.min) -> Array:
        """The least (or by `pick` the greatest) value in the hours of each job."""
        return np.asarray(pick(values[(self.hours, *self.columns)], axis=0))


@cache
def fitted() -> Mapping[str, Any]:
    """The coefficients and where they come from (`chance.json`)."""
    text = files("spraywindow.spray").joinpath("chance.json").read_text(encoding="utf-8")
    return dict(json.loads(text))


def wants_more(material: Material) -> bool:
    """Whether a material wants dry hours that its hard limits do not ask for."""
    return any(limit.kind == "soft" and limit.quantity == "rain_ahead" for limit in material.limits)


def clues(
    conditions: Conditions,
    material: Material,
    jobs: Jobs,
    stage: int | None = None,
    *,
    dry: bool = False,
) -> Iterator[tuple[Limit, Clues]]:
    """What a forecast says of each limit that can break a job.

    Parameters
    ----------
    conditions : Conditions
        Judged as told, without anything taken off for a forecast's errors.
    material : Material
    jobs : Jobs
    stage : int, optional
        BBCH stage of the trees.
    dry : bool
        Whether the dry hours that are wanted count too, where the material's limit on them is soft.
    """
    for limit in _breaking(conditions, material, stage, dry=dry):
        if (found := _clues(conditions, limit, jobs)) is not None:
            yield limit, found


def _breaking(
    conditions: Conditions, material: Material, stage: int | None, *, dry: bool
) -> Iterator[Limit]:
    """The limits that can break a job."""
    for limit in material.limits:
        wanted = dry and limit.kind == "soft" and limit.quantity == "rain_ahead"
        counts = limit.quantity in MODELS and (limit.kind == "hard" or wanted)
        if counts and applies(limit, material, stage, conditions.setting):
            yield limit


def _clues(conditions: Conditions, limit: Limit, jobs: Jobs) -> Clues | None:
    """What a forecast says of one limit; None where it does not tell what the limit looks at."""
    model, lead_d = MODELS[limit.quantity], jobs.lead_h / 24.0
    name, distance = model.name, None
    if name == "gust" and "gust_ms" not in conditions.columns:
        name, distance = "gust by wind", limit.value - GUST_FACTOR * conditions.wind.high
    elif any(column not in conditions.columns for column in QUANTITIES[limit.quantity].needs):
        return None
    elif name == "inversion":
        terms, known = _inversion(conditions, jobs)
    elif name == "rain":
        told = "rain_chance" in conditions.columns
        name = "rain" if told else "rain untold"
        terms, known = _rain(conditions, limit, looked_at(conditions, limit), jobs, told)
    else:
        values = looked_at(conditions, limit)
        rising = limit.bound in ("at least", "above")
        distance = values.low - limit.value if rising else limit.value - values.high
    if distance is not None:
        worst = jobs.worst(distance)
        known = worst != -np.inf
        if name == "frost":  # in usual errors of a night's minimum, as `frost_chance`
            usual_k = NIGHT_MINIMUM.sigma_k(np.minimum(jobs.lead_h, NIGHT_MINIMUM.furthest_h))
            terms = ((worst + NIGHT_MINIMUM.bias_k) / usual_k)[:, None]
        else:
            near = np.clip(worst / model.scale, -FARTHEST, FARTHEST)
            terms = _with_lead(near, lead_d)
    return Clues(name, model.family, terms, known)


def _with_lead(near: Array, lead_d: Array, *more: Array) -> Array:
    """Terms [job, term]: a constant, the lead, the distance and what of it fades with the lead."""
    return np.stack([np.ones_like(near), lead_d, near, near / (1.0 + lead_d), *more], axis=1)


def _rain(
    now: Conditions, limit: Limit, fallen: Interval, jobs: Jobs, told: bool
) -> tuple[Array, NDArray[np.bool_]]:
    """Terms of a limit on rain in a window."""
    hours = int(np.ceil(limit.hours or 1.0))
    most_mm = jobs.worst(fallen.high, np.max)
    near = np.sqrt(limit.value) - np.sqrt(np.minimum(most_mm, MOST_RAIN_MM))
    wet = _mean_ahead((now.rain.hourly.high >= WET_HOUR_MM).astype(float), hours)
    lead_d = jobs.lead_h / 24.0
    more = [-jobs.worst(wet, np.max)]
    known = np.isfinite(most_mm)
    if told:
        chance = now.column("rain_chance", 0.0, 1.0).high
        highest = jobs.worst(_highest_ahead(chance, hours), np.max)
        mean = jobs.worst(_mean_ahead(chance, hours), np.max)
        more += [-highest, -highest / (1.0 + lead_d), -mean]
    return _with_lead(near, lead_d, *more), known


def _highest_ahead(values: Array, hours: int) -> Array:
    """Highest of the `hours` from each row on, of those that the data hold."""
    padded = forward_highest(Interval(values, values), hours - 1).low
    late = max(len(values) - hours + 1, 0)
    out = padded.copy()
    out[late:] = np.maximum.accumulate(values[late:][::-1], axis=0)[::-1]
    return out


def _mean_ahead(values: Array, hours: int) -> Array:
    """Mean of the `hours` from each row on, of those that the data hold."""
    total = np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)])
    rows = np.arange(len(values))
    ends = np.minimum(rows + hours, len(values))
    count = (ends - rows).reshape(-1, *[1] * (values.ndim - 1))
    return np.asarray((total[ends] - total[rows]) / count)


def _inversion(now: Conditions, jobs: Jobs) -> tuple[Array, NDArray[np.bool_]]:
    """Terms of the limit on inversions: only near the sun's edge, by the wind and the cloud."""
    sun = now.sun
    near = (sun.elevation_deg < LOW_SUN_DEG) | (sun.hours_from_rise_or_set < NEAR_EDGE_H)
    at_risk = np.broadcast_to(near, now.shape)
    wind = np.where(at_risk, now.wind.low - STILL_MS, np.inf)
    cloud = np.where(at_risk, now.cloud.low - OPEN_SKY, 0.5)
    some = jobs.worst(at_risk.astype(float), np.max)
    wind, cloud = jobs.worst(wind), jobs.worst(cloud)
    breeze = some * np.clip(wind, 0.0, 4.0)
    lead_d = jobs.lead_h / 24.0
    terms = [np.ones_like(some), -some, breeze, breeze / (1.0 + lead_d), -some * (wind < 0.0),
             some * cloud]  # fmt: skip
    return np.stack(terms, axis=1), np.ones(len(some), dtype=bool)


def joined(alone: Mapping[str, list[Array]]) -> Array:
    """Chance that all limits hold, from their own by family: the middle of two dependences.

    Half as if all failed together and half as if each for itself, within a family and between them.
    """

    def middle(chances: Sequence[Array]) -> Array:
        return np.asarray(np.sqrt(np.min(chances, axis=0) * np.prod(chances, axis=0)))

    return middle([middle(chances) for chances in alone.values()])


def calibration_terms(chance: Array, lead_h: Array) -> Array:
    """Terms [job, term] of the last regression.

    A constant, the lead, the logarithms of the chance and (less) of its complement, whose sum would
    be the log odds, and what of the first changes with the lead.
    """
    kept = np.clip(chance, LEAST, MOST)
    holds, lead_d = np.log(kept), lead_h / 24.0
    constant = np.ones_like(holds)
    return np.stack([constant, lead_d, holds, -np.log(1.0 - kept), holds * lead_d], axis=1)


def logistic(score: Array) -> Array:
    """Chance of a score on the scale of log odds."""
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(score, -30.0, 30.0))))


@dataclass(frozen=True)
class CameTrue:
    """How chances like one came true, each winter judged by the rest.

    Attributes
    ----------
    low, high : float
        The tenth that the chance lies in.
    cases, held : int
        Jobs of which so much was said, as many days ahead, and how many of them held.
    mornings : int
        Mornings judged at that lead, whatever was said.
    over : str
        What they were.
    """

    json_keys: ClassVar = ("low:1", "high:1", "cases", "held", "mornings", "over")

    low: float
    high: float
    cases: int
    held: int
    mornings: int
    over: str


def came_true(chance: float, days_ahead: int) -> CameTrue | None:
    """How chances like this one came true, for a morning so many days ahead; None where untold."""
    fit = fitted()
    row = next((each for each in fit["came_true"] if each["day"] == days_ahead), None)
    if row is None:
        return None
    tenth = min(int(chance * 10), 9)
    return CameTrue(tenth / 10, (tenth + 1) / 10, row["cases"][tenth], row["held"][tenth],
                    row["mornings"], fit["over"])  # fmt: skip


def most_lead_d() -> int:
    """Days ahead up to which a figure is earned."""
    return int(fitted()["most_lead_d"])


def most_chance(lead_h: Array) -> Array:
    """The highest chance that is earned so many hours ahead [0-1]."""
    most = np.array(fitted()["most"])
    return np.asarray(most[np.clip(lead_h / 24.0, 0, len(most) - 1).astype(int)])


class Odds:
    """How likely jobs are to hold, material by material; what their limits share is weighed once.

    Parameters
    ----------
    conditions : Conditions
        A block of hours, time on the first axis.
    jobs : Jobs
    stage : int, optional
        BBCH stage of the trees.
    """

    def __init__(self, conditions: Conditions, jobs: Jobs, stage: int | None = None) -> None:
        self.jobs, self.stage = jobs, stage
        self._told = conditions.as_told()
        self._alone: dict[Limit, tuple[str, Array, NDArray[np.bool_]] | None] = {}

    def chances(self, material: Material, *, dry: bool = False) -> Array:
        """Chance [0-1] of each job to hold.

        Parameters
        ----------
        material : Material
        dry : bool
            Whether the dry hours that are wanted must follow too.

        Returns
        -------
        array [job]
            NaN beyond the leads that the coefficients were fitted and checked at, of a job that
            was over at the issue, and where a hard limit rests on weather that is not told.
        """
        fit, lead_h = fitted(), self.jobs.lead_h
        alone: dict[str, list[Array]] = {}
        known = (lead_h >= 0.0) & (lead_h < 24.0 * fit["most_lead_d"])
        for limit in _breaking(self._told, material, self.stage, dry=dry):
            if (each := self._of(limit)) is not None:
                family, chance, told = each
                alone.setdefault(family, []).append(chance)
                known &= told
        if not alone:
            return np.full(len(lead_h), np.nan)
        raw = calibration_terms(joined(alone), lead_h) @ np.array(fit["calibration"])
        return np.where(known, np.minimum(logistic(raw), most_chance(lead_h)), np.nan)

    def _of(self, limit: Limit) -> tuple[str, Array, NDArray[np.bool_]] | None:
        """Family, chance by this limit alone, and where it is known."""
        if limit not in self._alone:
            found = _clues(self._told, limit, self.jobs)
            self._alone[limit] = found and (
                found.family,
                logistic(found.terms @ np.array(fitted()["limits"][found.model])),
                found.known,
            )
        return self._alone[limit]

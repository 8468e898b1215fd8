"""How likely a go is to hold: margins measured in a forecast's usual errors.

Margins are for drawing; slots are ranked by this. Each margin, back in its unit, is divided by the
usual error of a forecast of that quantity at that lead, and read off the normal distribution. The
limits on one quantity share one error, so the least counts; different quantities multiply.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import erf, sqrt

import numpy as np

from spraywindow.spray.errors_by_lead import NIGHT_MINIMUM
from spraywindow.spray.material import Limit
from spraywindow.weather import Array


@dataclass(frozen=True)
class UsualError:
    """Standard error of a forecast: on the first day, and what each further day adds."""

    first_day: float
    each_day: float
    source: str

    def at(self, lead_h: Array) -> Array:
        """Error at a lead time [h], in the quantity's unit."""
        return np.asarray(self.first_day + self.each_day * np.maximum(lead_h / 24.0 - 1.0, 0.0))


USUAL_ERRORS: dict[str, UsualError] = {
    "temperature": UsualError(
        NIGHT_MINIMUM.first_day_k, NIGHT_MINIMUM.each_day_k, NIGHT_MINIMUM.source
    ),
    "wind": UsualError(1.2, 0.2, "P"),
    "humidity": UsualError(8.0, 1.0, "P"),
    "wet wood": UsualError(1.5, 0.3, "Wang 2017: 1.3-1.6 h after calibration; growth P"),
    "rain": UsualError(6.0, 6.0, "P: hours by which a forecast misses the onset of rain"),
}

_KIND_OF = {
    "temp": "temperature",
    "sun_temp": "temperature",
    "lowest_temp": "temperature",
    "highest_temp": "temperature",
    "lowest_temp_until_dry": "temperature",
    "lowest_temp_either_side": "temperature",
    "wind_at_top": "wind",
    "gust": "wind",
    "humidity": "humidity",
    "hours_dry": "wet wood",
}


def chance_of_holding(
    margins: Mapping[str, Array],
    limits: Sequence[Limit],
    lead_h: Array,
    dry_hours_to_spare: Array | float,
) -> Array:
    """Chance [0-1] that the hours of a job stay within every hard limit.

    Parameters
    ----------
    margins : mapping of str to array [hour, ...]
        Margins of each limit over the hours of the job; NaN is left out. Further axes are
        further jobs.
    limits : sequence of Limit
        The limits that the margins belong to.
    lead_h : array [hour, ...]
        Hours from the forecast's issue to each hour.
    dry_hours_to_spare : array [...]
        Dry hours known afterwards beyond those wanted [h].

    Notes
    -----
    The scores of errors of one kind are taken as fully correlated, of different kinds as
    independent: common practice, no source. Beyond three days a forecast of rain has little skill
    over the season's usual weather (verification example POP3 of the Australian bureau of
    meteorology), which the growing error stands for.
    """
    least = {"rain": dry_hours_to_spare / USUAL_ERRORS["rain"].at(lead_h).max(axis=0)}
    highest_chance = np.zeros(lead_h.shape[1:])
    for limit in limits:
        margin = margins.get(limit.name)
        if margin is None or limit.kind != "hard":
            continue
        if limit.quantity == "highest_rain_chance":
            highest = limit.value - limit.width * margin.min(axis=0)
            highest_chance = np.fmax(highest_chance, highest)
        kind = _KIND_OF.get(limit.quantity)
        if kind is not None:
            scores = margin * limit.width / USUAL_ERRORS[kind].at(lead_h)
            least[kind] = np.fmin(least.get(kind, np.inf), np.fmin.reduce(scores))
    chance = np.ones(lead_h.shape[1:])
    for kind, score in least.items():
        part = _normal(np.where(np.isnan(score), np.inf, score))
        chance = chance * (np.minimum(part, 1.0 - highest_chance) if kind == "rain" else part)
    return chance


def _normal(score: Array) -> Array:
    """Cumulative standard normal distribution."""
    # not scipy's: a cold start would load it
    return np.asarray(0.5 * (1.0 + np.vectorize(erf, otypes=[float])(score / sqrt(2.0))))

"""When each material's season ends: last usable day per winter, as it turned out and as forecast.

A material may be sprayed up to its last stage, the whole of it: the season ends on the day
before the next stage that the bloom model knows. A material that stops before the balloons (oil)
harms open flowers most: it ends also before the early 10 % date of the first flower. Days are
counted from each winter's day 0.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spraywindow.spray import season_order
from spraywindow.trees.dormancy import CODES, StageDays
from spraywindow.weather import Array


@dataclass(frozen=True)
class LastDay:
    """A material's last usable day, middle and 10-90 % of the winters; None is not that year."""

    last: dt.date | None
    low: dt.date | None
    high: dt.date | None


@dataclass(frozen=True, eq=False)
class LastSprayDays:
    """Last usable local days of each winter.

    Attributes
    ----------
    actual : array [material, winter]
        As the winter's own temperatures had it; inf where the stage is never reached.
    forecast : array [evening, material, winter]
        As forecast on the evening before day 0, 1, ...
    quantiles : array [3, material]
        10, 50 and 90 % in the season at hand, widened by the error of the model; NaN where
        nothing is known.
    error_days : float
        Standard error of the model [d].
    """

    actual: Array
    forecast: Array
    quantiles: Array
    error_days: float

    def last_days(self, first: dt.date) -> tuple[LastDay, ...]:
        """The quantiles as dates, one a material, where day 0 is `first`."""
        rows = []
        for row in self.quantiles.T:
            low, middle, high = (
                first + dt.timedelta(days=int(np.floor(day + 0.5))) if np.isfinite(day) else None
                for day in row
            )
            rows.append(LastDay(middle, low, high))
        return tuple(rows)


def stop_stage(last_stage: int) -> int:
    """The first stage of the bloom model after a material's last one."""
    return next((code for code in CODES if code > season_order(last_stage)), CODES[-1])


def endings(stages: StageDays, last_stages: Sequence[int]) -> LastSprayDays:
    """The last usable day of each material: the one before its stop stage, or early flowers.

    Without another winter to forecast by, and without a usual date, nothing ends the season
    beforehand: the crew sees the flowers open.
    """
    codes = [stop_stage(stage) for stage in last_stages]
    stops = [CODES.index(code) for code in codes]
    soon = np.array(codes) < CODES[-1]

    def cap(early: Array) -> Array:
        return np.where(soon[:, None] & ~np.isnan(early), early, np.inf)

    own = cap(stages.early)
    forecast = stages.forecast[:, stops]
    return LastSprayDays(
        np.minimum(stages.actual[stops], own) - 1.0,
        np.minimum(np.where(np.isnan(forecast), np.inf, forecast), own) - 1.0,
        np.minimum(stages.quantiles[:, stops], cap(stages.quantiles[0, -1:])[:, 0]) - 1.0,
        stages.error_days,
    )

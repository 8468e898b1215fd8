"""What an evening could have known: past forecasts replayed behind one small interface.

`Foresight` knows the coming days as they turned out: it measures what a rule costs, so its
false go has no meaning. `ErrorModel` spoils them with errors of the usual size. Archived
forecasts come from a source that satisfies the same interface.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from spraywindow.spray import USUAL_ERRORS, Material
from spraywindow.weather import PERIOD_COLUMNS, Array

Integers = NDArray[np.int64]

WEEK_D = 7


class ForecastReplay(Protocol):
    """Forecasts as they were, or as they might have been."""

    @property
    def name(self) -> str:
        """What people read."""
        ...

    @property
    def measures(self) -> bool:
        """Whether its forecasts can be wrong, so that false and missed go mean something."""
        ...

    @property
    def days(self) -> int:
        """Days that a forecast reaches."""
        ...

    def covers(self, first_h: int, last_h: int) -> bool:
        """Whether there are forecasts for all hours from one to another, since the epoch."""
        ...

    def known(
        self, truth: Mapping[str, Array], lead_h: Integers, valid_h: Integers
    ) -> dict[str, Array]:
        """What was known on each evening.

        Parameters
        ----------
        truth : mapping of str to array [hour, evening]
            Columns of the weather table as it turned out, from before to after each evening.
        lead_h : int array [hour]
            Hours from the evening on; negative is record.
        valid_h : int array [hour, evening]
            Number of each hour since the epoch.

        Returns
        -------
        dict of str to array [hour, evening]
            NaN where nothing was known.
        """
        ...


@dataclass(frozen=True)
class Foresight:
    """The coming days as they turned out."""

    days: int = 7

    @property
    def name(self) -> str:
        """What people read."""
        return f"{self.days} days known"

    @property
    def measures(self) -> bool:
        """It cannot be wrong."""
        return False

    def covers(self, first_h: int, last_h: int) -> bool:
        """Every winter of the record."""
        return True

    def known(
        self, truth: Mapping[str, Array], lead_h: Integers, valid_h: Integers
    ) -> dict[str, Array]:
        """The truth up to the last day known."""
        return beyond_unknown(truth, lead_h, self.days)


def beyond_unknown(truth: Mapping[str, Array], lead_h: Integers, days: int) -> dict[str, Array]:
    """Columns with everything from `days` after the evening on unknown."""
    late = (lead_h >= 24 * days)[:, None]
    return {name: np.where(late, np.nan, values) for name, values in truth.items()}


CYCLE_H = 24 * 591
"""Hours after which the errors repeat: 591 days are to a year as the golden ratio is to one, so
that one date gets other errors in every winter."""
SHARED = 0.95
"""Correlation of the errors of neighbouring hours; P."""
DEW_K_PER_PERCENT = 1.3 / 8.0
"""8 % of relative humidity are about 1.3 K of dew-point depression at 10 degC."""
WARM_UP_H = 500
_KINDS = ("temp", "dew", "wind", "onset", "amount")
AMOUNT = 0.5
"""Spread of the logarithm of a rain amount's error; P."""
BLOCK_H = 12
WRONG_FIRST_DAY, WRONG_EACH_DAY = 0.2, 0.08
"""Share of the blocks of rain that are wholly wrong on the first day, and what each further day
of lead adds; P."""
WRONG_FROM_H = 120
"""A block that is wholly wrong holds the rain of so many hours before: weather of the season that
knows nothing of this one. No longer than the record before an evening."""


@dataclass(frozen=True)
class ErrorModel:
    """The coming days with errors of the usual size: a sensitivity, not a claim of skill.

    An error belongs to its valid hour and grows by independent parts with each day of lead, so
    that it shrinks from one evening to the next as an hour comes nearer, and neighbouring hours
    share it (first-order autoregression). Rain comes early or late by the error of its onset,
    and its amount is off by a factor; radiation and cloud are left as they were.

    Parameters
    ----------
    seed : int
        Of the random numbers; the same seed gives the same errors.
    scale : float
        Times the usual errors.
    days : int
        Days that a forecast reaches.
    wrong_blocks : bool
        Whether some blocks of rain are wholly wrong besides, missing or invented: a tougher test,
        of errors that no onset or amount explains. A block that is wrong on one evening was so on
        all before it.

    Notes
    -----
    Sizes are those of `spraywindow.spray.chance.USUAL_ERRORS` in the middle of each day of lead,
    times `scale` (common practice, no source). A record's total over several hours is forecast
    as hours of equal rain, which the error of the onset then moves.
    """

    seed: int = 1
    scale: float = 1.0
    days: int = WEEK_D
    wrong_blocks: bool = False

    @classmethod
    def of_a_week(cls, materials: Sequence[Material]) -> ErrorModel:
        """A week ahead, or as far as the dry hours wanted after tomorrow's job."""
        longest_d = int(np.ceil(max(material.dry_spell_h for material in materials) / 24.0))
        return cls(days=max(WEEK_D, longest_d + 1))

    @property
    def name(self) -> str:
        """What people read."""
        size = "" if self.scale == 1.0 else f" x {self.scale:g}"
        return f"usual errors{size}" + (" and wrong rain" if self.wrong_blocks else "")

    @property
    def measures(self) -> bool:
        """It is wrong at times."""
        return True

    def covers(self, first_h: int, last_h: int) -> bool:
        """Every winter of the record."""
        return True

    @cached_property
    def _draws(self) -> dict[str, Array]:
        """Standard errors by part [lead day, hour of the cycle], correlated along hours."""
        noise = np.random.default_rng(self.seed).standard_normal(
            (CYCLE_H + WARM_UP_H, len(_KINDS), self.days)
        )
        errors = np.sqrt(1.0 - SHARED**2) * noise
        for hour in range(1, len(errors)):
            errors[hour] += SHARED * errors[hour - 1]
        return {
            kind: np.ascontiguousarray(errors[WARM_UP_H:, number].T)
            for number, kind in enumerate(_KINDS)
        }

    def _error(self, kind: str, usual: str, lead_day: Integers, valid_h: Integers) -> Array:
        """Sum of the parts of an error up to the lead day of each row, [hour, evening]."""
        middles_h = np.arange(12.0, 24.0 * self.days, 24.0)
        sizes = USUAL_ERRORS[usual].at(middles_h) * self.scale
        parts = np.sqrt(np.diff(sizes**2, prepend=0.0))
        total = np.zeros(valid_h.shape)
        column = valid_h % CYCLE_H
        for day in range(self.days):
            reached = np.flatnonzero(lead_day >= day)
            total[reached] += parts[day] * self._draws[kind][day][column[reached]]
        return total

    def known(
        self, truth: Mapping[str, Array], lead_h: Integers, valid_h: Integers
    ) -> dict[str, Array]:
        """The truth with errors on everything after the evening."""
        lead_day = np.where(lead_h >= 0, lead_h // 24, -1)
        out = dict(beyond_unknown(truth, lead_h, self.days))
        warmer = self._error("temp", "temperature", lead_day, valid_h)
        dryness = self._error("dew", "humidity", lead_day, valid_h) * DEW_K_PER_PERCENT
        spread = out["temp_c"] - out["dew_point_c"]
        for name in ("temp_c", "temp_min_c", "temp_max_c"):
            if name in out:
                out[name] = out[name] + warmer
        ahead = (lead_day >= 0)[:, None]
        spoiled = out["temp_c"] - np.maximum(spread + dryness, 0.0)
        out["dew_point_c"] = np.where(ahead, spoiled, truth["dew_point_c"])
        windier = self._error("wind", "wind", lead_day, valid_h)
        for name in ("wind_ms", "wind_min_ms", "wind_max_ms", "gust_ms"):
            if name in out:
                out[name] = np.maximum(out[name] + windier, 0.0)
        return out | self._rain(out, lead_day, valid_h)

    def _rain(
        self, known: Mapping[str, Array], lead_day: Integers, valid_h: Integers
    ) -> dict[str, Array]:
        ahead, reached = lead_day >= 0, lead_day < self.days
        hourly = known["rain_mm"]
        periods = {name: known[name] for name in PERIOD_COLUMNS if name in known}
        if periods:
            total, period_h, _ = (known[name] for name in PERIOD_COLUMNS)
            hourly = np.where(np.isnan(hourly), total / period_h, hourly)
        # the onset of a spell is off by one number of hours, held for the day
        onset = self._error("onset", "rain", lead_day, valid_h - valid_h % 24)
        rows = np.arange(len(hourly))[:, None] + np.rint(onset).astype(np.int64)
        # beyond the days that the forecast reaches nothing is known to be moved in
        last = np.flatnonzero(reached)[-1]
        moved = np.take_along_axis(hourly, np.clip(rows, 0, last), axis=0)
        factor = np.exp(AMOUNT * self.scale * self._draws["amount"][0][valid_h % CYCLE_H])
        if self.wrong_blocks:
            chance = WRONG_FIRST_DAY + WRONG_EACH_DAY * np.maximum(lead_day, 0)
            drawn = np.random.default_rng((self.seed, BLOCK_H)).random(CYCLE_H // BLOCK_H)
            wrong = drawn[valid_h // BLOCK_H % len(drawn)] < chance[:, None]
            before = np.maximum(np.arange(len(hourly)) - WRONG_FROM_H, 0)
            moved = np.where(wrong, hourly[before], moved)
        forecast = (ahead & reached)[:, None]
        out = {"rain_mm": np.where(forecast, moved * factor, known["rain_mm"])}
        for name, values in periods.items():
            out[name] = np.where(ahead[:, None], np.nan, values)
        return out

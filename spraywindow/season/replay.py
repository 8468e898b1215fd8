"""What an evening could have known: past forecasts replayed behind one small interface.

`Foresight` knows the coming days as they turned out: it measures what a rule costs, so its
false go has no meaning. `ErrorModel` spoils them with errors of the usual size. Archived
forecasts come from a source that satisfies the same interface.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from spraywindow.spray.chance import USUAL_ERRORS
from spraywindow.weather.interval import Array

Integers = NDArray[np.int64]


class Replay(Protocol):
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

    def known(
        self, truth: Mapping[str, Array], lead_h: Integers, valid_h: Integers
    ) -> dict[str, Array]:
        """The truth up to the last day known."""
        return beyond_unknown(truth, lead_h, self.days)


@dataclass(frozen=True)
class ErrorModel:
    """The coming days with errors of the usual size: a sensitivity, not a claim of skill.

    An error belongs to its valid hour and grows by independent parts with each day of lead, so
    that it shrinks from one evening to the next as an hour comes nearer, and neighbouring hours
    share it (first-order autoregression). Rain comes early or late by the error of its
    onset, and its amount is off by a factor.

    Notes
    -----
    Sizes are those of `spraywindow.spray.chance.USUAL_ERRORS` times `scale` (common practice, no
    source).
    """

    seed: int = 1
    scale: float = 1.0
    days: int = 7

    @property
    def name(self) -> str:
        """What people read."""
        return f"{self.scale:g} x usual errors, run {self.seed}"

    @property
    def measures(self) -> bool:
        """It is wrong at times."""
        return True

    @cached_property
    def _draws(self) -> dict[str, Array]:
        """Standard errors by part [lead day, hour of a long cycle], correlated along hours."""
        rng = np.random.default_rng(self.seed)
        return {
            kind: np.stack([_correlated(rng) for _ in range(self.days)])
            for kind in ("temp", "dew", "wind", "onset", "amount")
        }

    def _error(self, kind: str, usual: str, lead_day: Integers, valid_h: Integers) -> Array:
        """Sum of the parts of an error up to the lead day of each row, [hour, evening]."""
        error = USUAL_ERRORS[usual]
        sizes = error.at(np.arange(24.0, 24.0 * self.days + 1.0, 24.0)) * self.scale
        parts = np.sqrt(np.diff(sizes**2, prepend=0.0))
        total = np.zeros(valid_h.shape)
        column = valid_h % _CYCLE_H
        for day in range(self.days):
            reached = (lead_day >= day)[:, None]
            total += np.where(reached, parts[day] * self._draws[kind][day][column], 0.0)
        return total

    def known(
        self, truth: Mapping[str, Array], lead_h: Integers, valid_h: Integers
    ) -> dict[str, Array]:
        """The truth with errors on everything after the evening."""
        lead_day = np.where(lead_h >= 0, lead_h // 24, -1)
        out = dict(beyond_unknown(truth, lead_h, self.days))
        temp = out["temp_c"] + self._error("temp", "temperature", lead_day, valid_h)
        spread = out["temp_c"] - out["dew_point_c"]
        # 8 % of relative humidity are about 1.3 K of dew-point depression at 10 degC
        dryness = self._error("dew", "humidity", lead_day, valid_h) * (1.3 / 8.0)
        out["temp_c"] = temp
        out["dew_point_c"] = temp - np.maximum(spread + dryness, 0.0)
        gustier = self._error("wind", "wind", lead_day, valid_h)
        for name in ("wind_ms", "gust_ms"):
            if name in out:
                out[name] = np.maximum(out[name] + gustier, 0.0)
        out["rain_mm"] = self._rain(truth["rain_mm"], out["rain_mm"], lead_day, valid_h)
        return out

    def _rain(self, truth: Array, known: Array, lead_day: Integers, valid_h: Integers) -> Array:
        # the onset of a spell is off by one number of hours, held for the day
        day_hour = valid_h - valid_h % 24
        onset = self._error("onset", "rain", lead_day, day_hour)
        rows = np.arange(len(truth))[:, None] + np.rint(onset).astype(np.int64)
        moved = np.take_along_axis(truth, np.clip(rows, 0, len(truth) - 1), axis=0)
        factor = np.exp(0.5 * self.scale * self._draws["amount"][0][valid_h % _CYCLE_H])
        ahead = (lead_day >= 0)[:, None]
        return np.where(ahead & ~np.isnan(known), np.round(moved * factor, 1), known)


_CYCLE_H = 24 * 365
_SHARED = 0.95
"""Correlation of the errors of neighbouring hours; P."""


def _correlated(rng: np.random.Generator) -> Array:
    """A year of standard normal errors, each hour sharing most of its neighbour's."""
    from scipy.signal import lfilter

    noise = rng.standard_normal(_CYCLE_H + 500)
    return np.asarray(lfilter([np.sqrt(1.0 - _SHARED**2)], [1.0, -_SHARED], noise)[500:])


def beyond_unknown(truth: Mapping[str, Array], lead_h: Integers, days: int) -> dict[str, Array]:
    """Columns with everything from `days` after the evening on unknown."""
    late = (lead_h >= 24 * days)[:, None]
    return {name: np.where(late, np.nan, values) for name, values in truth.items()}

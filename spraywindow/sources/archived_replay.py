"""Archived forecasts replayed: what was known on an evening, as a service had it then.

It satisfies the replay of `spraywindow.season`: every hour after an evening takes the forecast
that is at least as old as that evening, never a younger one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spraywindow.weather.hourly import PERIOD_COLUMNS, RANGE_COLUMNS, REQUIRED

DAYS = 7
MOST_UNKNOWN = 0.05
"""A winter with more unknown forecasts than this share is not covered; P."""
Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Archived:
    """Archived forecasts of one place.

    Attributes
    ----------
    first_h : int
        Hour of row 0, counted from 1970.
    columns : mapping of str to array [hour, day]
        Contract columns on hour starts as forecast 1, 2, ... `DAYS` days before; NaN where none
        is archived. A column that is archived nowhere is left out.
    notes : tuple of str
        What is archived and from when, and the credit.
    """

    first_h: int
    columns: Mapping[str, Floats]
    notes: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """What people read."""
        return "archived forecasts"

    @property
    def measures(self) -> bool:
        """They were wrong at times."""
        return True

    @property
    def days(self) -> int:
        """Days that they reach."""
        return DAYS

    def covers(self, first_h: int, last_h: int) -> bool:
        """Whether nearly all hours from one to another have the required values."""
        begin, end = first_h - self.first_h, last_h - self.first_h
        if begin < 0 or not set(REQUIRED) <= self.columns.keys():
            return False
        wanted = max(end - begin, 1)
        known = ~np.isnan(sum(self.columns[name][begin:end, 0] for name in REQUIRED))
        return bool(np.count_nonzero(known) >= (1.0 - MOST_UNKNOWN) * wanted)

    def known(
        self, truth: Mapping[str, Floats], lead_h: Integers, valid_h: Integers
    ) -> dict[str, Floats]:
        """The record up to each evening, the archived forecasts after it.

        Parameters and result are those of `spraywindow.season.replay.Replay`. A column that is
        not archived is left out of the record too, so that its limit is not judged; totals and
        ranges of the record end with the evening.
        """
        ahead = lead_h >= 0
        day = np.minimum(np.maximum(lead_h, 0) // 24, DAYS - 1)
        reached = (lead_h < 24 * DAYS)[:, None]
        out = {}
        for name, values in truth.items():
            if name in (*PERIOD_COLUMNS, *RANGE_COLUMNS):
                out[name] = np.where(ahead[:, None], np.nan, values)
            elif name in self.columns or name in REQUIRED:
                forecast = self._forecast(name, day, valid_h)
                forecast = np.where(reached, forecast, np.nan)
                out[name] = np.where(ahead[:, None], forecast, values)
        return out

    def _forecast(self, name: str, day: Integers, valid_h: Integers) -> Floats:
        """Values [hour, evening] of each hour as forecast on its row's day."""
        if name not in self.columns:
            return np.full(valid_h.shape, np.nan)
        archive, row = self.columns[name], valid_h - self.first_h
        inside = (row >= 0) & (row < len(archive))
        picked = archive[np.clip(row, 0, len(archive) - 1), day[:, None]]
        return np.where(inside, picked, np.nan)

"""What an evening could have known: past forecasts replayed behind one small interface.

`Foresight` knows the coming days as they turned out: it measures what a rule costs, so its
false go has no meaning. `spraywindow.season.forecast_errors` spoils them with errors of the
usual size. Archived forecasts come from a source that satisfies the same interface.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

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

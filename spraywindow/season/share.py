"""A share of winters with its interval: no percentage without its n."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spraywindow.season.skill import wilson_interval
from spraywindow.weather.interval import Array


def mean_known(values: Array) -> float:
    """Mean of what is not NaN; NaN where all is."""
    known = values[~np.isnan(values)]
    return float(known.mean()) if known.size else np.nan


@dataclass(frozen=True)
class Share:
    """A share of winters with its 95 % interval (Wilson 1927); NaN where there is no winter."""

    share: float
    low: float
    high: float
    n: int

    @classmethod
    def of(cls, hits: NDArray[np.bool_]) -> Share:
        """Count the winters in which something came true."""
        n = len(hits)
        if n == 0:
            return cls(np.nan, np.nan, np.nan, 0)
        low, high = wilson_interval(int(hits.sum()), n)
        return cls(float(hits.mean()), float(low), float(high), n)

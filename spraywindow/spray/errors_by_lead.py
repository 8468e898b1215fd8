"""How far forecasts of the night's lowest temperature are off, by lead, as measured.

The coefficients are fitted by ``notebooks/frost_errors.py``, which anyone with the data can run.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import erf, sqrt

import numpy as np
from numpy.typing import ArrayLike

from spraywindow.weather import Array

_erf = np.vectorize(erf, otypes=[float])  # not scipy's: a cold start would load it


@dataclass(frozen=True)
class NightError:
    """Observed less forecast minimum of a night, as a normal distribution.

    Parameters
    ----------
    bias_k : float
        Mean error [K]; negative where the nights come colder than forecast.
    first_day_k, each_day_k : float
        Standard error up to 24 h ahead, and what each further day adds [K].
    furthest_h : float
        Lead up to which it was measured [h].
    source : str
    """

    bias_k: float
    first_day_k: float
    each_day_k: float
    furthest_h: float
    source: str

    def sigma_k(self, lead_h: ArrayLike) -> Array:
        """Standard error [K] at a lead [h]; NaN for a record (below 0) and past the furthest."""
        lead = np.asarray(lead_h, dtype=float)
        sigma = self.first_day_k + self.each_day_k * np.maximum(lead / 24.0 - 1.0, 0.0)
        return np.where((lead >= 0.0) & (lead <= self.furthest_h), sigma, np.nan)


NIGHT_MINIMUM = NightError(
    bias_k=-1.0,
    first_day_k=2.6,
    each_day_k=0.2,
    furthest_h=144.0,
    source="US National Weather Service, 74 cities, nights of November to March 2014-2017, "
    "forecast minima of -6 to 10 degC (n = 98990), evening issues; against calendar days, which "
    "adds about 10 % to the error; notebooks/frost_errors.py",
)
"""Of mild cities alone it is -0.8, 2.3 and 0.24 K. The rows of that archive pair many nights with
the wrong morning and would say 3.6 K and 0.08 K a day: the script tells how they are paired."""


def frost_chance(lowest_c: ArrayLike, lead_h: ArrayLike, limit_c: ArrayLike = 0.0) -> Array:
    """Chance that the true minimum of a night stays above a limit.

    Parameters
    ----------
    lowest_c : array [...]
        Forecast minimum of the night [degC], nothing taken off it.
    lead_h : array [...]
        Hours from the forecast's issue to the end of the night [h]; broadcast with `lowest_c`.
    limit_c : array [...], optional
        The limit [degC].

    Returns
    -------
    array [...]
        From 0 to 1; NaN where the minimum is unknown, for a record (a negative lead), and beyond
        the leads measured (6 days): nothing is earned there.

    Notes
    -----
    Normal errors by `NIGHT_MINIMUM`. Each city judged by the coefficients of the others, said and
    came agreed within 0.02 at every tenth, in mild cities within 0.05.
    """
    above = np.asarray(lowest_c, dtype=float) + NIGHT_MINIMUM.bias_k - np.asarray(limit_c)
    score = above / NIGHT_MINIMUM.sigma_k(lead_h)
    return np.asarray(0.5 * (1.0 + _erf(score / sqrt(2.0))))


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

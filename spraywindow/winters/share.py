"""Shares of winters with their intervals, and how good yes-or-no answers and chances were.

No percentage without its n.

References
----------
.. [1] Wilson (1927), Probable inference, the law of succession, and statistical inference,
   J. Amer. Statist. Assoc. 22: 209-212.
.. [2] Jolliffe and Stephenson (2012), Forecast Verification, 2nd ed., chapter 3: the counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spraywindow.weather import Array

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Counts:
    """The 2x2 table of answers and outcomes, and the pairs that could not be judged.

    Parameters
    ----------
    hits : int
        Go, and it was good.
    false_go : int
        Go, and it was not.
    missed_go : int
        No-go, and it would have been good.
    correct_no_go : int
        No-go, rightly.
    unknown : int
        Pairs in which the answer or the outcome is unknown; in no metric.
    """

    hits: int
    false_go: int
    missed_go: int
    correct_no_go: int
    unknown: int = 0

    @property
    def n(self) -> int:
        """Pairs judged."""
        return self.hits + self.false_go + self.missed_go + self.correct_no_go


def count(answered_go: ArrayLike, was_good: ArrayLike) -> Counts:
    """Count answers against outcomes; both 1 (yes), 0 (no) or NaN (unknown), same shape."""
    go, good = np.asarray(answered_go, dtype=float), np.asarray(was_good, dtype=float)
    if go.shape != good.shape:
        raise ValueError(f"shapes differ: {go.shape} and {good.shape}")
    judged = ~(np.isnan(go) | np.isnan(good))
    yes, right = go[judged] != 0, good[judged] != 0
    return Counts(
        hits=int(np.count_nonzero(yes & right)),
        false_go=int(np.count_nonzero(yes & ~right)),
        missed_go=int(np.count_nonzero(~yes & right)),
        correct_no_go=int(np.count_nonzero(~yes & ~right)),
        unknown=int(np.count_nonzero(~judged)),
    )


def missed_go_rate(c: Counts) -> float:
    """Share of the good times that were called no-go."""
    return _ratio(c.missed_go, c.hits + c.missed_go)


def false_go_ratio(c: Counts) -> float:
    """Share of the go answers that were wrong (false alarm ratio)."""
    return _ratio(c.false_go, c.hits + c.false_go)


def _ratio(part: float, whole: float) -> float:
    return part / whole if whole else float("nan")


def brier_score(chance: ArrayLike, happened: ArrayLike) -> float:
    """Mean squared error of chances (0-1) against outcomes (0, 1); pairs with NaN are left out."""
    forecast, outcome = _pairs(chance, happened)
    return float(np.mean((forecast - outcome) ** 2)) if len(forecast) else float("nan")


def wilson_interval(
    successes: ArrayLike, n: ArrayLike, level: float = 0.95
) -> tuple[Floats, Floats]:
    """Wilson score interval of a share [1]_.

    Parameters
    ----------
    successes, n : array
        How many of how many; any shapes that broadcast.
    level : float
        Confidence, between 0 and 1.

    Returns
    -------
    low, high : array
        NaN where n is 0.
    """
    some, total = np.asarray(successes, dtype=float), np.asarray(n, dtype=float)
    if np.any((some < 0) | (some > total)):
        raise ValueError("successes must lie between 0 and n")
    z = NormalDist().inv_cdf(0.5 + level / 2)
    whole = np.where(total > 0, total, np.nan)
    share = some / whole
    scale = 1 + z**2 / whole
    centre = (share + z**2 / (2 * whole)) / scale
    half = z / scale * np.sqrt(share * (1 - share) / whole + z**2 / (4 * whole**2))
    # Rounding must not put the bound beyond a share of exactly 0 or 1.
    return np.minimum(np.maximum(centre - half, 0.0), share), np.maximum(
        np.minimum(centre + half, 1.0), share
    )


def _pairs(chance: ArrayLike, happened: ArrayLike) -> tuple[Floats, Floats]:
    forecast = np.asarray(chance, dtype=float).ravel()
    outcome = np.asarray(happened, dtype=float).ravel()
    if forecast.shape != outcome.shape:
        raise ValueError(f"shapes differ: {forecast.shape} and {outcome.shape}")
    known = ~(np.isnan(forecast) | np.isnan(outcome))
    if np.any((forecast[known] < 0) | (forecast[known] > 1)):
        raise ValueError("chances must lie between 0 and 1")
    return forecast[known], outcome[known]


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


RIDGE = 0.3
"""Draws the weights of a regression to 0, in cases: who has seen little claims little; P."""


CLOSE = 1e-10
"""Steps smaller than this end a regression."""


def chance_by_others(terms: Array, came: Array) -> Floats:
    """Chance of an event in each winter, as all the other winters bear it out.

    A logistic regression of the event on what the evenings before it saw.

    Parameters
    ----------
    terms : array [day, winter, term]
        What was seen; a constant among it. NaN in any: no chance is asked for.
    came : array [day, winter]
        1 where the event came, 0 where it did not, NaN where that is not known or not to be
        learned from.

    Returns
    -------
    array [day, winter]
        NaN where none is asked for, and everywhere without another winter.
    """
    out = np.full(came.shape, np.nan)
    asked: NDArray[np.bool_] = np.asarray(np.isfinite(terms).all(axis=-1))
    known = asked & ~np.isnan(came)
    start = _logistic(terms[known], came[known], np.zeros(terms.shape[-1]))
    for winter in range(came.shape[1]):
        others = known.copy()
        others[:, winter] = False
        if others.any():
            score = terms[asked[:, winter], winter] @ _logistic(terms[others], came[others], start)
            out[asked[:, winter], winter] = 1.0 / (1.0 + np.exp(-np.clip(score, -30.0, 30.0)))
    return out


def _logistic(terms: Array, came: Array, start: Array) -> Floats:
    """Weights of a logistic regression by Newton's steps from `start`; terms [case, term]."""
    weights = np.array(start)
    ridge = RIDGE * np.eye(len(weights))
    for _ in range(12):
        chance = 1.0 / (1.0 + np.exp(-np.clip(terms @ weights, -30.0, 30.0)))
        slope = terms.T @ (terms * (chance * (1.0 - chance))[:, None]) + ridge
        step = np.linalg.solve(slope, terms.T @ (came - chance) - ridge @ weights)
        weights += step
        if np.abs(step).max() < CLOSE:
            break
    return weights

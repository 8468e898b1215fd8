"""What a site's own answers teach of its chances, and its notes of dry bark and cold nights.

The log odds of the general chance are shifted and stretched by a logistic regression of
"held" on them, held back towards no change at all (a ridge, or the most probable values under a
normal prior [1]_ [2]_). The prior weighs as much as `CASES` usual cases of the general fit, so that
from so many on the site's own count more than the general ones.

References
----------
.. [1] le Cessie and van Houwelingen (1992), Ridge estimators in logistic regression, Applied
   Statistics 41:191.
.. [2] Kass and Wasserman (1995), A reference Bayesian test for nested hypotheses, J. Amer.
   Statist. Assoc. 90:928: a prior that tells as much as a number of cases.
.. [3] Bates and Granger (1969), The combination of forecasts, Operational Research Quarterly
   20:451: weights by the errors that each made lately.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike

from spraywindow.spray.chance import fitted, logistic, most_chance
from spraywindow.weather import Array

CASES = 40
"""Cases of a site that weigh as much as the general fit: about one season of mornings; P."""
FEWEST = 10
"""Cases below which nothing is shifted; P."""
SURE = 1e-3
"""Chances nearer to 0 or 1 count as this far away: one surprise must not outweigh all else."""
_STEPS, _CLOSE = 100, 1e-10


@dataclass(frozen=True)
class Learned:
    """The shift and the slope on the log odds of a general chance, and what they rest on.

    Attributes
    ----------
    shift, slope : float
        0 and 1 change nothing; the slope is not below 0, so that what is likelier stays so.
    cases : int
        Answers of the site that were judged.
    """

    json_keys: ClassVar = ("in_use", "cases", "weight:2", "shift", "slope")

    shift: float = 0.0
    slope: float = 1.0
    cases: int = 0

    @property
    def in_use(self) -> str:
        """Which coefficients: "general", or "own" where the site's own answers shift them."""
        return "general" if self.cases < FEWEST else "own"

    @property
    def weight(self) -> float:
        """Share that the site's own answers have in it [0-1]."""
        return 0.0 if self.in_use == "general" else self.cases / (self.cases + CASES)

    def chance(self, general: Array, lead_h: Array) -> Array:
        """The site's chances [0-1] from the general ones; NaN stays, none is above `most_chance`.

        `lead_h` are the hours from the forecast's issue to each job.
        """
        if self.in_use == "general":
            return general
        own = logistic(self.shift + self.slope * log_odds(general))
        return np.minimum(own, most_chance(lead_h))


GENERAL = Learned()
"""Of a site that has not taught anything yet."""


def log_odds(chance: ArrayLike) -> Array:
    """Log odds of chances, none nearer than `SURE` to 0 or 1."""
    kept = np.clip(np.asarray(chance, dtype=float), SURE, 1.0 - SURE)
    return np.asarray(np.log(kept / (1.0 - kept)))


@cache
def information() -> Array:
    """What one usual case of the general fit tells of shift and slope: Fisher's, [2, 2].

    Over the cases that it was checked on, each at the middle of its tenth.
    """
    cases = np.sum([row["cases"] for row in fitted()["came_true"]], axis=0)
    chance = (np.arange(10) + 0.5) / 10
    terms = np.stack([np.ones(10), log_odds(chance)], axis=1)
    weights = cases / cases.sum() * chance * (1.0 - chance)
    return np.asarray((terms * weights[:, None]).T @ terms)


def learn(general: ArrayLike, held: ArrayLike, *, prior_cases: float = CASES) -> Learned:
    """Fit what a site's own answers teach.

    Parameters
    ----------
    general : array [case]
        The general chance of each job [0-1], as without the site's own coefficients.
    held : array [case]
        1 where the job held, else 0.
    prior_cases : float
        Cases that "nothing is to be changed" weighs, above 0.

    Returns
    -------
    Learned
        Without any change below `FEWEST` cases.

    Raises
    ------
    ValueError
        If shapes differ or a value is unknown.
    """
    x, y = log_odds(general), np.asarray(held, dtype=float)
    if x.shape != y.shape or x.ndim != 1:
        raise ValueError(f"shapes differ: {x.shape} and {y.shape}")
    if np.isnan(x).any() or np.isnan(y).any():
        raise ValueError("a case is unknown")
    if len(x) < FEWEST:
        return Learned(cases=len(x))
    terms, prior = np.stack([np.ones_like(x), x], axis=1), prior_cases * information()
    found = _newton(terms, y, prior, np.eye(2))
    if found[1] < 0.0:  # the loss is convex: the best allowed lies on the edge
        found = _newton(terms, y, prior, np.eye(2)[:, :1])
    return Learned(float(found[0]), float(found[1]), len(x))


def _newton(terms: Array, held: Array, prior: Array, free: Array) -> Array:
    """Most probable shift and slope, from (0, 1) or the edge along the directions `free`."""
    usual = np.array([0.0, 1.0])
    at = usual * free.any(axis=1)

    def loss(b: Array) -> float:
        score, off = terms @ b, b - usual
        return float((np.logaddexp(0.0, score) - held * score).sum() + off @ prior @ off / 2)

    for _ in range(_STEPS):
        chance = logistic(terms @ at)
        slope = free.T @ (terms.T @ (chance - held) + prior @ (at - usual))
        bend = free.T @ ((terms * (chance * (1.0 - chance))[:, None]).T @ terms + prior) @ free
        step = free @ np.linalg.solve(bend, slope)
        before = loss(at)
        while loss(at - step) > before and np.abs(step).max() > _CLOSE:
            step = step / 2
        at = at - step
        if np.abs(step).max() < _CLOSE:
            break
    return at


RECENT, PRIOR_NOTES = 20, 1
"""Notes that count, the last ones; and notes that weigh as much as "the model is right"; P. One
and not more: on nights of a leaf-wetness sensor more of them only left the error larger."""
USUALLY = 0.75
"""Share of the notes that "usually within" holds."""


@dataclass(frozen=True)
class Offset:
    """How far what was seen usually lies from what was modelled, in the unit of the notes.

    Attributes
    ----------
    middle : float
        Seen less modelled; 0 without notes.
    error : float
        `USUALLY` so much or less, as each note was off from what the notes before it had taught;
        NaN without notes.
    notes : int
        Notes that it rests on.
    """

    middle: float = 0.0
    error: float = float("nan")
    notes: int = 0


def learn_offset(found: ArrayLike) -> Offset:
    """Learn from the differences seen less modelled, oldest first.

    The median, which one morning that stays wet till noon does not move, is shrunk towards zero;
    then it is blended with no change at all, each weighed by how little it was off lately (the
    median of its absolute errors, one note ahead) [3]_.

    Examples
    --------
    >>> learn_offset([40.0, 40.0, 40.0])  # shrunk 30; off by 40 without it, by 20 with it
    Offset(middle=20.0, error=30.0, notes=3)
    """
    off = np.asarray(found, dtype=float)[-RECENT:]
    if not len(off):
        return Offset()
    errors = np.abs(off - [_shrunk(off[:number]) for number in range(len(off))])
    without, with_it = float(np.median(np.abs(off))), float(np.median(errors))
    share = without / (without + with_it) if without else 0.0
    return Offset(share * _shrunk(off), float(np.quantile(errors, USUALLY)), len(off))


def _shrunk(off: Array) -> float:
    return float(np.median(off)) * len(off) / (len(off) + PRIOR_NOTES) if len(off) else 0.0

"""Fit chill and heat to the first flowers that somebody wrote down at a site."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from spraywindow.errors import InputError, describe
from spraywindow.season.bloom import at_start, first_day, stage_days
from spraywindow.season.requirement import Requirement
from spraywindow.season.winters import WinterSums


def fit_requirement(
    sums: WinterSums,
    observed_days: ArrayLike,
    *,
    chill_grid: ArrayLike,
    name: str = "fitted",
) -> Requirement:
    """Fit a requirement to observed first flowers (or to the usual one, the same for all years).

    For each chill requirement of the grid the heat is the mean that the winters had between
    the end of chilling and flower; the pair with the least squared error in days is kept.

    Parameters
    ----------
    sums : WinterSums
    observed_days : array, shape (winters,)
        Day numbers of first flower; NaN where nobody looked.
    chill_grid : array
        Chill requirements to try [portions].

    Raises
    ------
    InputError
        If no usable winter with an observation reaches any chill of the grid before it.
    """
    observed = np.asarray(observed_days, dtype=float)
    rows = np.flatnonzero(np.isfinite(observed) & sums.usable)
    best: tuple[float, Requirement] | None = None
    for chill in np.asarray(chill_grid, dtype=float):
        heats = [
            at_start(sums.heat[:, row], observed[row] + 1)
            - at_start(sums.heat[:, row], first_day(sums.chill[:, row], chill))
            for row in rows
        ]
        heat = float(np.mean(heats)) if heats else np.nan
        if not heat > 0:
            continue
        need = Requirement(name, float(chill), float(chill), heat, f"fitted to {len(rows)} winters")
        error = stage_days(sums, need, {60: 1.0})[rows, 0] - observed[rows]
        score = float(np.mean(error**2))
        if np.isfinite(score) and (best is None or score < best[0]):
            best = (score, need)
    if best is None:
        raise InputError(
            describe("no bloom requirement fits", expected="observed first flowers in usable "
                     "winters, after some chill of the grid", got=f"{len(rows)} observations")
        )  # fmt: skip
    return best[1]

"""Copper on the wood: what rain leaves of it, and how much infection weather it would cover.

Array functions have hours on the first axis, winters or sites after it. `copper_left` gives what
the rain known since the rounds done has left on day 0.

References
----------
.. [1] Ontario agriculture ministry (2020), Rainfastness of fungicides: about half of a copper
   deposit lost per 25 mm of rain, most above 50 mm.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from spraywindow.place import Place
from spraywindow.program import MaterialRounds
from spraywindow.weather import PERIOD_COLUMNS, spread_rain
from spraywindow.winters.block import midnight

Floats = NDArray[np.float64]

HALF_RAIN_MM = 25.0
"""Rain that takes half of the copper [1]_ [mm]; 40 is the other figure in use."""


def copper_residue(rain_mm_since: ArrayLike, half_rain_mm: float = HALF_RAIN_MM) -> Floats:
    """Share of a copper deposit left after so much rain, ``0.5 ** (mm / 25)`` [1]_."""
    return np.asarray(0.5 ** (np.asarray(rain_mm_since, dtype=float) / half_rain_mm))


def copper_on_wood(
    rain_mm: ArrayLike, rounds: ArrayLike, half_rain_mm: float = HALF_RAIN_MM,
    on_wood: float = 0.0,
) -> Floats:  # fmt: skip
    """Residue at the start of each hour, of the latest round before it.

    Parameters
    ----------
    rain_mm : array, shape (hours, ...)
        No NaN: put 0 for the most residue, a large number for the least.
    rounds : array of bool, shape (hours, ...)
        True in the hour of a round; it covers from the next hour on.
    on_wood : float
        Share of a deposit on the wood at the start, 0 to 1.
    """
    fallen = np.cumsum(np.asarray(rain_mm, dtype=float), axis=0)
    done = np.asarray(rounds, dtype=bool)
    fallen, done = np.broadcast_arrays(fallen, done)
    # What is on the wood is a round so much rain ago; without any, for ever.
    begin = half_rain_mm * np.log2(on_wood) if on_wood > 0 else -np.inf
    # Sums only grow, so the running maximum is the sum at the latest round.
    at_round = np.maximum.accumulate(np.where(done, fallen, begin), axis=0)
    first = np.zeros((1, *fallen.shape[1:]))
    before = np.concatenate([first, fallen[:-1]])
    last = np.concatenate([first + begin, at_round[:-1]])
    return copper_residue(before - last, half_rain_mm)


def covered_share(
    risk: tuple[Floats, Floats],
    rain_mm: ArrayLike,
    rounds: ArrayLike,
    *,
    weight: ArrayLike = 1.0,
    half_rain_mm: float = HALF_RAIN_MM,
    on_wood: float = 0.0,
) -> tuple[Floats, Floats]:
    """Share of each winter's infection risk that copper on given days would have covered.

    Parameters
    ----------
    risk : tuple of arrays, shape (hours, ...)
        As `infection_risk` gives it.
    rain_mm : array, shape (hours, ...)
        NaN is unknown: no rain for the upper bound, all copper lost for the lower one.
    rounds : array of bool, shape (hours, ...)
    weight : array, optional
        How susceptible the trees are in each hour, 0-1; bud break to petal fall is most so.
    on_wood : float
        Share of a deposit on the wood at the start.

    Returns
    -------
    low, high : array, shape (...)
        NaN where there was no risk at all.
    """
    rain = np.asarray(rain_mm, dtype=float)
    least, most = (np.asarray(bound) * np.asarray(weight, dtype=float) for bound in risk)
    kept_low = copper_on_wood(np.where(np.isnan(rain), 1e6, rain), rounds, half_rain_mm, on_wood)
    kept_high = copper_on_wood(np.where(np.isnan(rain), 0.0, rain), rounds, half_rain_mm, on_wood)

    def share(covered: Floats, bare: Floats) -> Floats:
        total = covered + bare
        return np.where(total > 0, covered / np.where(total > 0, total, 1.0), np.nan)

    low = share((least * kept_low).sum(axis=0), (most * (1 - kept_low)).sum(axis=0))
    high = share((most * kept_high).sum(axis=0), (least * (1 - kept_high)).sum(axis=0))
    # With only possible spells, one bound has no risk to share.
    return np.where(np.isnan(low), high, low), np.where(np.isnan(high), low, high)


def round_worth(
    risk: Floats, rain_mm: Floats, round_hours: ArrayLike, *,
    half_rain_mm: float = HALF_RAIN_MM, on_wood: float = 0.0,
) -> Floats:  # fmt: skip
    """Share of one winter's risk that would be lost without each round, the others kept.

    Parameters
    ----------
    risk, rain_mm : array, shape (hours,)
        One bound of the risk (weighted, if weights are used) and rain without NaN.
    round_hours : array of int, shape (rounds,)
    on_wood : float
        Share of a deposit on the wood at the start.

    Returns
    -------
    array, shape (rounds,)
        NaN where there was no risk.
    """
    hours = np.asarray(round_hours, dtype=np.int64)
    plans = np.zeros((len(risk), len(hours) + 1), dtype=bool)
    plans[hours] = True
    plans[hours, np.arange(len(hours))] = False
    column = np.broadcast_to(np.asarray(risk)[:, None], plans.shape)
    rain = np.broadcast_to(np.asarray(rain_mm)[:, None], plans.shape)
    covered = covered_share(
        (column, column), rain, plans, half_rain_mm=half_rain_mm, on_wood=on_wood
    )[0]
    return np.asarray(covered[-1] - covered[:-1])


ROUND_HOUR = 12
"""Local hour from which the rain counts on the day of a round, its hour being unknown; P."""
_WHOLE = 1.0 - 1e-6


@dataclass(frozen=True)
class CopperLeft:
    """Copper left of the rounds done.

    Attributes
    ----------
    share : float
        Of a fresh deposit, 0 to 1, mean of the trees. Hours of unknown rain took none of it, so
        with any of them it is the most that can be left.
    unknown_h : int
        Hours of unknown rain since the rounds that count [h].
    """

    share: float = 0.0
    unknown_h: int = 0


def copper_left(
    entry: MaterialRounds, first: dt.date, place: Place, tables: Sequence[pd.DataFrame]
) -> CopperLeft:
    """Give the copper left on day 0 of the rounds done before it.

    Parameters
    ----------
    entry : MaterialRounds
        The copper in the program: its rounds done, whole and in part.
    first : date
        Day 0.
    place : Place
    tables : sequence of DataFrame
        Hourly weather of the winter at hand, the more trusted first.

    Notes
    -----
    A part of a round goes on trees that the parts before it left out; a whole round on all.
    """
    # what failed is taken to be off the wood
    visits = [(day, held, held == 1.0) for day, _, held in entry.visits if held and day < first]
    if not visits:
        return CopperLeft()
    noons = [midnight(day, place) + pd.Timedelta(hours=ROUND_HOUR) for day, _, _ in visits]
    end = midnight(first, place)
    rain = _known_rain(tables, noons[0], end)
    since = begun = noons[0]  # of what is on the trees, and of the round that is open
    done, on_done, on_rest = 0.0, 0.0, 0.0  # share of trees done in the open round; their copper
    for (_, share, whole), noon, after in zip(visits, noons, [*noons[1:], end], strict=True):
        if whole:
            done, on_rest, since = 0.0, 1.0, noon
        begun = begun if done else noon
        left = 0.0 if whole else share
        while left > 1.0 - _WHOLE:
            part = min(left, 1.0 - done)
            on_done = (done * on_done + part) / (done + part)
            done, left = done + part, left - part
            if done > _WHOLE:
                done, on_rest, since, begun = 0.0, on_done, begun, noon
        kept = float(copper_residue(rain[(rain.index >= noon) & (rain.index < after)].sum()))
        on_done, on_rest = on_done * kept, on_rest * kept
    hours = round((end - since) / pd.Timedelta(hours=1))
    known = int(rain[rain.index >= since].notna().sum())
    return CopperLeft(done * on_done + (1.0 - done) * on_rest, max(hours - known, 0))


def _known_rain(
    tables: Sequence[pd.DataFrame], start: pd.Timestamp, end: pd.Timestamp
) -> pd.Series[float]:
    """Hourly rain of the first table that knows it [mm]; a longer total spread over its hours."""
    rain = pd.Series(dtype=float, index=pd.DatetimeIndex([], tz="UTC"))
    for table in tables:
        piece = table[(table.index >= start) & (table.index < end)]
        values = piece["rain_mm"].to_numpy(dtype=float)
        if PERIOD_COLUMNS[0] in piece:
            values = spread_rain(values, *(piece[name] for name in PERIOD_COLUMNS[:2]))
        own = pd.Series(values, index=piece.index).dropna()
        rain = pd.concat([rain, own[~own.index.isin(rain.index)]])
    return rain

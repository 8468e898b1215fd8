"""Infection weather by published gates: leaf curl on shoots and on fruit, shot hole.

Pure array functions: hours on the first axis, winters or sites after it. `wet` is 1 (wet),
0 (dry) or NaN (not known), so are gaps in temperature and rain; every risk is therefore a pair,
the least and the most it can have been.

References
----------
.. [1] Rossi et al. (2006), Environmental factors influencing the dispersal and infection of
   Taphrina deformans, Phytopathology 96: 155-163 (peach leaf curl, shoots).
.. [2] Rossi et al. (2007), Phytopathology 97: 1625 (Taphrina deformans, fruit).
.. [3] Univ. of California statewide pest programme, Shot hole.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class InfectionGate:
    """What a spell of wet hours needs to count as infection weather.

    Parameters
    ----------
    name : str
    wet_h : float
        Least wet hours in the spell [h].
    rain_mm : float
        Least rain in the spell [mm].
    below_c, least_c : float
        The mean temperature of the spell lies below the first; hours colder than the second do
        not count as wet [degC].
    break_h : int
        Dry hours that do not end a spell [h].
    incubation_h, incubation_below_c : int, float
        The mean temperature over that many hours after the spell lies below this [h, degC].
    full_h, full_c : float or None
        Wet hours and temperature from which the severity no longer grows [h, degC]; None for a
        gate that is only open or shut.
    source : str
    """

    name: str
    wet_h: float
    rain_mm: float = 0.0
    below_c: float = np.inf
    least_c: float = -np.inf
    break_h: int = 0
    incubation_h: int = 0
    incubation_below_c: float = np.inf
    full_h: float | None = None
    full_c: float | None = None
    source: str = ""


LEAF_CURL = InfectionGate(
    "leaf curl", wet_h=12.5, rain_mm=3.0, below_c=16.0, incubation_h=14 * 24,
    incubation_below_c=19.0, full_h=48.0, full_c=8.0,
    source="Rossi et al. 2006; two weeks of incubation and a straight line between the end "
    "points are common practice, no source",
)  # fmt: skip
FRUIT_CURL = InfectionGate(
    "leaf curl on fruit, after petal fall", wet_h=24.0, rain_mm=12.0, below_c=17.0, break_h=4,
    source="Rossi et al. 2007",
)  # fmt: skip
SHOT_HOLE = InfectionGate(
    "shot hole", wet_h=24.0, least_c=2.2, source="Univ. of California, Shot hole"
)


def infection_risk(
    gate: InfectionGate, wet: ArrayLike, temp_c: ArrayLike, rain_mm: ArrayLike
) -> tuple[Floats, Floats]:
    """Severity of each wet spell, 0 to 1, written at the spell's first hour; 0 elsewhere.

    Parameters
    ----------
    gate : InfectionGate
    wet : array, shape (hours, ...)
        1 wet, 0 dry, NaN not known.
    temp_c, rain_mm : array, shape (hours, ...)
        Air temperature [degC] and rain of the hour [mm]; NaN is unknown. A total over several
        hours is best spread over them first (`spread_rain`).

    Returns
    -------
    low, high : array, shape (hours, ...)
        Bounds of the severity; equal where everything is known. A spell is one of hours that
        may be wet; its low bound is that of the worst of the surely wet spells within it.

    Notes
    -----
    Severity ``min(1, (h - 12.5) / 35.5) * min(1, (16 - T) / 8)`` for leaf curl, from the
    published end points (48 h and 8 degC), h the wet hours and T their mean temperature.
    """
    wetness, temp, rain = np.broadcast_arrays(
        *(np.asarray(values, dtype=float) for values in (wet, temp_c, rain_mm))
    )
    shape, hours = wetness.shape, len(wetness)
    # One long column: a dry, unknown tail behind each column keeps its spells apart.
    tail = max(gate.break_h, gate.incubation_h) + 1
    flat_wet = _flatten(wetness, tail, 0.0)
    flat_temp, flat_rain = _flatten(temp, tail, np.nan), _flatten(rain, tail, 0.0)
    warm_sure, warm_maybe = flat_temp >= gate.least_c, ~(flat_temp < gate.least_c)

    sure = _spells((flat_wet == 1) & (warm_sure | np.isneginf(gate.least_c)), gate.break_h)
    maybe = _spells((flat_wet != 0) & warm_maybe, gate.break_h)
    low, high = np.zeros_like(flat_wet), np.zeros_like(flat_wet)
    starts, ends, wet_hours = maybe
    high[starts] = _severity(gate, starts, ends, wet_hours, flat_temp, flat_rain, most=True)
    inner, inner_ends, inner_wet = sure
    least = _severity(gate, inner, inner_ends, inner_wet, flat_temp, flat_rain, most=False)
    if len(inner):
        home = starts[np.searchsorted(starts, inner, side="right") - 1]
        np.maximum.at(low, home, least)
    # A longer spell can be warmer on the mean, and so milder, than the sure one inside it.
    high = np.maximum(low, high)
    low, high = (
        np.moveaxis(flat.reshape(-1, hours + tail)[:, :hours], 1, 0).reshape(shape)
        for flat in (low, high)
    )
    return low, high


def wet_from_store(low_mm: ArrayLike, high_mm: ArrayLike) -> Floats:
    """Turn the bounds of the water on the bark [mm] into 1 wet, 0 dry, NaN not known."""
    low, high = np.asarray(low_mm, dtype=float), np.asarray(high_mm, dtype=float)
    return np.where(low > 0, 1.0, np.where(high > 0, np.nan, 0.0))


def spread_rain(rain_mm: ArrayLike, total_mm: ArrayLike, total_h: ArrayLike) -> Floats:
    """Fill unknown hours of rain with an even share of the total of the period they are in."""
    rain, total, length = (np.asarray(v, dtype=float) for v in (rain_mm, total_mm, total_h))
    return np.where(np.isnan(rain), total / length, rain)


def _flatten(values: Floats, tail: int, fill: float) -> Floats:
    columns = np.moveaxis(values.reshape(len(values), -1), 0, 1)
    return np.pad(columns, ((0, 0), (0, tail)), constant_values=fill).ravel()


def _spells(wet: Bools, break_h: int) -> tuple[NDArray[np.int64], ...]:
    """Starts, ends (exclusive) and wet hours of the spells; short breaks do not end one."""
    step = np.diff(np.concatenate([[False], wet, [False]]).astype(np.int8))
    starts, ends = np.flatnonzero(step == 1), np.flatnonzero(step == -1)
    if len(starts):
        apart = starts[1:] - ends[:-1] > break_h
        starts, ends = starts[np.r_[True, apart]], ends[np.r_[apart, True]]
    total = np.concatenate([[0], np.cumsum(wet)])
    return starts, ends, total[ends] - total[starts]


def _severity(
    gate: InfectionGate, starts: NDArray[np.int64], ends: NDArray[np.int64],
    wet_hours: NDArray[np.int64], temp_c: Floats, rain_mm: Floats, *, most: bool,
) -> Floats:  # fmt: skip
    """Severity of spells with what is unknown taken for the worst (`most`) or the best."""
    unknown_temp = -np.inf if most else np.inf
    unknown_rain = np.inf if most else 0.0
    temp = _mean(temp_c, starts, ends, unknown_temp)
    rain = _sum(np.nan_to_num(rain_mm), starts, ends)
    rain = np.where(_sum(np.isnan(rain_mm), starts, ends) > 0, rain + unknown_rain, rain)
    after = _mean(temp_c, ends, ends + gate.incubation_h, unknown_temp)
    met = (wet_hours >= gate.wet_h) & (rain >= gate.rain_mm) & (temp < gate.below_c)
    if gate.incubation_h:
        met &= after < gate.incubation_below_c
    severity = np.ones(len(starts))
    if gate.full_h is not None and gate.full_c is not None:
        by_wet = np.clip((wet_hours - gate.wet_h) / (gate.full_h - gate.wet_h), 0.0, 1.0)
        by_temp = np.clip((gate.below_c - temp) / (gate.below_c - gate.full_c), 0.0, 1.0)
        severity = by_wet * by_temp
    return np.where(met, severity, 0.0)


def _sum(values: NDArray[np.generic], starts: NDArray[np.int64], ends: NDArray[np.int64]) -> Floats:
    total = np.concatenate([[0.0], np.cumsum(values, dtype=float)])
    return np.asarray(total[ends] - total[starts])


def _mean(
    temp_c: Floats, starts: NDArray[np.int64], ends: NDArray[np.int64], unknown: float
) -> Floats:
    """Mean of each span; `unknown` where one of its hours is not known."""
    mean = _sum(np.nan_to_num(temp_c), starts, ends) / np.maximum(ends - starts, 1)
    return np.where(_sum(np.isnan(temp_c), starts, ends) > 0, unknown, mean)

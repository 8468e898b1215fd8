"""Infection weather by a published gate: leaf curl on shoots.

Pure array functions: hours on the first axis, winters or sites after it. `wet` is 1 (wet),
0 (dry) or NaN (not known), so are gaps in temperature and rain; every risk is therefore a pair,
the least and the most it can have been.

References
----------
.. [1] Rossi et al. (2006), Environmental factors influencing the dispersal and infection of
   Taphrina deformans, Phytopathology 96: 155-163 (peach leaf curl, shoots).
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
    below_c : float
        The mean temperature of the spell lies below it [degC].
    incubation_h, incubation_below_c : int, float
        The mean temperature over that many hours after the spell lies below this [h, degC].
    full_h, full_c : float
        Wet hours and temperature from which the severity no longer grows [h, degC].
    source : str
    """

    name: str
    wet_h: float
    rain_mm: float
    below_c: float
    incubation_h: int
    incubation_below_c: float
    full_h: float
    full_c: float
    source: str


LEAF_CURL = InfectionGate(
    "leaf curl", wet_h=12.5, rain_mm=3.0, below_c=16.0, incubation_h=14 * 24,
    incubation_below_c=19.0, full_h=48.0, full_c=8.0,
    source="Rossi et al. 2006; two weeks of incubation and a straight line between the end "
    "points are common practice, no source",
)  # fmt: skip


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
        may be wet. Its low bound is that of the worst of the surely wet spells within it, each
        as warm as hours that may have been wet beside it could make it; its high bound is that
        of the worst spell that could have been.

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
    tail = gate.incubation_h + 1
    flat_wet = _flatten(wetness, tail, 0.0)
    flat_temp, flat_rain = _flatten(temp, tail, np.nan), _flatten(rain, tail, 0.0)

    sure, maybe = _spells(flat_wet == 1), _spells(flat_wet != 0)
    low, high = np.zeros_like(flat_wet), np.zeros_like(flat_wet)
    starts, ends = maybe
    most = _severity(gate, starts, ends, flat_temp, flat_rain, most=True)
    whole = np.zeros(len(starts), dtype=bool)  # spells that are surely wet from end to end
    inner, inner_ends = sure
    least = _severity(gate, inner, inner_ends, flat_temp, flat_rain, most=False)
    if len(inner):
        home = np.searchsorted(starts, inner, side="right") - 1
        unlike = (starts[home] != inner) | (ends[home] != inner_ends)
        for spell in np.flatnonzero(unlike & (least > 0.0)):
            outer = int(starts[home[spell]]), int(ends[home[spell]])
            span = int(inner[spell]), int(inner_ends[spell])
            least[spell] = _mildest(gate, span, outer, flat_temp)
        np.maximum.at(low, starts[home], least)
        whole[home[~unlike]] = True
    for number in np.flatnonzero(~whole & (ends - starts >= gate.wet_h)):
        outer = int(starts[number]), int(ends[number])
        most[number] = _worst(gate, outer, float(most[number]), flat_temp, flat_rain)
    high[starts] = most
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


def _spells(wet: Bools) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Starts and ends (exclusive) of the runs of wet hours."""
    step = np.diff(np.concatenate([[False], wet, [False]]).astype(np.int8))
    return np.flatnonzero(step == 1), np.flatnonzero(step == -1)


def _severity(
    gate: InfectionGate, starts: NDArray[np.int64], ends: NDArray[np.int64],
    temp_c: Floats, rain_mm: Floats, *, most: bool,
) -> Floats:  # fmt: skip
    """Severity of spells with what is unknown taken for the worst (`most`) or the best."""
    unknown_temp = -np.inf if most else np.inf
    unknown_rain = np.inf if most else 0.0
    temp = _mean(temp_c, starts, ends, unknown_temp)
    rain = _sum(np.nan_to_num(rain_mm), starts, ends)
    rain = np.where(_sum(np.isnan(rain_mm), starts, ends) > 0, rain + unknown_rain, rain)
    after = _mean(temp_c, ends, ends + gate.incubation_h, unknown_temp)
    met = (ends - starts >= gate.wet_h) & (rain >= gate.rain_mm) & (temp < gate.below_c)
    met &= after < gate.incubation_below_c
    return np.where(met, _by_length_and_temp(gate, ends - starts, temp), 0.0)


def _mildest(
    gate: InfectionGate, span: tuple[int, int], outer: tuple[int, int], temp_c: Floats
) -> float:
    """Severity of a surely wet span if hours around it, within `outer`, were wet as well."""
    temp = temp_c[outer[0] : outer[1] + gate.incubation_h]
    first = np.arange(span[0] - outer[0] + 1)[:, None]
    after = np.arange(span[1] - outer[0], outer[1] - outer[0] + 1)
    warmest = float(_mean(temp, first, after, np.inf).max())
    later = float(_mean(temp, after, after + gate.incubation_h, np.inf).max())
    if not (warmest < gate.below_c and later < gate.incubation_below_c):
        return 0.0
    return float(_by_length_and_temp(gate, np.array(span[1] - span[0]), np.array(warmest)))


def _worst(
    gate: InfectionGate, outer: tuple[int, int], whole: float, temp_c: Floats, rain_mm: Floats
) -> float:
    """Severity of the worst span within `outer`, of `whole` at least."""
    shortest, hours = int(np.ceil(gate.wet_h)), outer[1] - outer[0]
    # of spans twice as long as it takes, one half is as cold on the mean as the whole
    longest = min(hours, 2 * int(gate.full_h) - 1)
    rain = rain_mm[outer[0] : outer[1]]
    if longest < shortest or (not np.isnan(rain).any() and rain.sum() < gate.rain_mm):
        return whole
    temp = temp_c[outer[0] : outer[1] + gate.incubation_h]
    first, length = np.arange(hours - shortest + 1), np.arange(shortest, longest + 1)[:, None]
    end = np.minimum(first + length, hours)
    mean = _mean(temp, first, end, -np.inf)
    after = _mean(temp, end, end + gate.incubation_h, -np.inf)
    met = (first + length <= hours) & (mean < gate.below_c) & (after < gate.incubation_below_c)
    worst = np.where(met, _by_length_and_temp(gate, length, mean), 0.0)
    return max(whole, float(worst.max()))


def _by_length_and_temp(gate: InfectionGate, wet_h: NDArray[np.int64], temp_c: Floats) -> Floats:
    by_wet = np.clip((wet_h - gate.wet_h) / (gate.full_h - gate.wet_h), 0.0, 1.0)
    by_temp = np.clip((gate.below_c - temp_c) / (gate.below_c - gate.full_c), 0.0, 1.0)
    return np.asarray(by_wet * by_temp)


def _sum(values: NDArray[np.generic], starts: NDArray[np.int64], ends: NDArray[np.int64]) -> Floats:
    total = np.concatenate([[0.0], np.cumsum(values, dtype=float)])
    return np.asarray(total[ends] - total[starts])


def _mean(
    temp_c: Floats, starts: NDArray[np.int64], ends: NDArray[np.int64], unknown: float
) -> Floats:
    """Mean of each span; `unknown` where one of its hours is not known."""
    mean = _sum(np.nan_to_num(temp_c), starts, ends) / np.maximum(ends - starts, 1)
    return np.where(_sum(np.isnan(temp_c), starts, ends) > 0, unknown, mean)

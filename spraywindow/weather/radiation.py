"""Radiation at the surface: short-wave, cloud, and what is left after the long-wave loss.

References
----------
.. [1] FAO-56 (see `spraywindow.weather.air`), eq. 38-40 and p. 43, 75.
.. [2] Haurwitz (1945), Insolation in relation to cloudiness and cloud density, Journal of
   Meteorology 2:154; the constant as in `pvlib.clearsky.haurwitz`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spraywindow.weather.interval import Array, Interval
from spraywindow.weather.sun import cloud_from_share, transmitted_share

ALBEDO = 0.23
STEFAN_BOLTZMANN_WM2 = 4.903e-9 / 0.0864  # FAO-56 eq. 39, MJ/m2/day to W/m2
DAYLIGHT_DEG = 10.0
"""Clearness is read from measured radiation only above this sun [degrees]."""
AIR_LOSS = 0.059
"""Loss of a clear sky's radiation per way through the air [2]_. FAO-56 eq. 37 has none: against
it a clear sun 12 degrees high looks like 60 % cloud, and so would the night after it."""
LEAST_SHARE = 0.3
"""Relative radiation under the densest cloud, FAO-56 p. 43 (about 0.33)."""


@dataclass(frozen=True)
class Radiation:
    """Short-wave radiation and cloud, each as an interval; None where the table has neither."""

    solar_wm2: Interval
    cloud: Interval


def radiation(
    elevation_deg: Array, clear_wm2: Array, solar_wm2: Array | None, cloud: Array | None
) -> Radiation | None:
    """Make radiation and cloud out of what the table carries: either one gives the other.

    Parameters
    ----------
    elevation_deg, clear_wm2 : array
        Sun at mid-hour and clear-sky radiation (`spraywindow.weather.sun.Sun`).
    solar_wm2 : array or None
        Measured or forecast global radiation, mean of the hour [W/m2].
    cloud : array or None
        Cloud cover [0-1].

    Notes
    -----
    With radiation alone, the night keeps the clearness of the last three hours up to the last
    in which the sun stood 10 degrees high (after FAO-56 p. 75: two to three hours before
    sunset); if one of them is missing, the cloud of the night is unknown.
    """
    if solar_wm2 is None and cloud is None:
        return None
    way = 1.0 / np.sin(np.radians(np.maximum(elevation_deg, 2.0)))
    reference = clear_wm2 * np.exp(-AIR_LOSS * (way - 1.0))
    if cloud is not None:
        cover = _bounded(cloud, np.zeros(1), np.ones(1))
    else:
        assert solar_wm2 is not None
        share = _share(solar_wm2, reference, elevation_deg > DAYLIGHT_DEG)
        cover = _bounded(cloud_from_share(share), np.zeros(1), np.ones(1))
    if solar_wm2 is not None:
        sun = _bounded(np.clip(solar_wm2, 0.0, 1.1 * clear_wm2), np.zeros(1), 1.1 * clear_wm2)
    else:
        low = reference * transmitted_share(cover.high)
        sun = Interval(low, low if cover.known else reference * transmitted_share(cover.low))
    return Radiation(sun, cover)


def _bounded(values: Array, low: Array, high: Array) -> Interval:
    unknown = np.isnan(values)
    if not unknown.any():
        return Interval(values, values)
    return Interval(np.where(unknown, low, values), np.where(unknown, high, values))


def _share(solar_wm2: Array, clear_wm2: Array, high_sun: NDArray[np.bool_]) -> Array:
    """Solar radiation as a share of clear sky: by the hour in high sun, else from before."""
    measured, expected = np.where(high_sun, solar_wm2, 0.0), np.where(high_sun, clear_wm2, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        afternoon = _last_three(measured) / _last_three(expected)
        return np.where(high_sun, measured / expected, _hold(afternoon, high_sun))


def _last_three(values: Array) -> Array:
    """Sum of each row and the two before it; unknown where the data begin."""
    out = np.full_like(values, np.nan)
    out[2:] = values[2:] + values[1:-1] + values[:-2]
    return out


def _hold(values: Array, at: NDArray[np.bool_]) -> Array:
    """Carry the value of the last row where `at` is true (NaN included) onward."""
    rows = np.arange(len(values)).reshape(-1, *[1] * (values.ndim - 1))
    last = np.maximum.accumulate(np.where(at, rows, -1), axis=0)
    held = np.take_along_axis(values, np.maximum(last, 0), axis=0)
    return np.where(last >= 0, held, np.nan)


def net_radiation_wm2(temp_c: Array, vapour_kpa: Array, solar_wm2: Array, cloud: Array) -> Array:
    """Net radiation of a surface at air temperature [W/m2], FAO-56 eq. 38-40.

    The relative radiation of eq. 39 comes from cloud [0-1], so that nights have one too.
    """
    short = (1.0 - ALBEDO) * solar_wm2  # eq. 38
    clearness = 1.35 * np.maximum(transmitted_share(cloud), LEAST_SHARE) - 0.35
    long = (
        STEFAN_BOLTZMANN_WM2 * (temp_c + 273.16) ** 4 * (0.34 - 0.14 * np.sqrt(vapour_kpa))
    ) * clearness  # eq. 39
    return np.asarray(short - long)  # eq. 40

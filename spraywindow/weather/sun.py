"""Where the sun stands, and how much of it arrives.

The solar position is pvlib's (NREL SPA). Declination and equation of time change slowly: they
are taken every few days and interpolated, which keeps the position within 0.004 degrees (0.15
where the sun stands within 5 degrees of the zenith) and is some thirty times faster over thirty
years of hours. Most of what is left is parallax: the sun is seen from the centre of the earth.

References
----------
.. [1] Reda, Andreas (2004), Solar position algorithm for solar radiation applications,
   NREL/TP-560-34302.
.. [2] FAO-56 (see `spraywindow.weather.air`).
.. [3] Kasten, Czeplak (1980), Solar and terrestrial radiation dependent on the amount and type of
   cloud, Solar Energy 24:177, doi:10.1016/0038-092X(80)90391-6.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import import_module
from importlib.util import find_spec, module_from_spec, spec_from_file_location
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from spraywindow.place import Place

Array = NDArray[np.float64]

SOLAR_CONSTANT_WM2 = 1367.0  # 0.0820 MJ/m2/min, FAO-56 eq. 28
HORIZON_DEG = -0.833
"""Elevation of the sun's centre at sunrise and sunset: refraction and half the disc [degrees]."""
CLOUD_FACTOR, CLOUD_POWER = 0.75, 3.4  # [3]
NODE_DAYS = 4
"""The slow terms are taken from pvlib this often [days]; cubic between, then linear by the day."""


@dataclass(frozen=True)
class Sun:
    """The sun over a series of instants (first axis as the times).

    Attributes
    ----------
    elevation_deg : array
        Of the sun's centre, without refraction [degrees].
    hours_from_rise_or_set : array
        Time to the nearer of sunrise and sunset [h]: positive by day, negative at night;
        +12 in polar day, -12 in polar night.
    clear_wm2 : array
        Global radiation under a clear sky [W/m2], FAO-56 eq. 37.
    """

    elevation_deg: Array
    hours_from_rise_or_set: Array
    clear_wm2: Array


def sun_at(times: pd.DatetimeIndex, place: Place) -> Sun:
    """Give the sun at instants (for an hour of weather: its middle, start plus 30 min).

    Parameters
    ----------
    times : DatetimeIndex
        tz-aware.
    place : Place
        Latitude, longitude, height.

    Returns
    -------
    Sun
    """
    return sun_over(times, place.latitude, place.longitude, place.elevation_m)


def sun_over(
    times: pd.DatetimeIndex, latitude: ArrayLike, longitude: ArrayLike, elevation_m: ArrayLike
) -> Sun:
    """Give the sun at instants over one place or many.

    Parameters
    ----------
    times : DatetimeIndex
        tz-aware, shape (instants,).
    latitude, longitude, elevation_m : float or array, one shape
        [degrees], [degrees], [m].

    Returns
    -------
    Sun
        Arrays [instant, ...]: for each place what `sun_at` gives for it alone.
    """
    seconds, nodes, slow_angle, declination = _slow_terms(times)
    elevation = np.asarray(elevation_m, dtype=float)
    phi = np.radians(np.asarray(latitude, dtype=float))
    aside = (-1, *[1] * phi.ndim)
    node = np.minimum(((seconds - nodes[0]) / 86400.0).astype(np.int64), len(nodes) - 2)
    since = (seconds - nodes[node]).reshape(aside)

    def between(daily: Array) -> Array:
        """Daily values, linear by the day: numpy.interp for any axes after the first."""
        slope = np.diff(daily, axis=0) / 86400.0
        return np.asarray(slope[node] * since + daily[node])

    declination = declination.reshape(aside)
    a = np.sin(phi) * np.sin(declination)
    b = np.cos(phi) * np.cos(declination)
    with np.errstate(divide="ignore", invalid="ignore"):
        at_horizon = (np.sin(np.radians(HORIZON_DEG)) - a) / b
    half_day_h = np.degrees(np.arccos(np.clip(at_horizon, -1.0, 1.0))) / 15.0
    # hours from true noon, -12 to 12: one hour an hour plus the slow part
    angle = (seconds.reshape(aside) / 3600.0 + 12.0) + (
        between(slow_angle.reshape(aside)) + np.asarray(longitude, dtype=float)
    ) / 15.0
    hour_angle_h = angle % 24.0 - 12.0
    # sin(elevation), [1] eq. 41
    sine = between(a) + between(b) * np.cos(np.pi / 12.0 * hour_angle_h)
    # FAO-56 eq. 23: inverse relative distance earth-sun, from the day of the year
    distance_factor = 1.0 + 0.033 * np.cos(2.0 * np.pi * (nodes / 86400.0 % 365.25) / 365.0)
    top_wm2 = SOLAR_CONSTANT_WM2 * distance_factor.reshape(aside)  # eq. 28
    clear_wm2 = between((0.75 + 2e-5 * elevation) * top_wm2)  # eq. 37
    half_day = between(half_day_h)
    from_edge = half_day - np.abs(hour_angle_h)
    if half_day_h.max() >= 12.0 or half_day_h.min() <= 0.0:
        from_edge = np.where(half_day >= 12.0, 12.0, np.where(half_day <= 0.0, -12.0, from_edge))
    return Sun(
        elevation_deg=np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0))),
        hours_from_rise_or_set=from_edge,
        clear_wm2=clear_wm2 * np.maximum(sine, 0.0),
    )


@cache
def solar_position_algorithm() -> Any:
    """pvlib's module `pvlib.spa` by itself.

    The package around it loads some 650 modules, most of a cold start, and the module needs none of
    them. Should it come to need them, it is imported with the package.
    """
    package = find_spec("pvlib")
    for folder in (package and package.submodule_search_locations) or ():
        spec = spec_from_file_location("pvlib.spa", Path(folder) / "spa.py")
        if spec is not None and spec.loader is not None:
            module = module_from_spec(spec)
            compiled = os.environ.pop("PVLIB_USE_NUMBA", None)  # what it compiles takes no arrays
            try:
                spec.loader.exec_module(module)
            except (ImportError, OSError):
                break
            finally:
                if compiled is not None:
                    os.environ["PVLIB_USE_NUMBA"] = compiled
            return module
    return import_module("pvlib.spa")


def _slow_terms(times: pd.DatetimeIndex) -> tuple[Array, Array, Array, Array]:
    """Seconds of the epoch, daily nodes [s], slow hour angle [deg] and declination [rad] there."""
    seconds = times.tz_convert("UTC").tz_localize(None).as_unit("s").asi8.astype(float)
    day = 86400.0
    first = np.floor(seconds.min() / day) if len(seconds) else 0.0
    last = np.floor(seconds.max() / day) + 1.0 if len(seconds) else 1.0
    # whole multiples of the spacing, so that an instant has one answer in every table
    return seconds, *_nodes(
        int(np.floor(first / NODE_DAYS)) - 1, int(np.ceil(last / NODE_DAYS)) + 1
    )


@lru_cache(maxsize=64)
def _nodes(first: int, last: int) -> tuple[Array, Array, Array]:
    """Daily nodes, slow hour angle and declination: the same for all places, so kept a while."""
    spa, day = solar_position_algorithm(), 86400.0
    coarse = np.arange(first, last + 1.0) * NODE_DAYS * day
    delta_t = spa.calculate_deltat(1970.0 + coarse / day / 365.25, 6)
    sidereal, ascension, declination = spa.solar_position_numpy(
        coarse, 0.0, 0.0, 0.0, 1013.25, 12.0, delta_t, 0.5667, None, sst=True
    )
    # 180 degrees and the equation of time: unwrapping from the first node on would give an instant
    # other roundings in other tables
    slow_angle = (sidereal - ascension - coarse / 240.0) % 360.0
    nodes = (first + 1.0) * NODE_DAYS * day + np.arange((len(coarse) - 3) * NODE_DAYS + 1) * day
    return np.asarray(nodes, dtype=float), _daily(slow_angle), np.radians(_daily(declination))


def _daily(coarse: Array) -> Array:
    """Daily values by the cubic through four neighbours, from the second to the last but one."""
    x = np.arange(NODE_DAYS) / NODE_DAYS
    weights = np.stack([
        -x * (x - 1) * (x - 2) / 6, (x + 1) * (x - 1) * (x - 2) / 2,
        -x * (x + 1) * (x - 2) / 2, x * (x + 1) * (x - 1) / 6,
    ])  # fmt: skip
    inner = np.lib.stride_tricks.sliding_window_view(coarse, 4) @ weights
    return np.append(inner.ravel(), coarse[-2])


def transmitted_share(cloud: Array) -> Array:
    """Global radiation under cloud as a share of clear sky, Kasten and Czeplak (1980), eq. 5."""
    return np.asarray(1.0 - CLOUD_FACTOR * np.asarray(cloud, dtype=float) ** CLOUD_POWER)

"""Water on the bark: what the sky lets through, dew on, dew off, rain, and drying after it.

Radiation at the surface is made of short-wave, cloud, and what the long-wave loss leaves [3]_.
Two models of the water follow, chosen once per table by the columns it carries, never by the
gaps in it:

- **surface balance** where radiation or cloud is known: a Penman-Monteith balance of a wet
  surface [1]_ that fills a small store with dew and rain and dries it by radiation, dry air
  and wind;
- **humidity rule** otherwise: wet at 90 % relative humidity and above [2]_, and for some hours
  after rain.

The store runs from empty and from full; where the two disagree, wetness is unknown.

References
----------
.. [1] Sentelhas, Gillespie, Gleason, Monteiro, Pezzopane, Pedro (2006), Evaluation of a
   Penman-Monteith approach to provide "reference" and crop canopy leaf wetness duration
   estimates, Agricultural and Forest Meteorology 141:105 (constants from memory).
.. [2] Sentelhas et al. (2008), Suitability of relative humidity as an estimator of leaf wetness
   duration, Agricultural and Forest Meteorology 148:392.
.. [3] FAO-56 (see `spraywindow.weather.air`), eq. 38-40 and p. 43, 75.
.. [4] Haurwitz (1945), Insolation in relation to cloudiness and cloud density, Journal of
   Meteorology 2:154; the constant as in `pvlib.clearsky.haurwitz`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spraywindow.weather import air
from spraywindow.weather.intervals import Array, Interval
from spraywindow.weather.sun import cloud_from_share, transmitted_share

ALBEDO = 0.23
STEFAN_BOLTZMANN_WM2 = 4.903e-9 / 0.0864  # FAO-56 eq. 39, MJ/m2/day to W/m2
DAYLIGHT_DEG = 10.0
"""Clearness is read from measured radiation only above this sun [degrees]."""
AIR_LOSS = 0.059
"""Loss of a clear sky's radiation per way through the air [4]_. FAO-56 eq. 37 has none: against
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


STORE_MM = 0.3
"""Water that bare bark can hold [mm], range 0.1-0.8; common practice, no source."""
DRY_MM = 0.02
"""Less water than this counts as dry [mm]; common practice, no source."""
FILM_MM = 0.2
"""Water of a spray that has to dry [mm]; common practice, no source."""
WET_HUMIDITY_PCT = 90.0  # [2]
DEW_MOST_MM_H, DRYING_MOST_MM_H = -0.15, 1.5
"""Bounds of what an hour can bring or take [mm/h] where its weather is unknown."""
SLOWEST_DRYING_H = 48
"""Drying is followed this far [h]."""
_NM = 1e6
MM_PER_WM2_HOUR = 3600.0 / 2.45e6  # latent heat 2.45 MJ/kg, FAO-56 annex 3
LEAST_WIND_MS = 0.5  # FAO-56 p. 63: below it, free convection keeps up the exchange


def wet_surface_evaporation_mm(
    temp_c: Array, dew_point_c: Array, wind_ms: Array, sky: Radiation
) -> Interval:
    """Evaporation from a wet surface over the hour [mm]; negative where dew forms.

    Parameters
    ----------
    temp_c, dew_point_c : array
        [degC]; NaN makes the hour anything between `DEW_MOST_MM_H` and `DRYING_MOST_MM_H`.
    wind_ms : array
        At the height of the surface [m/s]; below 0.5 counts as 0.5.
    sky : Radiation

    Notes
    -----
    Sentelhas et al. (2006): ``LE = [s Rn + 1200 (es - ea) / rb] / (s + 0.64)`` with vapour
    pressures in hPa and ``rb = 307 sqrt(0.07 / U)`` s/m. The wind is taken at the surface, so
    the aerodynamic resistance above the canopy is left out.
    """
    saturation = air.saturation_vapour_pressure_kpa(temp_c)
    actual = air.saturation_vapour_pressure_kpa(dew_point_c)
    slope_hpa = 10.0 * air.vapour_pressure_slope_kpa(temp_c, saturation)
    boundary = 307.0 * np.sqrt(0.07) / np.sqrt(np.maximum(wind_ms, LEAST_WIND_MS))
    drying_wm2 = 12000.0 * np.maximum(saturation - actual, 0.0) / boundary

    def evaporation(solar: Array, cloud: Array, unknown: float) -> Array:
        net = net_radiation_wm2(temp_c, actual, solar, cloud)
        latent = (slope_hpa * net + drying_wm2) / (slope_hpa + 0.64)
        flux = np.clip(latent * MM_PER_WM2_HOUR, DEW_MOST_MM_H, DRYING_MOST_MM_H)
        return np.where(np.isnan(flux), unknown, flux)

    low = evaporation(sky.solar_wm2.low, sky.cloud.low, DEW_MOST_MM_H)
    if sky.solar_wm2.known and sky.cloud.known and not np.isnan(drying_wm2).any():
        return Interval(low, low)
    return Interval(low, evaporation(sky.solar_wm2.high, sky.cloud.high, DRYING_MOST_MM_H))


def surface_water_mm(evaporation_mm: Interval, rain_mm: Interval, store_mm: float) -> Interval:
    """Water on the bark at each stamp [mm]: the store, filled by rain and dew, emptied by drying.

    Parameters
    ----------
    evaporation_mm, rain_mm : Interval
        Over each hour [mm].
    store_mm : float
        The most that stays [mm]; the rest runs off.

    Returns
    -------
    Interval
        One row more than the hours: the last is the state at their end. The low end began empty,
        the high end full.
    """
    low = _bounded_walk(rain_mm.low - evaporation_mm.high, store_mm, 0.0)
    return Interval(low, _bounded_walk(rain_mm.high - evaporation_mm.low, store_mm, store_mm))


def _bounded_walk(steps: Array, top: float, start: float) -> Array:
    """Walk by `steps` along the first axis, held between 0 and `top`; one row more than steps.

    An hour is the map s -> min(max(s + a, l), h), and maps of that kind compose to one of the
    same kind. So blocks of hours are walked side by side (the first pass composes the maps
    inside each block, the second runs through the blocks), instead of hour by hour.
    """
    steps = np.clip(steps, -top, top)
    count, tail = len(steps), steps.shape[1:]
    width = max(int(np.sqrt(count)), 1)
    blocks = -(-count // width)
    padded = np.zeros((blocks * width, *tail))
    padded[:count] = steps
    grid = np.ascontiguousarray(np.moveaxis(padded.reshape(blocks, width, *tail), 0, 1))
    shift, floor, ceiling = np.empty_like(grid), np.empty_like(grid), np.empty_like(grid)
    a = np.zeros(grid.shape[1:])
    lowest, highest = np.full_like(a, -np.inf), np.full_like(a, np.inf)
    for row in range(width):
        a = a + grid[row]
        lowest = np.clip(lowest + grid[row], 0.0, top)
        highest = np.clip(highest + grid[row], 0.0, top)
        shift[row], floor[row], ceiling[row] = a, lowest, highest
    begins = np.empty((blocks, *tail))
    state = np.full(tail, start)
    for block in range(blocks):
        begins[block] = state
        state = np.clip(state + a[block], lowest[block], highest[block])
    walked = np.clip(begins + shift, floor, ceiling)
    flat = np.moveaxis(walked, 1, 0).reshape(blocks * width, *tail)[:count]
    return np.concatenate([np.full((1, *tail), start), flat])


def humid_surface_mm(humidity_pct: Interval, rain_mm: Interval, temp_c: Interval) -> Interval:
    """The humidity rule as a store: full where wet, empty where dry; rows as `surface_water_mm`.

    Wet at 90 % relative humidity and above [2]_; after rain for 2 h at 10 degC and above, 4 h
    below (common practice, no source). Before the first and after the last hour all is unknown.
    """

    def wet(humidity: Array, rain: Array, temp: Array, unseen: bool) -> Array:
        tail = humidity.shape[1:]
        rained = np.full((len(humidity) + 5, *tail), unseen)
        rained[4:-1] = rain > 0.0
        humid, cold = (np.zeros((len(humidity) + 1, *tail), dtype=bool) for _ in range(2))
        humid[:-1], cold[:-1] = humidity >= WET_HUMIDITY_PCT, temp < 10.0
        lately = rained[4:] | rained[3:-1] | rained[2:-2]
        long_ago = rained[1:-3] | rained[:-4]
        return np.where(humid | lately | (cold & long_ago), STORE_MM, 0.0)

    low = wet(humidity_pct.low, rain_mm.low, temp_c.high, False)
    return Interval(low, wet(humidity_pct.high, rain_mm.high, temp_c.low, True))


def drying_hours(evaporation_mm: Interval, film_mm: float = FILM_MM) -> Interval:
    """Hours that a film of water sprayed at each stamp takes to dry [h].

    Whole hours; `SLOWEST_DRYING_H` + 1 where it does not dry within that (or the data end). The
    dew of the coming evening does not count against it.
    """
    film = round(film_mm * _NM)

    def hours(evaporation: Array, beyond: float) -> Array:
        count = len(evaporation)
        taken = np.full((count + SLOWEST_DRYING_H, *evaporation.shape[1:]), beyond)
        taken[:count] = np.maximum(evaporation, 0.0)
        # whole nanometres: a sum does not depend on where the table begins
        total = np.zeros((len(taken) + 1, *taken.shape[1:]), dtype=np.int64)
        np.cumsum(np.rint(taken * _NM).astype(np.int64), axis=0, out=total[1:])
        columns = total.reshape(len(total), -1)
        rows = np.arange(count)
        out = np.empty((count, columns.shape[1]))
        for column in range(columns.shape[1]):
            series = np.ascontiguousarray(columns[:, column])
            out[:, column] = np.searchsorted(series, series[:count] + film) - rows
        return np.minimum(out, SLOWEST_DRYING_H + 1.0).reshape(evaporation.shape)

    slow = hours(evaporation_mm.low, 0.0)
    return Interval(hours(evaporation_mm.high, DRYING_MOST_MM_H), slow)

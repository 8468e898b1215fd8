"""Water on the bark: what the sky lets through, dew on, dew off, rain, and drying after it.

Two independent rules of the water, both always at work. Wood is dry where both say so, wet where
both do; between them nobody knows:

- **surface balance**: a Penman-Monteith balance of a wet surface [1]_ that fills a small store
  with dew and rain and dries it by radiation, dry air and wind. The store runs from empty, for a
  limb all round under the warmest sky that is possible; and from full, for the limb's upper half
  under the clearest;
- **humidity rule**: wet at 90 % relative humidity and above, perhaps from 87 % on [2]_, and for
  some hours after rain.

Neither radiation nor cloud is read off the other: the same radiation comes through thin cloud
and between thick ones, and the night's cloud is not the afternoon's. What a table does not tell
is anything that a sky can be, so that less knowledge is never drier wood.

References
----------
.. [1] Sentelhas, Gillespie, Gleason, Monteiro, Pezzopane, Pedro (2006), Evaluation of a
   Penman-Monteith approach to provide "reference" and crop canopy leaf wetness duration
   estimates, Agricultural and Forest Meteorology 141:105 (constants from memory).
.. [2] Sentelhas et al. (2008), Suitability of relative humidity as an estimator of leaf wetness
   duration, Agricultural and Forest Meteorology 148:392: 90 %, 87 % at single sites; a dew-point
   depression of 2 K, at which leaves turn wet, is 86-88 % between 0 and 20 degC.
.. [3] FAO-56 (see `spraywindow.weather.air`), eq. 38-40 and p. 43.
.. [4] Haurwitz (1945), Insolation in relation to cloudiness and cloud density, Journal of
   Meteorology 2:154; the constant as in `pvlib.clearsky.haurwitz`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spraywindow.weather import air
from spraywindow.weather.intervals import Array, Interval, interval
from spraywindow.weather.sun import transmitted_share

ALBEDO = 0.23
STEFAN_BOLTZMANN_WM2 = 4.903e-9 / 0.0864  # FAO-56 eq. 39, MJ/m2/day to W/m2
AIR_LOSS = 0.059
"""Loss of a clear sky's radiation per way through the air [4]_; FAO-56 eq. 37 has none."""
LEAST_SHARE = 0.3
"""Relative radiation under the densest cloud, FAO-56 p. 43 (about 0.33)."""
THROUGH, DARKEST = 0.75, 0.25
"""Radiation that wood can count on: this share of the mean under the cloud that is told, which
scatters by a quarter (P); and at least this share of a clear sky's, the overcast of Kasten and
Czeplak (1980)."""
LIMB_SKY, UPPER_SKY = 0.5, (1.0 + 2.0 / np.pi) / 2.0
"""Share of the sky in what a level round limb sees all round, and in what its upper half sees."""


@dataclass(frozen=True)
class Radiation:
    """Short-wave radiation and cloud, each an interval.

    Attributes
    ----------
    solar_wm2 : Interval
        As told [W/m2]; anything up to a clear sky's where it is not.
    cloud : Interval
        [0-1].
    drying_wm2 : Interval
        What wood can count on [W/m2]: the radiation as told, but no less than `THROUGH` of what
        cloud lets through by Kasten and Czeplak (1980), nor than `DARKEST` of a clear sky's. So
        an hour does not turn dry when its radiation is no longer told.
    """

    solar_wm2: Interval
    cloud: Interval
    drying_wm2: Interval


def radiation(
    elevation_deg: Array, clear_wm2: Array, solar_wm2: Array | None, cloud: Array | None
) -> Radiation:
    """Radiation and cloud of a table; what it does not carry is whatever a sky can be.

    Parameters
    ----------
    elevation_deg, clear_wm2 : array
        Sun at mid-hour and clear-sky radiation (`spraywindow.weather.sun.Sun`).
    solar_wm2 : array or None
        Measured or forecast global radiation, mean of the hour [W/m2].
    cloud : array or None
        Cloud cover [0-1].
    """
    one = (1,) * clear_wm2.ndim
    cover = Interval(np.zeros(one), np.ones(one)) if cloud is None else interval(cloud, 0.0, 1.0)
    most = 1.1 * clear_wm2
    if solar_wm2 is None:
        sun = Interval(np.zeros(one), most)
    else:
        sun = _bounded(np.clip(solar_wm2, 0.0, most), np.zeros(one), most)
    way = 1.0 / np.sin(np.radians(np.maximum(elevation_deg, 2.0)))
    reference = clear_wm2 * np.exp(-AIR_LOSS * (way - 1.0))
    # cloud thickens from its low end to its high one
    dim = cover.map(
        lambda share: reference * np.maximum(THROUGH * transmitted_share(share), DARKEST)
    )
    low = np.maximum(sun.low, dim.high)
    known = sun.known and cover.known
    return Radiation(sun, cover, Interval(low, low if known else np.maximum(sun.high, dim.low)))


def _bounded(values: Array, low: Array, high: Array) -> Interval:
    unknown = np.isnan(values)
    if not unknown.any():
        return Interval(values, values)
    return Interval(np.where(unknown, low, values), np.where(unknown, high, values))


def net_radiation_wm2(
    temp_c: Array, vapour_kpa: Array, solar_wm2: Array, cloud: Array, sky_view: float = 1.0
) -> Array:
    """Net radiation of a surface at air temperature [W/m2], FAO-56 eq. 38-40.

    The relative radiation of eq. 39 comes from cloud [0-1], so that nights have one too;
    `sky_view` is the share of the surface's view that is sky.
    """
    short = (1.0 - ALBEDO) * solar_wm2  # eq. 38
    return np.asarray(short - sky_view * _loss_wm2(temp_c, vapour_kpa) * _openness(cloud))


def _loss_wm2(temp_c: Array, vapour_kpa: Array) -> Array:
    """Long-wave loss under a clear sky [W/m2], FAO-56 eq. 39."""
    square = (temp_c + 273.16) ** 2
    return np.asarray(STEFAN_BOLTZMANN_WM2 * square * square * (0.34 - 0.14 * np.sqrt(vapour_kpa)))


def _openness(cloud: Array) -> Array:
    """What share of the long-wave loss cloud lets through, FAO-56 eq. 39."""
    return 1.35 * np.maximum(transmitted_share(cloud), LEAST_SHARE) - 0.35


STORE_MM = 0.3
"""Water that bare bark can hold [mm], range 0.1-0.8; common practice, no source."""
DRY_MM = 0.02
"""Less water than this counts as dry [mm]; common practice, no source."""
FILM_MM = 0.2
"""Water of a spray that has to dry [mm]; common practice, no source."""
WET_HUMIDITY_PCT, DAMP_HUMIDITY_PCT = 90.0, 87.0  # [2]: surely wet from here on; perhaps
DEW_MOST_MM_H, DRYING_MOST_MM_H = -0.15, 1.5
"""Bounds of what an hour can bring or take [mm/h] where its weather is unknown."""
SLOWEST_DRYING_H = 48
"""Drying is followed this far [h]."""
_NM = 1e6
MM_PER_WM2_HOUR = 3600.0 / 2.45e6  # latent heat 2.45 MJ/kg, FAO-56 annex 3
LEAST_WIND_MS = 0.5  # FAO-56 p. 63: below it, free convection keeps up the exchange


@dataclass(frozen=True)
class Exchange:
    """Evaporation from wet wood over each hour [mm]; negative where dew forms.

    Attributes
    ----------
    limb : Interval
        Of a limb as a whole: what a film of spray dries by.
    dew : Interval
        From the limb's upper half (low end) to the whole of it (high end): what fills and empties
        the store.
    """

    limb: Interval
    dew: Interval


def wet_surface_evaporation_mm(
    temp_c: Array, dew_point_c: Array, wind_ms: Array, sky: Radiation
) -> Exchange:
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
    the aerodynamic resistance above the canopy is left out. Half of what a limb sees is ground
    and other wood at about its own temperature, so it loses half of what a level surface does
    by night. That gives a clear calm night the 0.14 +/- 0.12 mm of dew of Ritter et al. (2019),
    Hydrology and Earth System Sciences 23:1179; a level surface would have twice as much.
    """
    saturation = air.saturation_vapour_pressure_kpa(temp_c)
    actual = air.saturation_vapour_pressure_kpa(dew_point_c)
    slope_hpa = 10.0 * air.vapour_pressure_slope_kpa(temp_c, saturation)
    boundary = 307.0 * np.sqrt(0.07) / np.sqrt(np.maximum(wind_ms, LEAST_WIND_MS))
    loss = _loss_wm2(temp_c, actual)
    to_mm = MM_PER_WM2_HOUR / (slope_hpa + 0.64)
    by_air_mm = 12000.0 * np.maximum(saturation - actual, 0.0) / boundary * to_mm
    by_wm2_mm = slope_hpa * to_mm
    unknown = np.isnan(by_air_mm)
    known = not unknown.any()

    def evaporation(solar: Array, lost: Array, otherwise: float) -> Array:
        flux = ((1.0 - ALBEDO) * solar - lost) * by_wm2_mm
        flux += by_air_mm
        np.clip(flux, DEW_MOST_MM_H, DRYING_MOST_MM_H, out=flux)
        return flux if known else np.where(unknown, otherwise, flux)

    sun, cloud = sky.drying_wm2, sky.cloud
    most = loss * _openness(cloud.low)
    least = LIMB_SKY * (most if cloud.known else loss * _openness(cloud.high))
    high = evaporation(sun.high, least, DRYING_MOST_MM_H)
    low = high
    if not (known and cloud.known and sun.known):
        low = evaporation(sun.low, LIMB_SKY * most, DEW_MOST_MM_H)
    upper = evaporation(sun.low, UPPER_SKY * most, DEW_MOST_MM_H)
    return Exchange(Interval(low, high), Interval(upper, high))


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

    def gain(rain: Array, evaporation: Array) -> Array:
        """Water of the hour; while it rains nothing dries (common practice, no source)."""
        return rain - np.where(rain > 0.0, np.minimum(evaporation, 0.0), evaporation)

    low = _bounded_walk(gain(rain_mm.low, evaporation_mm.high), store_mm, 0.0)
    high = gain(rain_mm.high, evaporation_mm.low)
    return Interval(low, _bounded_walk(high, store_mm, store_mm))


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


def humid_surface_mm(
    humidity_pct: Interval, rain_mm: Interval, temp_c: Interval, store_mm: float = STORE_MM
) -> Interval:
    """The humidity rule as a store: full where wet, empty where dry; rows as `surface_water_mm`.

    Wet at 90 % relative humidity and above, perhaps wet from 87 % on [2]_; after rain for 2 h at
    10 degC and above, 4 h below (common practice, no source). Before the first and after the last
    hour all is unknown.
    """

    def wet(humidity: Array, least_pct: float, rain: Array, temp: Array, unseen: bool) -> Array:
        tail = humidity.shape[1:]
        rained = np.full((len(humidity) + 5, *tail), unseen)
        rained[4:-1] = rain > 0.0
        humid, cold = (np.zeros((len(humidity) + 1, *tail), dtype=bool) for _ in range(2))
        humid[:-1], cold[:-1] = humidity >= least_pct, temp < 10.0
        lately = rained[4:] | rained[3:-1] | rained[2:-2]
        long_ago = rained[1:-3] | rained[:-4]
        return np.where(humid | lately | (cold & long_ago), store_mm, 0.0)

    low = wet(humidity_pct.low, WET_HUMIDITY_PCT, rain_mm.low, temp_c.high, False)
    high = wet(humidity_pct.high, DAMP_HUMIDITY_PCT, rain_mm.high, temp_c.low, True)
    return Interval(low, high)


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

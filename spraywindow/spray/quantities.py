"""The quantities that limits look at, by name: each a function of the conditions and the limit.

To let a limit look at something new, write one function here and name it in `QUANTITIES`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from spraywindow.errors import InputError
from spraywindow.spray.conditions import Conditions
from spraywindow.spray.material import Limit
from spraywindow.weather import (
    DIRECTED_MS,
    Array,
    Interval,
    air,
    ends_highest,
    ends_lowest,
    forward_highest,
    forward_lowest,
    interval,
    lowest_around,
    lowest_until,
)

SUN_ON_WOOD_K_M2_W = 0.010  # P: bark above air [K] per W/m2
WARM_C, CLOUDY = 15.0, 0.8  # P: a high sun burns only above, and shines below, these
LOW_SUN_DEG, NEAR_EDGE_H = 5.0, 1.5  # P: when an inversion is likely
STILL_MS, OPEN_SKY = 1.5, 0.5  # P: least wind and cloud that break one
DRY_PCT, HOT_C, VERY_DRY_PCT = 40.0, 25.0, 30.0  # Ontario; P


@dataclass(frozen=True)
class Quantity:
    """A named quantity: its unit, how to compute it, and the optional columns that it needs."""

    unit: str
    compute: Callable[[Conditions, Limit], Interval]
    needs: tuple[str, ...] = ()


def _at_ends(values: Interval, limit: Limit) -> Interval:
    """Judge an instant at both ends of its hour, whichever is worse."""
    return ends_lowest(values) if limit.bound in ("at least", "above") else ends_highest(values)


def _temp(now: Conditions, limit: Limit) -> Interval:
    return _at_ends(now.temp, limit)


def _hours(limit: Limit) -> int:
    if limit.hours is None:
        raise InputError(
            "the window is missing",
            where=f"limit {limit.name}",
            expected=f"hours, for {limit.quantity}",
        )
    return int(np.ceil(limit.hours))


def _sun_temp(now: Conditions, limit: Limit) -> Interval:
    air_temp, solar = ends_highest(now.temp), now.solar
    low = air_temp.low + SUN_ON_WOOD_K_M2_W * solar.low
    return Interval(low, air_temp.high + SUN_ON_WOOD_K_M2_W * solar.high)


def _warm_sun_elevation(now: Conditions, limit: Limit) -> Interval:
    elevation, temp, cloud = now.sun.elevation_deg, ends_highest(now.temp), now.cloud
    free = np.full(now.shape, -90.0)
    high_sun = np.broadcast_to(elevation, now.shape)
    return Interval(
        np.where((temp.low > WARM_C) & (cloud.high < CLOUDY), high_sun, free),
        np.where((temp.high > WARM_C) & (cloud.low < CLOUDY), high_sun, free),
    )


def _sun_so_far(now: Conditions, limit: Limit) -> Interval:
    """The day's highest sun up to each hour: what is late does not gain by a sinking sun."""
    highest = np.array(np.broadcast_to(now.sun.elevation_deg, now.shape))
    for reach in (1, 2, 4):  # over the last 7 hours: from noon on nearly to sunset
        highest[reach:] = np.maximum(highest[reach:], highest[:-reach])
    return (-now.cloud).map(lambda clear: np.where(-clear < CLOUDY, highest, -90.0))


def _inversion(now: Conditions, limit: Limit) -> Interval:
    sun = now.sun
    likely = (sun.elevation_deg < LOW_SUN_DEG) | (sun.hours_from_rise_or_set < NEAR_EDGE_H)
    wind, cloud = now.wind, now.cloud
    return Interval(
        (likely & (wind.high < STILL_MS) & (cloud.high < OPEN_SKY)).astype(float),
        (likely & (wind.low < STILL_MS) & (cloud.low < OPEN_SKY)).astype(float),
    )


def _degrees_off_downwind(now: Conditions, limit: Limit) -> Interval:
    toward = now.columns["wind_from_deg"] + 180.0
    off = np.full(now.shape, 180.0)
    for bearing in now.setting.neighbours_deg:
        off = np.minimum(off, np.abs((toward - bearing + 180.0) % 360.0 - 180.0))
    # a calm turns any way within the hour, whatever its direction says: the least counts
    told, wind = interval(off, 0.0, 180.0), now.column("wind_ms", 0.0)
    low = np.where(wind.low < DIRECTED_MS, 0.0, told.low)
    if told.known and wind.known:
        return ends_lowest(Interval(low, low))
    return ends_lowest(Interval(low, np.where(wind.high < DIRECTED_MS, 0.0, told.high)))


def _wet_bulb_depression(now: Conditions, limit: Limit) -> Interval:
    temp, dew = now.columns["temp_c"], now.columns["dew_point_c"]
    # an hour between steps can have a temperature range: the depression is that of its stamp
    return ends_highest(interval(temp - air.wet_bulb_c(temp, dew, now.pressure_kpa), 0.0, np.inf))


def _dry_and_hot(humidity_pct: float) -> Callable[[Conditions, Limit], Interval]:
    def beyond(now: Conditions, limit: Limit) -> Interval:
        """How far the air is from being both dry and hot [points of %, or K]: either one will."""
        temp, humidity = now.temp, now.humidity
        low = np.maximum(humidity.low - humidity_pct, HOT_C - temp.high)
        if temp.known and humidity.known:
            return ends_lowest(Interval(low, low))
        high = np.maximum(humidity.high - humidity_pct, HOT_C - temp.low)
        return ends_lowest(Interval(low, high))

    return beyond


def _rain_after_drying(now: Conditions, limit: Limit) -> Interval:
    rows = np.arange(now.shape[0]).reshape(-1, *[1] * (len(now.shape) - 1))

    def over(drying_h: Array) -> Interval:
        return now.rain.until(rows + (drying_h + _hours(limit)).astype(np.int64))

    return Interval(over(now.drying_h.low).low, over(now.drying_h.high).high)


def looked_at(now: Conditions, limit: Limit) -> Interval:
    """What a limit looks at; of `Conditions.keeping`, worked out once for all that look alike."""
    compute = QUANTITIES[limit.quantity].compute
    if now.kept is None:
        return compute(now, limit)
    key = (limit.quantity, limit.bound, limit.hours)
    if key not in now.kept:
        now.kept[key] = compute(now, limit)
    return now.kept[key]


QUANTITIES: dict[str, Quantity] = {
    "temp": Quantity("degC", _temp),
    "sun_temp": Quantity("degC", _sun_temp),
    "warm_sun_elevation": Quantity("deg", _warm_sun_elevation),
    "clear_sun_so_far": Quantity("deg", _sun_so_far),
    "lowest_temp": Quantity(
        "degC", lambda now, limit: forward_lowest(now.frost_temp, _hours(limit))
    ),
    "lowest_temp_next_day": Quantity(
        "degC", lambda now, limit: forward_lowest(now.temp, _hours(limit), start=24)
    ),
    "highest_temp": Quantity("degC", lambda now, limit: forward_highest(now.temp, _hours(limit))),
    "lowest_temp_until_dry": Quantity(
        "degC", lambda now, limit: lowest_until(now.frost_temp, now.drying_h)
    ),
    "lowest_temp_either_side": Quantity(
        "degC", lambda now, limit: lowest_around(now.frost_temp, _hours(limit))
    ),
    "humidity": Quantity("%", lambda now, limit: _at_ends(now.humidity, limit)),
    "hot_dry_air": Quantity("points", _dry_and_hot(DRY_PCT)),
    "very_dry_air": Quantity("points", _dry_and_hot(VERY_DRY_PCT)),
    "wet_bulb_depression": Quantity("K", _wet_bulb_depression),
    "hours_dry": Quantity("h", lambda now, limit: now.hours_dry),
    "hours_dry_before_trouble": Quantity("h", lambda now, limit: now.hours_dry_before_trouble),
    "rain_ahead": Quantity("mm", lambda now, limit: now.rain.ahead(_hours(limit))),
    "rain_after_drying": Quantity("mm", _rain_after_drying),
    "rain_before": Quantity("mm", lambda now, limit: now.rain.before(_hours(limit))),
    "highest_rain_chance": Quantity(
        "fraction",
        lambda now, limit: forward_highest(now.column("rain_chance", 0.0, 1.0), _hours(limit) - 1),
        needs=("rain_chance",),
    ),
    "wind_at_top": Quantity(
        "m/s",
        lambda now, limit: _at_ends(
            now.wind.map(lambda wind: wind * air.wind_factor(now.setting.tree_height_m)), limit
        ),
    ),
    "gust": Quantity("m/s", lambda now, limit: now.column("gust_ms", 0.0), needs=("gust_ms",)),
    "inversion": Quantity("flag", _inversion),
    "degrees_off_downwind": Quantity("deg", _degrees_off_downwind, needs=("wind_from_deg",)),
}

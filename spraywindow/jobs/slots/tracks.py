"""The week's weather as a picture shows it, a trace each: temperature, wet bark, rain, wind, sun.

Every function takes axes whose x runs in hours from the first row of the week, the week
(`week_weather`), the evening whose material's limits are drawn, and the whole week that sets the
scale: where several pictures share a week, they share each scale too.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spraywindow.jobs.slots.answer import WEEK_D, Evening
from spraywindow.show import (
    EDGE,
    HATCH,
    INK,
    QUIET,
    SMALL,
    round_ticks,
    set_scale,
    set_ticks,
    shown,
)
from spraywindow.site import Site
from spraywindow.spray import SUN_ON_WOOD_K_M2_W, Conditions, Limit, sun_of, weather_columns
from spraywindow.units import convert
from spraywindow.weather import DRY_MM, Array, check_hourly, known_at, pressure_at_kpa, wind_factor

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_UNITS = {"metric": {"degC": ("degC", "°C"), "m/s": ("m/s", "m/s"), "mm": ("mm", "mm")},
          "us": {"degC": ("degF", "°F"), "m/s": ("mph", "mph"), "mm": ("in", "in")}}  # fmt: skip
_NEAR_C = 6.0
"""A limit farther than this beyond the warmest hour is named, not drawn [K]."""
Title = tuple[str, str]
"""What a track shows, and its limits in words."""
_LOWER, _UPPER = ("at least", "above"), ("at most", "below")


def temperature(axes: Axes, week: pd.DataFrame, evening: Evening, whole: pd.DataFrame) -> Title:
    """Air (solid) and wood in the sun (dotted), with cold, heat and frost."""
    air, wood = _in(week["temp_c"], "degC", evening), _in(week["wood_c"], "degC", evening)
    limits = _hard(evening, ("temp", "sun_temp", "lowest_temp", "lowest_temp_until_dry"))
    warmest = float(np.nanmax(whole[["temp_c", "wood_c"]].to_numpy(), initial=-90.0))
    lower = [limit for limit in limits if limit.bound in _LOWER]
    upper = [limit for limit in limits if limit.bound in _UPPER]
    near = [limit for limit in upper if limit.value - warmest <= _NEAR_C]
    _plot(axes, wood, INK, 1.0, (0, (1, 1.4)))
    _plot(axes, air, INK, 1.7)
    words = []
    for limit in dict.fromkeys([*lower, *near]):
        traced = wood if limit.quantity == "sun_temp" else air
        _limit(axes, traced, _in(limit.value, "degC", evening), limit.bound in _UPPER)
    if lower:
        words.append("; ".join(_beyond(limit, evening) for limit in lower))
    for limit in upper[:1]:
        if limit in near:
            words.append(_beyond(limit, evening))
    title = f"Temperature, {_name('degC', evening)}", _whose(words, evening)
    scaled = _in(whole[["temp_c", "wood_c"]].to_numpy(), "degC", evening)
    drawn = (float(_in(each.value, "degC", evening)) for each in [*lower, *near])
    set_scale(axes, [*scaled.ravel(), *drawn], least_span=8.0)
    return title


def water(axes: Axes, week: pd.DataFrame, evening: Evening, whole: pd.DataFrame) -> Title:
    """Water on the bark, of what it can hold; a band where it is not known to the point."""
    del whole  # the scale is always that of an empty and a full bark
    per_mm = 100.0 / evening.site.setting.store_mm
    low, high = (
        week[name].to_numpy(dtype=float) * per_mm for name in ("water_low_mm", "water_high_mm")
    )
    limit = next((each for each in evening.material.limits if each.quantity == "hours_dry"), None)
    axes.fill_between(np.arange(len(week)), low, high, color=QUIET, linewidth=0, alpha=0.35)
    _plot(axes, high, INK, 1.7)
    words = ""
    if limit is not None:
        hatch = limit.kind == "hard"
        _limit(axes, high, DRY_MM * per_mm, upper=True, hatch=hatch)
        kind = "" if hatch else " (a caution only)"
        words = f"{'too wet' if hatch else limit.words} above {DRY_MM * per_mm:.0f} %{kind}"
    axes.set_ylim(0, 112)
    set_ticks(axes, [0.0, 50.0, 100.0])
    return "Bark wetness, %", _whose([words], evening)


def rain(axes: Axes, week: pd.DataFrame, evening: Evening, whole: pd.DataFrame) -> Title:
    """Rain of each hour; above it the hours after which rain comes too soon."""
    fallen = _in(week["rain_mm"], "mm", evening)
    spread = _in(week["rain_spread_mm"], "mm", evening)
    hours = np.arange(len(week)) + 0.5
    limits = _hard(evening, ("rain_ahead", "rain_after_drying"))
    top = max(
        float(
            np.nanmax(
                _in(whole[["rain_mm", "rain_spread_mm"]].to_numpy(), "mm", evening), initial=0.0
            )
        ),
        float(_in(2.0, "mm", evening)),
    )
    wet, total = fallen > 0.0, ~np.isnan(spread)  # a bar without height would only cost its time
    axes.bar(hours[wet], fallen[wet], width=0.9, color=INK, linewidth=0)
    axes.bar(hours[total], spread[total], width=1.0, fill=False, edgecolor=INK, linewidth=0.8)
    for start, end in _spans(np.isnan(fallen) & np.isnan(spread)):
        axes.text((start + end) / 2, 0.1 * top, "?", ha="center", fontsize=SMALL, color=QUIET)
    axes.set_ylim(0, top * 1.5)
    words = ""
    if limits:
        margins = evening.hours[[limit.name for limit in limits]].min(axis=1)
        soon = (margins < 0).reindex(
            pd.DatetimeIndex(week.index).tz_convert("UTC"), fill_value=False
        )
        for start, end in _spans(soon.to_numpy(dtype=bool)):
            axes.fill_between([start, end], top * 1.22, top * 1.46, facecolor="none",
                              edgecolor=EDGE, hatch=HATCH, linewidth=0.8)  # fmt: skip
        longest = max(limit.hours or 0.0 for limit in limits)
        name = evening.material.name
        words = f"hatched: {name} sprayed then would get rain within {longest:.0f} h"
    title = f"Rain per hour, {_name('mm', evening)}", words
    set_ticks(axes, round_ticks(0.0, top))
    return title


def wind(axes: Axes, week: pd.DataFrame, evening: Evening, whole: pd.DataFrame) -> Title:
    """Wind at the tree top (solid) and gusts (dotted), as a shelter lets them in."""
    steady, gust = _in(week["wind_top_ms"], "m/s", evening), _in(week["gust_ms"], "m/s", evening)
    _plot(axes, gust, INK, 1.0, (0, (1, 1.4)))
    _plot(axes, steady, INK, 1.7)
    words = []
    values = [0.0, *_in(whole[["wind_top_ms", "gust_ms"]].to_numpy(), "m/s", evening).ravel()]
    for quantity, traced in (("wind_at_top", steady), ("gust", gust)):
        for limit in _hard(evening, (quantity,)):
            if whole["wind_top_ms" if traced is steady else "gust_ms"].isna().all():
                continue
            value = float(_in(limit.value, "m/s", evening))
            _limit(axes, traced, value, limit.bound in _UPPER)
            values.append(value)
            words.append(_beyond(limit, evening))
    title = f"Wind at the tree top, {_name('m/s', evening)}", _whose(words, evening)
    set_scale(axes, values, least_span=4.0, floor=0.0)
    return title


def sun(axes: Axes, week: pd.DataFrame, evening: Evening, whole: pd.DataFrame) -> Title:
    """Height of the sun, with the limit on a high sun."""
    middle = week["sun_deg"].to_numpy(dtype=float)
    # known at the middle of the hours, drawn from edge to edge: half an hour by its own slope
    half = np.diff(middle) / 2 if len(middle) > 1 else np.zeros(1)
    hours = [0.0, *(np.arange(len(week)) + 0.5), float(len(week))]
    height = np.concatenate([middle[:1] - half[0], middle, middle[-1:] + half[-1]])
    axes.plot(hours, np.maximum(height, 0.0), color=INK, linewidth=1.7)
    limits = _hard(evening, ("warm_sun_elevation",))
    for limit in limits:
        _limit(axes, middle, limit.value, upper=True)
    words = [f"{_beyond(limit, evening)} if warm and clear" for limit in limits]
    title = "Sun above the horizon, °", _whose(words, evening)
    values = [0.0, *whole["sun_deg"], *(limit.value for limit in limits)]
    set_scale(axes, values, least_span=20.0, floor=0.0)
    return title


TRACKS = (temperature, water, rain, wind, sun)


def _hard(evening: Evening, quantities: tuple[str, ...]) -> list[Limit]:
    return [
        limit
        for limit in evening.material.limits
        if limit.kind == "hard" and limit.quantity in quantities
        and limit.name in evening.hours.columns
    ]  # fmt: skip


def _in(values: pd.Series | Array | float, unit: str, evening: Evening) -> Array:
    target, _ = _UNITS[evening.site.units][unit]
    return np.asarray(convert(np.asarray(values, dtype=float), unit, target))


def _name(unit: str, evening: Evening) -> str:
    return _UNITS[evening.site.units][unit][1]


def _whose(words: list[str], evening: Evening) -> str:
    """Limits in words behind the name of the material that they belong to; empty without any."""
    known = "; ".join(filter(None, words))
    return f"{evening.material.name}: {known}" if known else ""


def _beyond(limit: Limit, evening: Evening) -> str:
    side = "below" if limit.bound in _LOWER else "above"
    return f"{limit.words} {side} {shown(limit.value, limit.unit, evening.site.units)}"


def _plot(axes: Axes, values: Array, colour: str, width: float, dashes: object = "-") -> None:
    axes.plot(np.arange(len(values)), values, color=colour, linewidth=width,
              linestyle=dashes, solid_joinstyle="round")  # fmt: skip


def _limit(
    axes: Axes, values: Array, limit: Array | float, upper: bool, *, hatch: bool = True
) -> None:
    """Rule a limit and hatch what of a trace lies beyond it."""
    axes.axhline(float(limit), color=EDGE, linewidth=1.1, linestyle=(0, (5, 2.5)), zorder=1.5)
    if not hatch:
        return
    with np.errstate(invalid="ignore"):
        beyond = values > limit if upper else values < limit
    axes.fill_between(np.arange(len(values)), values, float(limit), where=list(beyond),
                      interpolate=True, facecolor="none", edgecolor=EDGE, hatch=HATCH,
                      linewidth=0.0, zorder=1.2)  # fmt: skip


def _spans(flags: np.ndarray) -> list[tuple[float, float]]:
    step = np.diff(np.concatenate([[0], flags.astype(int), [0]]))
    return [
        (float(start), float(end))
        for start, end in zip(np.flatnonzero(step == 1), np.flatnonzero(step == -1), strict=True)
    ]


def conditions_of(table: pd.DataFrame, site: Site) -> Conditions:
    """The derived quantities of a checked weather table at a site."""
    index = pd.DatetimeIndex(table.index)
    issued = table.attrs.get("forecast_from")
    return Conditions(
        weather_columns(table),
        sun_of(index, site.place),
        site.setting,
        forecast=None if issued is None else np.asarray(index >= issued),
        pressure_kpa=pressure_at_kpa(site.place.elevation_m),
    )


def week_weather(weather: pd.DataFrame, site: Site, now: pd.Timestamp) -> pd.DataFrame:
    """What the coming week's picture draws, from the hour of `now` to the week's last midnight.

    Parameters
    ----------
    weather : DataFrame
        Hourly table that holds `now`.
    site : Site
    now : Timestamp
        tz-aware.

    Returns
    -------
    DataFrame
        Indexed by local time, one row an hour, NaN where unknown: ``temp_c`` and ``wood_c``
        (wood in the sun) [degC], ``water_low_mm``, ``water_high_mm`` (on the bark) [mm],
        ``rain_mm`` (of the hour), ``rain_spread_mm`` (a longer total, spread evenly) [mm],
        ``wind_top_ms`` (at the tree top), ``gust_ms`` [m/s], ``sun_deg`` (elevation at mid-hour),
        ``night`` (bool).
    """
    table = known_at(check_hourly(weather), now)
    state = conditions_of(table, site)
    unknown = np.full(len(table), np.nan)
    temp, wind = state.columns["temp_c"], state.at_trees("wind_ms")
    solar = np.where(state.solar.low == state.solar.high, state.solar.low, np.nan)
    total = table.get("rain_total_mm", pd.Series(unknown, index=table.index))
    length = table.get("rain_total_h", pd.Series(unknown, index=table.index))
    rain = state.columns["rain_mm"]
    out = pd.DataFrame(
        {
            "temp_c": temp,
            "wood_c": temp + SUN_ON_WOOD_K_M2_W * solar,
            "water_low_mm": state.water.low[:-1],
            "water_high_mm": state.water.high[:-1],
            "rain_mm": rain,
            "rain_spread_mm": np.where(np.isnan(rain), (total / length).to_numpy(), np.nan),
            "wind_top_ms": wind * wind_factor(site.setting.tree_height_m),
            "gust_ms": state.at_trees("gust_ms") if "gust_ms" in state.columns else unknown,
            "sun_deg": state.sun.elevation_deg,
            "night": state.sun.hours_from_rise_or_set <= 0.0,
        },
        index=pd.DatetimeIndex(table.index).tz_convert(site.place.timezone),
    )
    # water that nothing tells about runs from empty to full: no trace
    wide = out["water_high_mm"] - out["water_low_mm"] > 0.5 * site.setting.store_mm
    out.loc[wide, ["water_low_mm", "water_high_mm"]] = np.nan
    here = now.tz_convert(site.place.timezone)
    end = here.normalize() + pd.DateOffset(days=WEEK_D + 1)
    return out[(out.index >= here.floor("h")) & (out.index < end)]


def local_days(week: pd.DataFrame) -> list[dt.date]:
    """The local days that a week's table touches, in order."""
    return list(dict.fromkeys(pd.DatetimeIndex(week.index).date))

"""What the limits look at: quantities derived once from the hourly columns, each an interval.

Pure arrays, time on the first axis; further axes (sites, issue times) ride along. Everything is
computed when it is first asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from spraywindow.weather import (
    MEASURABLE_MM,
    Array,
    Interval,
    Rain,
    Sun,
    air,
    interval,
    rain_of,
    wetness,
)

FORECAST_FROST_C = 1.5
"""A forecast's uncertainty about frost [K], taken off forecasts only, never off records; P."""
HOLLOW_CLOUD, HOLLOW_WIND_MS = 0.3, 2.0
"""A frost hollow is colder on nights with less cloud and wind than this; P."""
OF_FROST = ("frost_temp", "hours_dry_before_trouble", "lowest_temp", "lowest_temp_until_dry",
            "lowest_temp_either_side")  # fmt: skip
OF_DEW_OFF = ("hours_dry",)
"""What differs for a forecast, and by when the wood dries: of these hours, and that limits see."""
WIND_COLUMNS = frozenset({"wind_ms", "wind_min_ms", "wind_max_ms", "gust_ms"})


@dataclass(frozen=True)
class Setting:
    """What of a site bears on an hour.

    Parameters
    ----------
    tree_height_m : float
        Height of the tree tops [m]: wind is judged there.
    neighbours_deg : tuple of float
        Bearings, from the trees, of what must not be drifted on [degrees].
    frost_hollow_c : float
        How much colder than the forecast the site lies on clear calm nights [K].
    dew_off_h : float
        How much later (positive) or earlier the wood dries than modelled [h].
    store_mm : float
        Water that the bark holds [mm].
    shelter : float
        Share of the open wind, and of its gusts, that reaches the trees, more than 0 to 1.
        Behind hedges and walls 0.2 to 0.7 within ten heights of them (Heisler and DeWalle 1988,
        Agriculture, Ecosystems and Environment 22/23:41; from memory).
    dry_later_h : float
        How much later than where it is surely dry by the model the bark was seen to be so, at
        least 0 [h]: such hours may be wet.
    night_colder_c : float
        How much colder than forecast nights were seen to be, at least 0 [K].
    """

    tree_height_m: float = 4.0
    neighbours_deg: tuple[float, ...] = ()
    frost_hollow_c: float = 0.0
    dew_off_h: float = 0.0
    store_mm: float = wetness.STORE_MM
    shelter: float = 1.0
    dry_later_h: float = 0.0
    night_colder_c: float = 0.0

    @property
    def notes(self) -> tuple[str, ...]:
        """What an answer for the site must say of it."""
        if self.shelter == 1.0:
            return ()
        return (f"the trees are sheltered: wind and gusts count {100 * self.shelter:.0f} %",)


class Conditions:
    """Derived quantities of a block of hours.

    Parameters
    ----------
    columns : mapping of str to array
        The weather table's columns (`spraywindow.weather.table`), one shape; NaN is unknown.
    sun : Sun
        At the middle of each hour.
    setting : Setting
    forecast : array of bool, optional
        True for hours that are forecast rather than record; the first axes of the columns.
    pressure_kpa : float, or array of the axes after time
        Mean pressure at the sites' height [kPa].
    """

    def __init__(
        self,
        columns: Mapping[str, Array],
        sun: Sun,
        setting: Setting,
        forecast: NDArray[np.bool_] | None = None,
        pressure_kpa: float | Array = 101.3,
    ) -> None:
        self.columns, self.sun, self.setting = dict(columns), sun, setting
        self.forecast, self.pressure_kpa = forecast, pressure_kpa
        self.kept: dict[tuple[str, str, float | None], Interval] | None = None

    def keeping(self) -> Conditions:
        """The same hours for several materials: what a limit looked at stays in `kept`."""
        other = copy(self)
        other.kept = {}
        return other

    def as_forecast(self) -> Conditions:
        """The same hours, every one judged as a forecast; all but frost is shared, not redone."""
        return self._judged(np.ones(len(self.columns["temp_c"]), dtype=bool))

    def as_told(self) -> Conditions:
        """The same hours with nothing taken off for a forecast's errors."""
        return self._judged(None)

    def with_setting(self, setting: Setting) -> Conditions:
        """The same hours at another site; of one that only dries at another time most is shared."""
        own = self.setting
        if setting == replace(own, dew_off_h=setting.dew_off_h, dry_later_h=setting.dry_later_h):
            other = self._without(OF_DEW_OFF)
            other.setting = setting
            return other
        other = Conditions(self.columns, self.sun, setting, self.forecast, self.pressure_kpa)
        return other if self.kept is None else other.keeping()

    def _judged(self, forecast: NDArray[np.bool_] | None) -> Conditions:
        other = self._without(OF_FROST)
        other.forecast = forecast
        return other

    def _without(self, names: tuple[str, ...]) -> Conditions:
        """A copy that has to work these out for itself."""
        other = copy(self)
        for name in names:
            other.__dict__.pop(name, None)
        if self.kept is not None:
            other.kept = {key: each for key, each in self.kept.items() if key[0] not in names}
        return other

    def at_trees(self, name: str) -> Array:
        """Give a column as it is among the trees: winds and gusts are those that reach them."""
        # still air in a shelter is stiller: inversion, calm, frost hollow and drying see it too
        share = self.setting.shelter if name in WIND_COLUMNS else 1.0
        return self.columns[name] if share == 1.0 else self.columns[name] * share

    def column(self, name: str, low: float = -np.inf, high: float = np.inf) -> Interval:
        """Give a column among the trees as an interval, unknown values between `low` and `high`."""
        return interval(self.at_trees(name), low, high)

    @cached_property
    def shape(self) -> tuple[int, ...]:
        """Of every array here."""
        return self.columns["temp_c"].shape

    @cached_property
    def temp(self) -> Interval:
        """Air temperature [degC], with step extremes and the frost hollow taken in."""
        values = self.columns["temp_c"]
        low, high = interval(values)
        if "temp_min_c" in self.columns:
            lowest = self.columns["temp_min_c"]
            low = np.where(np.isnan(lowest), low, np.fmin(values, lowest))
        if "temp_max_c" in self.columns:
            highest = self.columns["temp_max_c"]
            high = np.where(np.isnan(highest), high, np.fmax(values, highest))
        out = Interval(low, high)
        hollow = self.setting.frost_hollow_c
        if hollow:
            night = self.sun.hours_from_rise_or_set <= 0.0
            may = night & (self.cloud.low < HOLLOW_CLOUD) & (self.wind.low < HOLLOW_WIND_MS)
            must = night & (self.cloud.high < HOLLOW_CLOUD) & (self.wind.high < HOLLOW_WIND_MS)
            out = Interval(out.low - hollow * may, out.high - hollow * must)
        return out

    @cached_property
    def frost_temp(self) -> Interval:
        """Air temperature as frost is judged [degC]: a forecast less its uncertainty.

        By night also less what nights were seen to be colder than forecast.
        """
        if self.forecast is None or not self.forecast.any():
            return self.temp
        further = [None] * (len(self.shape) - self.forecast.ndim)
        taken = FORECAST_FROST_C * self.forecast[(..., *further)]
        if self.setting.night_colder_c:
            night = self.sun.hours_from_rise_or_set <= 0.0
            taken = taken + self.setting.night_colder_c * (night & (taken > 0.0))
        return self.temp.map(lambda temp: temp - taken)

    @cached_property
    def humidity(self) -> Interval:
        """Relative humidity [%]; its dry end is that of the step's warmest air."""
        temp, dew = self.columns["temp_c"], self.columns["dew_point_c"]
        raw = air.relative_humidity(temp, dew)
        out = interval(raw, 0.0, 100.0)
        if "temp_max_c" not in self.columns:
            return out
        # the damp end stays: the coldest air of a long step has its own dew point
        driest = air.relative_humidity(np.fmax(temp, self.columns["temp_max_c"]), dew)
        return Interval(np.fmin(out.low, np.where(np.isnan(raw), 0.0, driest)), out.high)

    @cached_property
    def wind(self) -> Interval:
        """Wind at 10 m [m/s], with the lowest and highest of the hour taken in."""
        wind = self.column("wind_ms", 0.0)
        if "wind_max_ms" in self.columns:
            wind = Interval(wind.low, np.fmax(wind.high, self.at_trees("wind_max_ms")))
        if "wind_min_ms" in self.columns:
            wind = Interval(np.fmin(wind.low, self.at_trees("wind_min_ms")), wind.high)
        return wind

    @cached_property
    def sky(self) -> wetness.Radiation:
        """Radiation [W/m2] and cloud [0-1]; what a sky can be where nothing tells."""
        return wetness.radiation(
            self.sun.elevation_deg,
            self.sun.clear_wm2,
            self.columns.get("solar_wm2"),
            self.columns.get("cloud"),
        )

    @property
    def cloud(self) -> Interval:
        """Cloud cover [0-1]."""
        return self.sky.cloud

    @property
    def solar(self) -> Interval:
        """Global radiation [W/m2]."""
        return self.sky.solar_wm2

    @cached_property
    def rain(self) -> Rain:
        """Rain, with longer totals."""
        return rain_of(self.columns)

    @cached_property
    def evaporation(self) -> wetness.Exchange:
        """Evaporation from wet wood at the tree top [mm/h]."""
        wind = self.at_trees("wind_ms") * air.wind_factor(self.setting.tree_height_m)
        return wetness.wet_surface_evaporation_mm(
            self.columns["temp_c"], self.columns["dew_point_c"], wind, self.sky
        )

    @cached_property
    def humid_water(self) -> Interval:
        """Water on the bark by the humidity rule alone [mm], rows as `water`."""
        return wetness.humid_surface_mm(
            self.humidity, self.rain.hourly, self.temp, self.setting.store_mm
        )

    @cached_property
    def balance_water(self) -> Interval:
        """Water on the bark by the surface balance alone [mm], rows as `water`.

        What an infection lasts by: a damp week without rain is no week of wet wood.
        """
        return wetness.surface_water_mm(
            self.evaporation.dew, self.rain.hourly, self.setting.store_mm
        )

    @cached_property
    def water(self) -> Interval:
        """Water on the bark at each stamp [mm], one row more than the hours: by both rules."""
        balance, humid = self.balance_water, self.humid_water
        return Interval(np.minimum(balance.low, humid.low), np.maximum(balance.high, humid.high))

    @cached_property
    def hours_dry(self) -> Interval:
        """Hours since the wood dried [h]: 0 in its first dry hour, -1 while wet or wetting."""

        def since_dry(water: Array, may: bool) -> Array:
            wet = self._wet(water, may, self.setting.dry_later_h if may else 0.0)
            rows = np.arange(len(wet)).reshape(-1, *[1] * (wet.ndim - 1))
            last_wet = np.maximum.accumulate(np.where(wet, rows, -1), axis=0)
            since = np.where(wet, -1.0, rows - last_wet - 1.0)
            # before the data the wood may have been dry for ever
            return since if may else np.where(last_wet < 0, np.inf, since)

        return Interval(since_dry(self.water.high, True), since_dry(self.water.low, False))

    @property
    def likely_dry(self) -> NDArray[np.bool_]:
        """Hours in which the wood is dry by the likelier rule, that of humidity.

        It is right in 87-92 % of hours (Sentelhas 2008), and needs neither cloud nor radiation.
        """
        return ~self._wet(self.humid_water.high, True)

    def _wet(self, water: Array, may: bool, later_h: float = 0.0) -> NDArray[np.bool_]:
        """Hours with water on the bark at either end, the site's dew-off taken in.

        Wet hours are kept on for a later dew-off, or their last ones cut for an earlier one. `may`
        says whether these are the hours that may be wet, or only those that surely are: the hours
        after the end count so. `later_h` adds to the dew-off.
        """
        wet = np.maximum(water[:-1], water[1:]) > wetness.DRY_MM
        later = round(self.setting.dew_off_h) + round(later_h)
        out = wet.copy()
        for step in range(1, abs(later) + 1):
            if later > 0:
                out[step:] |= wet[:-step]
            else:
                out[:-step] &= wet[step:]
                out[-step:] &= may
        return out

    @cached_property
    def drying_h(self) -> Interval:
        """Whole hours that a spray takes to dry [h]."""
        return wetness.drying_hours(self.evaporation.limb)

    @cached_property
    def dry_h(self) -> Array:
        """Hours from each row on that are known to stay without measurable rain [h]."""
        return _hours_to(self.rain.hourly.high >= MEASURABLE_MM, at_end=0.0)

    @cached_property
    def hours_dry_before_trouble(self) -> Interval:
        """Hours between the spray being dry and sunset, measurable rain or frost [h]."""
        rain, frost = self.rain.hourly, self.frost_temp
        daylight = self.sun.hours_from_rise_or_set
        # the first half of a night: what is sprayed before dawn has the day to dry
        dusk = (daylight <= 0.0) & (np.diff(daylight, axis=0, prepend=daylight[:1]) < 0.0)
        possible = (rain.high >= MEASURABLE_MM) | (frost.low <= 0.0) | dusk
        sure = (rain.low >= MEASURABLE_MM) | (frost.high <= 0.0) | dusk
        return Interval(
            _hours_to(possible, at_end=0.0) - self.drying_h.high,
            _hours_to(sure, at_end=np.inf) - self.drying_h.low,
        )


def _hours_to(event: NDArray[np.bool_], at_end: float) -> Array:
    """Hours from each row to the next event; past the end, the rows left plus `at_end`."""
    count = len(event)
    rows = np.arange(count, dtype=float).reshape(-1, *[1] * (event.ndim - 1))
    upcoming = np.where(event, rows, count + at_end)
    return np.asarray(np.minimum.accumulate(upcoming[::-1], axis=0)[::-1] - rows)

"""Score each hour against a material's limits: verdict, margin, and what holds it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.days import zoned
from spraywindow.place import Place
from spraywindow.spray.conditions import Conditions, Setting
from spraywindow.spray.kernel import GO, VERDICTS, score_arrays
from spraywindow.spray.material import Material
from spraywindow.weather import (
    COLUMNS,
    MEASURABLE_MM,
    PERIOD_COLUMNS,
    RANGE_COLUMNS,
    Array,
    Sun,
    check_hourly,
    known_at,
    pressure_at_kpa,
    sun_at,
)

DAYLIGHT_H = 0.5
"""An hour is light when its middle is so far from sunrise and sunset [h]."""


@dataclass(frozen=True, eq=False)
class Background:
    """What slots need beside the scored hours; rides in ``attrs["background"]``."""

    place: Place
    material: Material
    stage: int | None
    conditions: Conditions
    daylight: pd.Series[bool]
    dry_h_after: pd.Series[float]
    likely_dry: pd.Series[bool]
    surely_dry: pd.Series[bool]
    forecast_from: pd.Timestamp | None
    source: Mapping[str, Any]

    def dry_from(self, day: dt.date) -> tuple[pd.Timestamp, pd.Timestamp | None] | None:
        """The daylight hours of a local day from which the wood is likely, and surely, dry.

        Likely by the likelier rule, surely by both; no sure hour is None. None where it is surely
        dry from first light on, or likely dry in no hour.
        """
        zone = self.place.timezone
        light = pd.DatetimeIndex(self.daylight.index[self.daylight]).tz_convert(zone)
        light = light[light.date == day]
        likely, surely = (light[dry[light]] for dry in (self.likely_dry, self.surely_dry))
        if not len(likely) or (len(surely) and surely[0] == light[0]):
            return None
        return likely[0], surely[0] if len(surely) else None

    def __deepcopy__(self, memo: dict[int, Any]) -> Background:
        """Stay one object: pandas copies attrs at every step."""
        return self


def weather_columns(weather: pd.DataFrame) -> dict[str, Array]:
    """The table's contract columns as arrays."""
    weather = pd.DataFrame(weather)  # bare: a column read copies attrs
    return {
        name: weather[name].to_numpy(dtype=float)
        for name in (*COLUMNS, *PERIOD_COLUMNS, *RANGE_COLUMNS)
        if name in weather.columns
    }


def sun_of(index: pd.DatetimeIndex, place: Place) -> Sun:
    """The sun at the middle of each hour of an index."""
    return sun_at(index + pd.Timedelta(minutes=30), place)


def score_hours(
    weather: pd.DataFrame,
    place: Place,
    material: Material,
    stage: int | None = None,
    *,
    setting: Setting | None = None,
    forecast_from: pd.Timestamp | None = None,
    now: pd.Timestamp | None = None,
) -> pd.DataFrame:
    """Score each hour of a weather table for a material.

    Parameters
    ----------
    weather : DataFrame
        Hourly table as in `spraywindow.weather.table`; it is checked here.
    place : Place
    material : Material
        Such as `spraywindow.spray.catalogue.OIL`.
    stage : int, optional
        BBCH stage of the trees; without it the stage is not judged.
    setting : Setting, optional
        The site: tree height, neighbours, frost hollow, dew-off.
    forecast_from : Timestamp, optional
        Hours from here on are forecast: frost is judged with a forecast's uncertainty. Default:
        the table's ``attrs["forecast_from"]``, else none.
    now : Timestamp, optional
        tz-aware time of an evening's answer: the table is cut to what that answer works with, and
        what is after `now` is forecast where the table does not say since when.

    Returns
    -------
    DataFrame
        On the weather's index, cut where `now` is given: ``verdict`` ("go", "no-go", "unknown"),
        ``go`` (bool), ``margin`` (the least margin; NaN where unknown), ``held_by`` (the limit
        that holds it), and one column of margins per limit, at most 1, NaN where that limit is
        unknown. ``attrs``: ``known_until`` (last hour with every limit decided, or None),
        ``not_judged``.

    Raises
    ------
    WeatherError
        If the table breaks the contract, or does not hold `now`.
    InputError
        If a limit names an unknown quantity or another unit than the quantity's, the stage is
        no BBCH code, or `now` has no zone.
    """
    table = check_hourly(weather)
    if now is not None:
        table = known_at(table, zoned(now))
    index = pd.DatetimeIndex(table.index)
    issued = forecast_from if forecast_from is not None else table.attrs.get("forecast_from")
    sun = sun_of(index, place)
    conditions = Conditions(
        weather_columns(table),
        sun,
        setting or Setting(),
        forecast=None if issued is None else np.asarray(index >= issued),
        pressure_kpa=pressure_at_kpa(place.elevation_m),
    )
    scores = score_arrays(conditions, material, stage)
    hours = pd.DataFrame(
        {
            "verdict": _named(scores.verdict, VERDICTS),
            "go": scores.verdict == GO,
            "margin": scores.margin,
            "held_by": _named(scores.held, scores.names),
            **scores.margins,
        },
        index=index,
        copy=False,
    )
    decided = np.flatnonzero(scores.decided)
    hours.attrs = {
        "known_until": index[decided[-1]] if len(decided) else None,
        "not_judged": list(scores.not_judged),
        "background": Background(
            place=place,
            material=material,
            stage=stage,
            conditions=conditions,
            daylight=pd.Series(sun.hours_from_rise_or_set >= DAYLIGHT_H, index=index),
            dry_h_after=pd.Series(_dry_hours(conditions), index=index),
            likely_dry=pd.Series(conditions.likely_dry, index=index),
            surely_dry=pd.Series(conditions.hours_dry.low >= 0.0, index=index),
            forecast_from=issued,
            source=dict(table.attrs.get("source", {})),
        ),
    }
    return hours


def _named(codes: NDArray[np.int8], names: Sequence[str]) -> pd.Categorical:
    dtype = pd.CategoricalDtype(list(names))
    return pd.Categorical.from_codes(codes, dtype=dtype)


def _dry_hours(conditions: Conditions) -> Array:
    """Hours after each hour that are known to stay without measurable rain [h]."""
    may_rain = conditions.rain.hourly.high >= MEASURABLE_MM
    count = len(may_rain)
    rows = np.arange(count, dtype=float)
    upcoming = np.minimum.accumulate(np.where(may_rain, rows, count)[::-1])[::-1]
    after = np.append(upcoming[1:], count)
    return np.asarray(np.maximum(after - rows - 1.0, 0.0))

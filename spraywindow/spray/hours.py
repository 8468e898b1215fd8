"""Score each hour against a material's limits: verdict, margin, and what holds it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError, describe
from spraywindow.place import Place
from spraywindow.spray.conditions import Conditions, Setting
from spraywindow.spray.material import Limit, Material, season_order
from spraywindow.spray.quantities import QUANTITIES
from spraywindow.weather.air import pressure_at_kpa
from spraywindow.weather.hourly import COLUMNS, PERIOD_COLUMNS, RANGE_COLUMNS, check_hourly
from spraywindow.weather.interval import Array, Interval
from spraywindow.weather.rain import MEASURABLE_MM
from spraywindow.weather.sun import Sun, sun_at

VERDICTS = ("go", "no-go", "unknown")
GO, NO_GO, UNKNOWN = range(3)
STAGE = "stage"
"""Name of the limit on the growth stage, and of its column."""
_JUST_OUTSIDE = -1e-9


@dataclass(frozen=True)
class Scores:
    """Scored hours as arrays, time on the first axis.

    Attributes
    ----------
    verdict : int array
        Index into `VERDICTS`.
    margin : array
        The least margin [-]: 0 at a limit, 1 a comfort width inside; NaN where unknown.
    held : int array
        Index into `names`: the limit that holds the hour.
    decided : bool array
        Whether every hard limit of the hour is decided.
    names : tuple of str
        The limits judged.
    margins : dict of str to array
        Per limit; NaN where it is unknown.
    not_judged : tuple of str
        Limits whose optional column the table does not carry.
    """

    verdict: NDArray[np.int8]
    margin: Array
    held: NDArray[np.int8]
    decided: NDArray[np.bool_]
    names: tuple[str, ...]
    margins: dict[str, Array]
    not_judged: tuple[str, ...]


@dataclass(frozen=True)
class Background:
    """What slots need beside the scored hours; rides in ``attrs["background"]``."""

    place: Place
    material: Material
    daylight: pd.Series[bool]
    dry_h_after: pd.Series[float]
    forecast_from: pd.Timestamp | None
    source: Mapping[str, Any]

    def __deepcopy__(self, memo: dict[int, Any]) -> Background:
        """Stay one object: pandas copies attrs at every step."""
        return self


def margin_of(limit: Limit, quantity: Interval) -> Interval:
    """Lowest and highest margin that a limit can give, at most 1 [-]."""

    def toward(values: Array) -> Array:
        if limit.bound in ("at least", "above"):
            margin = (values - limit.value) / limit.width
        else:
            margin = (limit.value - values) / limit.width
        if limit.bound in ("above", "below"):
            margin = np.where(margin == 0.0, _JUST_OUTSIDE, margin)
        margin = np.minimum(margin, 1.0)
        return np.maximum(margin, 0.0) if limit.kind == "soft" else margin

    low_end, high_end = quantity
    if limit.bound in ("at most", "below"):
        low_end, high_end = high_end, low_end
    low = toward(low_end)
    return Interval(low, low if quantity.known else toward(high_end))


def score_arrays(conditions: Conditions, material: Material, stage: int | None = None) -> Scores:
    """Score a block of hours: the one kernel for tonight, thirty winters and every replay.

    Parameters
    ----------
    conditions : Conditions
        Arrays with time on the first axis, any axes after it.
    material : Material
    stage : int, optional
        BBCH stage of the trees; without it the stage is not judged.

    Returns
    -------
    Scores
    """
    shape = conditions.shape
    least_low, least_high = np.full(shape, np.inf), np.full(shape, np.inf)
    least_open = np.full(shape, np.inf)
    held_low, held_high, held_open = (np.zeros(shape, dtype=np.int8) for _ in range(3))
    hard_low = np.full(shape, np.inf)
    margins: dict[str, Array] = {}
    names: list[str] = []
    not_judged = [] if stage is not None else [STAGE]

    def take(name: str, kind: str, margin: Interval) -> None:
        nonlocal least_low, least_high, least_open, hard_low
        low, high = margin
        margins[name] = (
            low if margin.known else np.where(low >= 0.0, low, np.where(high < 0.0, high, np.nan))
        )
        names.append(name)
        if kind == "caution":
            return
        number = np.int8(len(names) - 1)
        np.copyto(held_low, number, where=low < least_low)
        least_low = np.minimum(least_low, low)
        if kind == "soft":
            return
        hard_low = np.minimum(hard_low, low)
        np.copyto(held_high, number, where=high < least_high)
        least_high = np.minimum(least_high, high)
        if not margin.known:
            still_open = np.where((low < 0.0) & (high >= 0.0), high, np.inf)
            np.copyto(held_open, number, where=still_open < least_open)
            least_open = np.minimum(least_open, still_open)

    if stage is not None:
        behind = season_order(material.last_stage) - season_order(stage)
        flat = np.full(shape, 1.0 if behind >= 0 else -1.0)
        take(STAGE, "hard", Interval(flat, flat))
    for limit in material.limits:
        if not _applies(limit, material, stage, conditions.setting):
            continue
        if limit.quantity not in QUANTITIES:
            raise InputError(
                describe(
                    "unknown quantity",
                    where=f"material {material.name}, limit {limit.name}",
                    expected="one of " + ", ".join(QUANTITIES),
                    got=limit.quantity,
                )
            )
        quantity = QUANTITIES[limit.quantity]
        if any(column not in conditions.columns for column in quantity.needs):
            not_judged.append(limit.name)
            continue
        take(limit.name, limit.kind, margin_of(limit, quantity.compute(conditions, limit)))

    verdict = np.where(hard_low >= 0.0, GO, np.where(least_high < 0.0, NO_GO, UNKNOWN))
    return Scores(
        verdict=verdict.astype(np.int8),
        margin=np.where(verdict == GO, least_low, np.where(verdict == NO_GO, least_high, np.nan)),
        held=np.where(
            verdict == GO, held_low, np.where(verdict == NO_GO, held_high, held_open)
        ).astype(np.int8),
        decided=np.isinf(least_open),
        names=tuple(names),
        margins=margins,
        not_judged=tuple(not_judged),
    )


def _applies(limit: Limit, material: Material, stage: int | None, setting: Setting) -> bool:
    if limit.quantity == "degrees_off_downwind":
        return bool(setting.neighbours_deg)
    if limit.name == "green and frost":
        return stage is not None and material.green_stage <= season_order(stage)
    return True


def weather_columns(weather: pd.DataFrame) -> dict[str, Array]:
    """The table's contract columns as arrays."""
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
) -> pd.DataFrame:
    """Score each hour of a weather table for a material.

    Parameters
    ----------
    weather : DataFrame
        Hourly table as in `spraywindow.weather.hourly`; it is checked here.
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

    Returns
    -------
    DataFrame
        On the weather's index: ``verdict`` ("go", "no-go", "unknown"), ``go`` (bool), ``margin``
        (the least margin; NaN where unknown), ``held_by`` (the limit that holds it), and one
        column of margins per limit, at most 1, NaN where that limit is unknown. ``attrs``:
        ``known_until`` (last hour with every limit decided, or None), ``not_judged``.

    Raises
    ------
    WeatherError
        If the table breaks the contract.
    InputError
        If a limit names an unknown quantity.
    """
    table = check_hourly(weather)
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
            daylight=pd.Series(sun.hours_from_rise_or_set >= 0.5, index=index),
            dry_h_after=pd.Series(_dry_hours(conditions), index=index),
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

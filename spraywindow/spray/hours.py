"""Score each hour against a material's limits: verdict, margin, and what holds it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
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
    forecasts_of,
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
    forecasts: tuple[pd.DataFrame, ...] = ()
    """The scored hours of each, where the answer is the worse of two forecasts."""

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
    """Score each hour of a weather table for a material; of two forecasts, the worse of each hour.

    Parameters
    ----------
    weather : DataFrame
        Hourly table as in `spraywindow.weather.table`; it is checked here. Two that stand side
        by side (`spraywindow.weather.forecasts`) are each scored as if alone.
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
    return look_at_hours(
        weather, place, setting=setting, forecast_from=forecast_from, now=now
    ).scored(material, stage)


def look_at_hours(
    weather: pd.DataFrame,
    place: Place,
    *,
    setting: Setting | None = None,
    forecast_from: pd.Timestamp | None = None,
    now: pd.Timestamp | None = None,
) -> Looked:
    """Check a weather table and derive what limits look at, once for several materials.

    Parameters
    ----------
    weather, place, setting, forecast_from, now
        As for `score_hours`.

    Raises
    ------
    WeatherError, InputError
        As `score_hours`, of the table and `now`.
    """
    table = check_hourly(weather)
    if now is not None:
        table = known_at(table, zoned(now))
    issued = forecast_from if forecast_from is not None else table.attrs.get("forecast_from")
    told = forecasts_of(table)
    if len(told) < 2:
        return Looked(table, (_Look.at(table, place, setting, issued),))
    looks = [
        _Look.at(
            check_hourly(each).loc[: table.index[-1]], place, setting,
            forecast_from if forecast_from is not None else each.attrs.get("forecast_from", issued),
        )
        for each in told
    ]  # fmt: skip
    return Looked(table, (looks[0], looks[1]))


@dataclass(frozen=True, eq=False)
class Looked:
    """A checked table, and a look at its hours or at those of each of two forecasts."""

    table: pd.DataFrame
    looks: tuple[_Look] | tuple[_Look, _Look]

    def scored(self, material: Material, stage: int | None = None) -> pd.DataFrame:
        """Score each hour for a material, as `score_hours`."""
        frames = [look.scored(material, stage) for look in self.looks]
        if len(frames) == 1:
            return frames[0]
        return _worse(frames[0], frames[1], pd.DatetimeIndex(self.table.index), self.table)


@dataclass(frozen=True, eq=False)
class _Look:
    """The hours of one checked table as limits look at them."""

    index: pd.DatetimeIndex
    place: Place
    conditions: Conditions
    daylight: pd.Series[bool]
    dry_h_after: pd.Series[float]
    likely_dry: pd.Series[bool]
    surely_dry: pd.Series[bool]
    issued: pd.Timestamp | None
    source: Mapping[str, Any]

    @classmethod
    def at(
        cls,
        table: pd.DataFrame,
        place: Place,
        setting: Setting | None,
        issued: pd.Timestamp | None,
    ) -> _Look:
        index = pd.DatetimeIndex(table.index)
        sun = sun_of(index, place)
        conditions = Conditions(
            weather_columns(table),
            sun,
            setting or Setting(),
            forecast=None if issued is None else np.asarray(index >= issued),
            pressure_kpa=pressure_at_kpa(place.elevation_m),
        )
        may_rain = pd.Series(conditions.rain.hourly.high >= MEASURABLE_MM, index=index)
        return cls(
            index=index,
            place=place,
            conditions=conditions,
            daylight=pd.Series(sun.hours_from_rise_or_set >= DAYLIGHT_H, index=index),
            dry_h_after=_dry_hours(may_rain),
            likely_dry=pd.Series(conditions.likely_dry, index=index),
            surely_dry=pd.Series(conditions.hours_dry.low >= 0.0, index=index),
            issued=issued,
            source=dict(table.attrs.get("source", {})),
        )

    def scored(self, material: Material, stage: int | None) -> pd.DataFrame:
        """Score each hour for a material."""
        scores = score_arrays(self.conditions, material, stage)
        hours = pd.DataFrame(
            {
                "verdict": _named(scores.verdict, VERDICTS),
                "go": scores.verdict == GO,
                "margin": scores.margin,
                "held_by": _named(scores.held, scores.names),
                **scores.margins,
            },
            index=self.index,
            copy=False,
        )
        decided = np.flatnonzero(scores.decided)
        hours.attrs = {
            "known_until": self.index[decided[-1]] if len(decided) else None,
            "not_judged": list(scores.not_judged),
            "background": Background(
                place=self.place,
                material=material,
                stage=stage,
                conditions=self.conditions,
                daylight=self.daylight,
                dry_h_after=self.dry_h_after,
                likely_dry=self.likely_dry,
                surely_dry=self.surely_dry,
                forecast_from=self.issued,
                source=self.source,
            ),
        }
        return hours


def _named(codes: NDArray[np.int8], names: Sequence[str]) -> pd.Categorical:
    dtype = pd.CategoricalDtype(list(names))
    return pd.Categorical.from_codes(codes, dtype=dtype)


def _dry_hours(may_rain: pd.Series[bool]) -> pd.Series[float]:
    """Hours after each hour that are known to stay without measurable rain [h]."""
    count = len(may_rain)
    rows = np.arange(count, dtype=float)
    upcoming = np.minimum.accumulate(np.where(may_rain, rows, count)[::-1])[::-1]
    after = np.append(upcoming[1:], count)
    return pd.Series(np.maximum(after - rows - 1.0, 0.0), index=may_rain.index)


_RANK = np.array([0, 2, 1])
"""Of `VERDICTS`, the worse the higher."""


def _worse(
    first: pd.DataFrame, second: pd.DataFrame, index: pd.DatetimeIndex, table: pd.DataFrame
) -> pd.DataFrame:
    """The scored hours of two forecasts as one: hour by hour, and limit by limit, the worse.

    No-go where either is, else unknown where either is, else go, by the smaller margin. A range
    over both forecasts would call unknown what one of them forbids, which tells a grower less,
    and is go in no other hour. A limit that only one tells is that one's. After its last hour with
    every limit decided a forecast only forbids: the one that goes on is judged alone.
    """
    pair = [_on(index, frame) for frame in (first, second)]
    ranks = []
    for (hours, silent), (_, other) in zip(pair, reversed(pair), strict=True):
        rank = _RANK[hours["verdict"].cat.codes]
        ranks.append(np.where(silent & ~other, -1, rank))
    own, others = (hours["margin"].to_numpy(dtype=float) for hours, _ in pair)
    with np.errstate(invalid="ignore"):
        smaller = np.where(ranks[1] == ranks[0], others < own, ranks[1] > ranks[0])

    def chosen(name: str) -> NDArray[Any]:
        one, two = (np.asarray(hours[name], dtype=object) for hours, _ in pair)
        return np.where(smaller, two, one)

    def limit(name: str) -> Array:
        one, two = (
            np.where(rank < 0, np.inf, hours[name])
            if name in hours
            else np.full(len(index), np.inf)
            for (hours, _), rank in zip(pair, ranks, strict=True)
        )
        least = np.fmin(one, two)
        return np.where((least < 0.0) | ~np.isnan(one + two), least, np.nan)

    def dry(name: str) -> pd.Series[bool]:
        out = pd.Series(data=True, index=index)
        for frame, rank in zip((first, second), ranks, strict=True):
            own = getattr(frame.attrs["background"], name).reindex(index, fill_value=False)
            out &= own | (rank < 0)
        return out

    about = ("verdict", "go", "margin", "held_by")
    names = [*dict.fromkeys([*first.columns, *second.columns])][len(about) :]
    out = pd.DataFrame(
        {
            "verdict": pd.Categorical(chosen("verdict"), categories=list(VERDICTS)),
            "go": chosen("go").astype(bool),
            "margin": chosen("margin").astype(float),
            "held_by": pd.Categorical(chosen("held_by"), categories=names),
            **{name: limit(name) for name in names},
        },
        index=index,
    )
    known = [frame.attrs["known_until"] for frame in (first, second)]
    farther = max((first, second), key=lambda frame: frame.index[-1]).attrs["background"]
    out.attrs = {
        "known_until": max((each for each in known if each is not None), default=None),
        "not_judged": [
            name for name in first.attrs["not_judged"] if name in second.attrs["not_judged"]
        ],
        "background": replace(
            farther,
            daylight=farther.daylight.reindex(index),
            dry_h_after=_dry_hours(_may_rain(index, [first, second])),
            likely_dry=dry("likely_dry"),
            surely_dry=dry("surely_dry"),
            source=dict(table.attrs.get("source", {})),
            forecasts=(first, second),
        ),
    }
    return out


def _on(index: pd.DatetimeIndex, frame: pd.DataFrame) -> tuple[pd.DataFrame, NDArray[np.bool_]]:
    """Scored hours on an index, unknown beyond their own, and where the forecast is silent."""
    out = frame.reindex(index)
    within, until = index.isin(frame.index), frame.attrs["known_until"]
    out["verdict"] = out["verdict"].fillna("unknown")
    out["go"] = out["go"].eq(True)
    ended = np.zeros(len(index), dtype=bool) if until is None else np.asarray(index > until)
    return out, ~within | (ended & np.asarray(out["verdict"] != "no-go"))


def _may_rain(index: pd.DatetimeIndex, frames: Sequence[pd.DataFrame]) -> pd.Series[bool]:
    """Whether it may rain by either forecast, as long as it tells; and where neither does."""
    may, told = np.zeros(len(index), dtype=bool), np.zeros(len(index), dtype=bool)
    for frame in frames:
        background: Background = frame.attrs["background"]
        most = pd.Series(background.conditions.rain.hourly.high, index=frame.index).reindex(index)
        tells = np.asarray(index <= most.index[np.isfinite(most)].max()) & most.notna().to_numpy()
        may |= tells & (most >= MEASURABLE_MM).to_numpy()
        told |= tells
    return pd.Series(may | ~told, index=index)

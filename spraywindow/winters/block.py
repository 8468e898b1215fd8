"""Past winters side by side: hours in blocks, scored at once, and each day's best slot.

A block has hours on the first axis and winters on the second; every winter's column begins on
the same local calendar day. A forecast can be spliced in front of all of them: it is joined at
its last known rain.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.place import Place
from spraywindow.spray import (
    DAYLIGHT_H,
    GO,
    Access,
    Conditions,
    Material,
    Scores,
    Setting,
    best_of_day,
    score_arrays,
    sun_of,
    weather_columns,
    workable,
)
from spraywindow.weather import (
    AHEAD_H,
    HISTORY_H,
    OPTIONAL,
    PERIOD_COLUMNS,
    RANGE_COLUMNS,
    Array,
    Sun,
    pressure_at_kpa,
)

SKY = ("solar_wm2", "cloud")


def alike(
    record: pd.DataFrame, forecast: pd.DataFrame
) -> tuple[dict[str, Array], dict[str, Array]]:
    """The columns of a record and of a forecast, made the same ones.

    A record's chance of rain is 0 (its rain itself is known); radiation or cloud that only one of
    them carries is unknown in the other; another optional column that only one of them carries is
    left out of both, so that its limit is not judged rather than unknown.

    Returns
    -------
    record, forecast : dict of str to array
    """
    past, ahead = weather_columns(record), weather_columns(forecast)
    if "rain_chance" in ahead:
        past["rain_chance"] = np.zeros(len(record))
    for name in OPTIONAL:
        if name not in SKY and (name in past) != (name in ahead):
            past.pop(name, None)
            ahead.pop(name, None)
    for name in (*SKY, *PERIOD_COLUMNS, *RANGE_COLUMNS):
        if (name in past) != (name in ahead):
            past.setdefault(name, np.full(len(record), np.nan))
            ahead.setdefault(name, np.full(len(forecast), np.nan))
    return past, ahead


def last_known_rain(forecast: pd.DataFrame) -> pd.Timestamp:
    """Last hour of a forecast whose rain is known, by itself or within a longer total."""
    known = forecast["rain_mm"].notna()
    if PERIOD_COLUMNS[0] in forecast:
        known |= forecast[PERIOD_COLUMNS[0]].notna()
    hours = forecast.index[known.to_numpy()]
    return pd.Timestamp(hours[-1] if len(hours) else forecast.index[0])


@dataclass(frozen=True, eq=False)
class HourBlock:
    """Hours of several winters side by side.

    Attributes
    ----------
    starts : tuple of date
        Local day 0 of each winter.
    days : int
        Calendar days, from day 0 on.
    conditions : Conditions
        Arrays [hour, winter], from some hours before day 0 to some after the last.
    day : int array [hour, winter]
        Local day of each hour, counted from day 0.
    clock_h : array [hour, winter]
        Local clock hour.
    epoch_h : int array [winter]
        Hour of row 0, counted from 1970.
    """

    starts: tuple[dt.date, ...]
    days: int
    conditions: Conditions
    day: NDArray[np.int64]
    clock_h: Array
    epoch_h: NDArray[np.int64]

    def cut(self, rows: slice) -> HourBlock:
        """Some rows of the block."""
        old = self.conditions
        sun = (old.sun.elevation_deg, old.sun.hours_from_rise_or_set, old.sun.clear_wm2)
        conditions = Conditions(
            {name: values[rows] for name, values in old.columns.items()},
            Sun(*(part[rows] for part in sun)),
            old.setting,
            None if old.forecast is None else old.forecast[rows],
            old.pressure_kpa,
        )
        return replace(self, conditions=conditions, day=self.day[rows], clock_h=self.clock_h[rows],
                       epoch_h=self.epoch_h + rows.start)  # fmt: skip

    def workable(self, access: Access) -> NDArray[np.bool_]:
        """Hours [hour, winter] in which the site may be worked (`Access`, else daylight)."""
        first = np.array([start.weekday() for start in self.starts])
        return workable(
            access,
            self.clock_h,
            (self.day + first) % 7,
            self.conditions.sun.hours_from_rise_or_set >= DAYLIGHT_H,
        )


def winter_block(
    weather: pd.DataFrame,
    place: Place,
    setting: Setting,
    starts: Sequence[dt.date],
    days: int,
    *,
    forecast: tuple[dt.date, pd.DataFrame] | None = None,
    history_h: int = HISTORY_H,
    ahead_h: int = AHEAD_H,
) -> HourBlock:
    """Cut a record into winters side by side.

    Parameters
    ----------
    weather : DataFrame
        Checked hourly table of many winters (`check_hourly`).
    place, setting
        The site.
    starts : sequence of date
        Local day 0 of each winter.
    days : int
        Calendar days of each.
    forecast : (date, DataFrame), optional
        Day 0 in the season at hand, and a checked hourly table to splice in front of every
        winter: it gives every hour up to its last known rain. Its ``attrs["forecast_from"]``
        marks where it is forecast rather than record.
    history_h, ahead_h : int
        Hours before day 0 and after the last day.

    Returns
    -------
    HourBlock
        Hours that the record does not hold are NaN.
    """
    length = history_h + 24 * days + ahead_h
    columns = weather_columns(weather)
    ahead: dict[str, Array] = {}
    if forecast is not None:
        columns, ahead = alike(weather, forecast[1])
    index = pd.DatetimeIndex(weather.index)
    first_hours = [midnight(start, place) for start in starts]
    minutes = pd.Timedelta(minutes=index[0].minute)  # half-hour zones
    times = [
        pd.date_range(first.floor("h") + minutes - pd.Timedelta(hours=history_h), periods=length,
                      freq="h")
        for first in first_hours
    ]  # fmt: skip
    begins = [(time[0] - index[0]) // pd.Timedelta(hours=1) for time in times]
    blocks = {name: _pieces(values, begins, length) for name, values in columns.items()}
    is_forecast = None
    if forecast is not None:
        at_hand = midnight(forecast[0], place).floor("h") + minutes
        now_on = pd.date_range(at_hand - pd.Timedelta(hours=history_h), periods=length, freq="h")
        front = np.asarray(now_on <= last_known_rain(forecast[1]))
        for name, values in ahead.items():
            piece = pd.Series(values, index=forecast[1].index).reindex(now_on[front])
            blocks[name][front] = piece.to_numpy()[:, None]
        issued = forecast[1].attrs.get("forecast_from", now_on[0])
        is_forecast = np.asarray(front & (now_on >= issued))
    local = [time.tz_convert(place.timezone) for time in times]
    day = np.stack(
        [
            np.asarray(here.tz_localize(None).as_unit("s").asi8) // 86400
            - (start - dt.date(1970, 1, 1)).days
            for here, start in zip(local, starts, strict=True)
        ],
        axis=1,
    )
    clock = np.stack([(h.hour + h.minute / 60).to_numpy(dtype=float) for h in local], axis=1)
    flat = sun_of(pd.DatetimeIndex(times[0].append(times[1:])), place)
    sun = Sun(
        *(
            np.ascontiguousarray(part.reshape(len(starts), length).T)
            for part in (flat.elevation_deg, flat.hours_from_rise_or_set, flat.clear_wm2)
        )
    )
    conditions = Conditions(
        blocks, sun, setting, forecast=is_forecast, pressure_kpa=pressure_at_kpa(place.elevation_m)
    )
    epoch_h = np.array([time[0].value // 3_600_000_000_000 for time in times])
    return HourBlock(tuple(starts), days, conditions, day, clock, epoch_h)


def midnight(day: dt.date, place: Place) -> pd.Timestamp:
    """First hour of a local day, also where the clock skips or repeats midnight."""
    naive = pd.Timestamp(day)
    return naive.tz_localize(
        place.timezone, nonexistent="shift_forward", ambiguous=True
    ).tz_convert("UTC")


def _pieces(values: Array, begins: Sequence[int], length: int) -> Array:
    """Rows ``begin`` to ``begin + length`` of a column for each winter, NaN outside the record."""
    out = np.full((length, len(begins)), np.nan)
    for column, begin in enumerate(begins):
        low, high = max(begin, 0), min(begin + length, len(values))
        if high > low:
            out[low - begin : high - begin, column] = values[low:high]
    return out


def best_jobs(
    block: HourBlock, scores: Scores, need: int, access: Access
) -> tuple[Array, NDArray[np.int64]]:
    """Each day's best slot: its margin (NaN without one) and first row (-1), [day, winter]."""
    go = (scores.verdict == GO) & block.workable(access)
    return best_of_day(np.where(go, scores.margin, -np.inf), block.day, block.days, need)


def job_margins(block: HourBlock, scores: Scores, need: int, access: Access) -> Array:
    """Margin of each day's best slot, [day, winter]; NaN without one.

    Parameters
    ----------
    block : HourBlock
    scores : Scores
        Of the block's conditions.
    need : int
        Whole hours of the job.
    access : Access
    """
    return best_jobs(block, scores, need, access)[0]


def score_block(block: HourBlock, material: Material, rows: slice = slice(None)) -> Scores:
    """Score rows of a block for a material.

    The stage is the calendar's business, not the hour's; cautions only speak, and nobody listens.
    """
    heard = tuple(limit for limit in material.limits if limit.kind != "caution")
    return score_arrays(block.conditions, replace(material, limits=heard), rows=rows)

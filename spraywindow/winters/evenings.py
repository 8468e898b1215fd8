"""What each evening of each past winter saw of the mornings ahead, the evening as an array axis."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.place import Place
from spraywindow.spray import Conditions, Material, Stretches
from spraywindow.weather import Array, Sun
from spraywindow.winters.block import HourBlock, score_block, winter_block
from spraywindow.winters.past import PastWinters
from spraywindow.winters.replays import ForecastReplay

EVENING_H = 18
"""Local clock hour at which the next day is decided; P."""
HISTORY_H, AHEAD_H = 132, 96
"""Hours before tomorrow's midnight (the water store has met by then) and after the mornings, at
least; a limit that looks further gets more."""
USUAL_REACH_H = 72


@dataclass(frozen=True, eq=False)
class Seen:
    """What the evenings saw: of each morning ahead its best stretch, as `day_answers` picks it.

    Attributes
    ----------
    margin : array [day, morning, material, winter]
        Its margin where it is go, on the mornings ahead of the evening before each day; else NaN.
    start : int array [day, morning, material, winter]
        Row in the season's block at which it begins; -1 without any.
    chance, chance_dry : array [day, morning, material, winter]
        That it holds, and that the dry hours wanted follow too; of a morning without a go stretch
        those of its likeliest one; NaN where nothing earns a figure.
    """

    margin: Array
    start: NDArray[np.int64]
    chance: Array
    chance_dry: Array


def seen_mornings(
    season: PastWinters,
    weather: pd.DataFrame,
    place: Place,
    replays: Sequence[ForecastReplay],
    mornings: int,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> list[Seen]:
    """Score what every evening knew, by one replay after the other.

    Parameters
    ----------
    season : PastWinters
    weather : DataFrame
        The checked record behind it.
    place : Place
    replays : sequence of ForecastReplay
    mornings : int
        Mornings ahead, tomorrow first.
    progress : callable, optional
        Told after each winter how many are done, and of how many.

    Returns
    -------
    list of Seen
        One a replay.

    Notes
    -----
    The evening is at 18:00 local time; day 0 of each evening's block is tomorrow. Hours from the
    evening on are forecast, so frost is judged with a forecast's uncertainty.
    """
    days, materials, winters = season.chances.shape
    seen = [
        Seen(
            np.full((days, mornings, materials, winters), np.nan),
            np.full((days, mornings, materials, winters), -1, dtype=np.int64),
            *np.full((2, days, mornings, materials, winters), np.nan),
        )
        for _ in replays
    ]
    for column, number in enumerate(season.used):
        truth = _evenings(season, weather, place, mornings, column)
        evenings = len(truth.starts)
        for replay, each in zip(replays, seen, strict=True):
            known = _known(truth, replay)
            for which, material in enumerate(season.materials):
                one = _one(season, known, material, number)
                each.margin[:evenings, :, which, column] = one.margin
                each.start[:evenings, :, which, column] = one.start
                each.chance[:evenings, :, which, column] = one.chance
                each.chance_dry[:evenings, :, which, column] = one.chance_dry
        if progress is not None:
            progress(column + 1, winters)
    return seen


def _one(season: PastWinters, evening: HourBlock, material: Material, number: int) -> Seen:
    """What one winter's evenings saw for one material, arrays [day, morning]."""
    inside = np.flatnonzero(((evening.day >= 0) & (evening.day < evening.days)).any(axis=1))
    rows = slice(int(inside[0]), int(inside[-1]) + 1)
    scores, mornings = score_block(evening, material, rows), evening.cut(rows)
    may = mornings.workable(season.access) & (mornings.day >= 0) & (mornings.day < evening.days)
    found = Stretches.of(scores.verdict, scores.margin, may, mornings.day, season.need_h)
    found = found.weighed(
        evening.conditions, material, _lead(evening)[rows].astype(float), first_row=rows.start
    )
    (day,) = found.columns
    morning = day * evening.days + found.day
    best, likeliest = found.best(morning), found.best(morning, by_verdict=False)
    likely = np.where(found.verdict[best] == 0, best, likeliest)
    at = day[best], found.day[best]
    shape = evening.day.shape[1], evening.days
    seen = Seen(np.full(shape, np.nan), np.full(shape, -1), *np.full((2, *shape), np.nan))
    seen.margin[at] = np.where(found.verdict[best] == 0, found.margin[best], np.nan)
    seen.start[at] = found.first[best] + mornings.epoch_h[day[best]] - season.block.epoch_h[number]
    seen.chance[at], seen.chance_dry[at] = found.chance[likely], found.chance_dry[likely]
    return seen


def _lead(evening: HourBlock) -> NDArray[np.int64]:
    """Hours from the evening on, of each row."""
    midnight = int(np.argmax(evening.day[:, 0] >= 0))
    return np.arange(len(evening.day)) - midnight + (24 - EVENING_H)


def _margins_h(materials: Sequence[Material]) -> tuple[int, int]:
    """Hours that the limits need before tomorrow's midnight and after the last morning."""
    reach = max(
        (
            int(np.ceil(limit.hours or 0))
            for material in materials
            for limit in material.limits
            if limit.kind != "caution"
        ),
        default=0,
    )
    more = max(reach - USUAL_REACH_H, 0)
    return HISTORY_H + more, AHEAD_H + more


def _evenings(
    season: PastWinters, weather: pd.DataFrame, place: Place, mornings: int, column: int
) -> HourBlock:
    """One winter's evenings side by side, with the weather as it turned out.

    Evenings after which nothing more is sprayed, as forecast or as it turned out, are left out.
    """
    number, days = season.used[column], np.arange(len(season.chances))
    goes_on = (season.ending.forecast[..., column].max(axis=1) >= days) | (
        season.ending.actual[:, column].max() >= days
    )
    evenings = int(np.flatnonzero(goes_on)[-1]) + 1 if goes_on.any() else 1
    first = season.block.starts[number]
    before_h, after_h = _margins_h(season.materials)
    strip = winter_block(
        weather, place, season.block.conditions.setting, [first], evenings + mornings,
        history_h=before_h, ahead_h=after_h,
    )  # fmt: skip
    length = before_h + 24 * mornings + after_h
    midnights = np.searchsorted(strip.day[:, 0], np.arange(evenings))
    rows = np.arange(length)[:, None] + midnights - before_h
    old = strip.conditions
    conditions = Conditions(
        {name: values[rows, 0] for name, values in old.columns.items()},
        Sun(*(part[rows, 0] for part in
              (old.sun.elevation_deg, old.sun.hours_from_rise_or_set, old.sun.clear_wm2))),
        old.setting,
        pressure_kpa=old.pressure_kpa,
    )  # fmt: skip
    return HourBlock(
        tuple(first + dt.timedelta(days=day) for day in range(evenings)),
        mornings,
        conditions,
        strip.day[rows, 0] - np.arange(evenings),
        strip.clock_h[rows, 0],
        strip.epoch_h[0] + midnights - before_h,
    )


def _known(truth: HourBlock, replay: ForecastReplay) -> HourBlock:
    """The evenings with what each of them knew."""
    old, lead = truth.conditions, _lead(truth)
    valid = truth.epoch_h + np.arange(len(lead))[:, None]
    conditions = Conditions(
        replay.known(old.columns, lead, valid),
        old.sun,
        old.setting,
        forecast=lead >= 0,
        pressure_kpa=old.pressure_kpa,
    )
    return replace(truth, conditions=conditions)

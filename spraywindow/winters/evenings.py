"""What each evening of each past winter saw of the mornings ahead, the evening as an array axis."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from spraywindow.place import Place
from spraywindow.spray import GO, NO_GO, Conditions, Material, chance_of_holding
from spraywindow.weather import Array, Sun
from spraywindow.winters.block import HourBlock, job_margins, score_block, winter_block
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
    """What the evenings saw.

    Attributes
    ----------
    margin : array [day, morning, material, winter]
        Margin of the best slot of the mornings ahead of the evening before each day; NaN none.
        Tomorrow's is the slot that is likeliest to hold, as `find_slots` ranks them.
    start : int array [day, material, winter]
        Row in the season's block at which that slot's best job begins; -1 without one.
    chance : array [day, material, winter]
        Chance that tomorrow's slot holds; 0 where there surely is none, NaN where the evening
        could not tell.
    """

    margin: Array
    start: NDArray[np.int64]
    chance: Array


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
            np.full((days, materials, winters), -1, dtype=np.int64),
            np.zeros((days, materials, winters)),
        )
        for _ in replays
    ]
    for column, number in enumerate(season.used):
        truth = _evenings(season, weather, place, mornings, column)
        evenings = len(truth.starts)
        for replay, each in zip(replays, seen, strict=True):
            known = _known(truth, replay)
            for which, material in enumerate(season.materials):
                margin, start, chance = _one(season, known, material, number)
                each.margin[:evenings, :, which, column] = margin
                each.start[:evenings, which, column] = start
                each.chance[:evenings, which, column] = chance
        if progress is not None:
            progress(column + 1, winters)
    return seen


def _one(
    season: PastWinters, evening: HourBlock, material: Material, number: int
) -> tuple[Array, NDArray[np.int64], Array]:
    """Margins [day, morning], first rows and chances [day] of one winter and material."""
    inside = np.flatnonzero(((evening.day >= 0) & (evening.day < evening.days)).any(axis=1))
    rows = slice(int(inside[0]), int(inside[-1]) + 1)
    scores, mornings = score_block(evening, material, rows), evening.cut(rows)
    best = job_margins(mornings, scores, season.need_h, season.access)
    tomorrow = mornings.workable(season.access) & (mornings.day == 0)
    start = np.full(best.shape[1], -1, dtype=np.int64)
    may = sliding_window_view((scores.verdict != NO_GO) & tomorrow, season.need_h, axis=0)
    chance = np.where(may.all(axis=-1).any(axis=0), np.nan, 0.0)
    go = (scores.verdict == GO) & tomorrow
    day, job = _jobs_of_runs(go, scores.margin, season.need_h)
    hours = np.arange(season.need_h)[:, None] + job
    least = scores.margin[hours, day].min(axis=0)
    dry_h = evening.conditions.dry_h[rows.start + job + season.need_h, day]
    held = chance_of_holding(
        {name: values[hours, day] for name, values in scores.margins.items()},
        material.limits, _lead(evening)[rows][hours].astype(float), dry_h - material.dry_spell_h,
    )  # fmt: skip
    # the order in which `find_slots` ranks a day's slots, and the first of each day
    order = np.lexsort((job, -least, -np.round(held, 6), day))
    picked = order[np.unique(day[order], return_index=True)[1]]
    day, job = day[picked], job[picked]
    best[0, day], chance[day] = least[picked], held[picked]
    start[day] = job + mornings.epoch_h[day] - season.block.epoch_h[number]
    return best.T, start, chance


def _jobs_of_runs(
    go: NDArray[np.bool_], margin: Array, need: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Best job of each run of go hours [hour, day] that is long enough: days and first rows."""
    least = sliding_window_view(np.where(go, margin, -np.inf), need, axis=0).min(axis=-1)
    begins = go & ~np.concatenate([np.zeros_like(go[:1]), go[:-1]])
    run = np.cumsum(begins, axis=0)
    job, day = np.nonzero(np.isfinite(least))
    order = np.lexsort((job, -least[job, day], run[job, day], day))
    job, day = job[order], day[order]
    own = run[job, day]
    first = np.ones(len(day), dtype=bool)
    first[1:] = (day[1:] != day[:-1]) | (own[1:] != own[:-1])
    return day[first], job[first]


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

"""What each evening of each past winter saw of the mornings ahead, the evening as an array axis."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.place import Place
from spraywindow.season.mornings import Block, best_jobs, score_block, winter_block
from spraywindow.season.past import Season
from spraywindow.season.replay import Replay
from spraywindow.spray.chance import chance_of_holding
from spraywindow.spray.conditions import Conditions
from spraywindow.weather.interval import Array

EVENING_H = 18
"""Local clock hour at which the next day is decided; P."""
HISTORY_H, AHEAD_H = 132, 96
"""Hours before tomorrow's midnight (the water store has met by then) and after the mornings."""
EVENING_ROW = HISTORY_H - (24 - EVENING_H)


@dataclass(frozen=True, eq=False)
class Seen:
    """What the evenings saw.

    Attributes
    ----------
    margin : array [day, morning, material, winter]
        Margin of the best slot of the mornings ahead of the evening before each day; NaN none.
    start : int array [day, material, winter]
        Row in the season's block at which tomorrow's best slot begins; -1 without one.
    chance : array [day, material, winter]
        Chance that tomorrow's slot holds; 0 without one.
    """

    margin: Array
    start: NDArray[np.int64]
    chance: Array


def seen_mornings(
    season: Season, weather: pd.DataFrame, place: Place, replay: Replay, mornings: int
) -> Seen:
    """Score what every evening knew.

    Parameters
    ----------
    season : Season
    weather : DataFrame
        The checked record behind it.
    place : Place
    replay : Replay
    mornings : int
        Mornings ahead, tomorrow first.

    Notes
    -----
    The evening is at 18:00 local time; day 0 of each evening's block is tomorrow. Hours from the
    evening on are forecast, so frost is judged with a forecast's uncertainty.
    """
    days, materials, winters = season.chances.shape
    shape = (days, mornings, materials, winters)
    margin = np.full(shape, np.nan)
    start = np.full((days, materials, winters), -1, dtype=np.int64)
    chance = np.zeros((days, materials, winters))
    for column, number in enumerate(season.used):
        evening = _evenings(season, weather, place, replay, mornings, number)
        lead = np.arange(len(evening.day)) - EVENING_ROW
        for which, material in enumerate(season.materials):
            scores = score_block(evening, material)
            best, row = best_jobs(evening, scores, season.need_h, season.access)
            margin[:, :, which, column] = best.T
            go = np.flatnonzero(np.isfinite(best[0]))
            shift = evening.epoch_h[go] - season.block.epoch_h[number]
            start[go, which, column] = row[0, go] + shift
            if replay.measures:
                dry_h = evening.conditions.dry_h
                for day in go:
                    job = slice(row[0, day], row[0, day] + season.need_h)
                    chance[day, which, column] = chance_of_holding(
                        {name: values[job, day] for name, values in scores.margins.items()},
                        material.limits,
                        lead[job].astype(float),
                        float(dry_h[job.stop, day]) - material.dry_spell_h,
                    )
    return Seen(margin, start, chance)


def _evenings(
    season: Season, weather: pd.DataFrame, place: Place, replay: Replay, mornings: int, number: int
) -> Block:
    """One winter's evenings side by side, with what each of them knew."""
    first = season.block.starts[number]
    tomorrows = [first + dt.timedelta(days=day) for day in range(len(season.chances))]
    truth = winter_block(
        weather, place, season.block.conditions.setting, tomorrows, mornings,
        history_h=HISTORY_H, ahead_h=AHEAD_H,
    )  # fmt: skip
    old = truth.conditions
    lead = np.arange(len(truth.day)) - EVENING_ROW
    valid = truth.epoch_h + np.arange(len(truth.day))[:, None]
    conditions = Conditions(
        replay.known(old.columns, lead, valid),
        old.sun,
        old.setting,
        forecast=lead >= 0,
        pressure_kpa=old.pressure_kpa,
    )
    return replace(truth, conditions=conditions)

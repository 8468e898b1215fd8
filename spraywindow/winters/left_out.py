"""Which past winters are not used, and why: what the record lacks of them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.place import Place
from spraywindow.spray import QUANTITIES, Material, Scores
from spraywindow.trees import MOST_UNKNOWN_H, WinterSums
from spraywindow.weather import COLUMNS, REQUIRED
from spraywindow.winters.block import HourBlock, midnight

MOST_UNKNOWN = 0.05
"""A winter with more unknown hours of a required column than this share is left out; P."""
MOST_UNKNOWN_OPTIONAL = 0.9
"""A station may leave an optional value out at times (the direction in a calm, the sky by night);
where it is gone, a winter with more unknown hours of one that a limit looks at is left out; P."""
RAIN = "rain_mm"


@dataclass(frozen=True)
class LeftOut:
    """Why a winter is not used; `of_rain` where rain is missing within the record."""

    why: str
    of_rain: bool = False


def why_left_out(
    block: HourBlock,
    scores: Sequence[Scores],
    materials: Sequence[Material],
    record: pd.DatetimeIndex,
    place: Place,
    sums: WinterSums,
    columns: Sequence[int],
) -> list[LeftOut | None]:
    """Say of each winter of a block why it cannot be used; None where it can.

    Parameters
    ----------
    block : HourBlock
    scores, materials
        One a material: what their hard limits look at must be known.
    record : DatetimeIndex
        Hours of the record.
    place : Place
    sums : WinterSums
    columns : sequence of int
        Column of `sums` of each winter.
    """
    looked_at = _looked_at(block, scores, materials)
    why: list[LeftOut | None] = []
    for number, column in enumerate(columns):
        days = _of_days(block, number, looked_at, record, place)
        year = _of_temperature(sums, column, record, place)  # the longer time
        if days and year and days.of_rain:
            why.append(LeftOut(f"{days.why}; {year.why}", of_rain=True))
        else:
            why.append(year or days)
    return why


def _looked_at(
    block: HourBlock, scores: Sequence[Scores], materials: Sequence[Material]
) -> dict[str, float]:
    """Columns that verdicts hang on, rain first, with the most unknown hours [share]."""
    columns = block.conditions.columns
    needed = {
        name
        for score, material in zip(scores, materials, strict=True)
        for limit in material.limits
        if limit.kind == "hard" and limit.name in score.names
        for name in QUANTITIES[limit.quantity].needs
    }
    needed |= {"cloud", "solar_wm2"} & columns.keys()
    return {
        **dict.fromkeys((RAIN, *REQUIRED), MOST_UNKNOWN),
        **dict.fromkeys(sorted(needed), MOST_UNKNOWN_OPTIONAL),
    }


def _of_days(
    block: HourBlock,
    number: int,
    looked_at: dict[str, float],
    record: pd.DatetimeIndex,
    place: Place,
) -> LeftOut | None:
    """What is missing on the days from day 0 on, a forecast spliced in front left aside."""
    day = block.day[:, number]
    inside = (day >= 0) & (day < block.days)
    if block.conditions.forecast is not None:
        inside &= ~block.conditions.forecast
    hours = block.epoch_h[number] + np.arange(len(day))
    first, last = (stamp.value // 3_600_000_000_000 for stamp in (record[0], record[-1]))
    recorded = (hours >= first) & (hours <= last)
    for name, most in looked_at.items():
        missing = inside & _unknown(block, name, number)
        if missing.sum() <= most * inside.sum():
            continue
        if (missing & recorded).sum() <= most * inside.sum():
            start = block.starts[number]
            last_day = start + dt.timedelta(days=block.days - 1)
            return LeftOut(_edge(record, place, start, last_day, "weather is"))
        if name == RAIN:
            share = missing.sum() / inside.sum()
            rowless = missing & _unknown(block, "temp_c", number)
            if (missing & ~rowless).sum() <= most * inside.sum():  # nothing says that it rained
                return LeftOut(f"no weather in {100 * share:.0f} % of its hours")
            return LeftOut(f"rain unknown in {100 * share:.0f} % of its hours", of_rain=True)
        return LeftOut(f"{int(missing.sum())} hours without {COLUMNS[name].name}")
    return None


def _unknown(block: HourBlock, name: str, number: int) -> NDArray[np.bool_]:
    if name == RAIN:  # a longer total may settle an hour
        return np.asarray(np.isinf(block.conditions.rain.hourly.high[:, number]))
    return np.isnan(block.conditions.columns[name][:, number])


def _of_temperature(
    sums: WinterSums, column: int, record: pd.DatetimeIndex, place: Place
) -> LeftOut | None:
    """Whether the temperatures that chill and heat are summed from are missing."""
    if sums.usable[column]:
        return None
    begin, end = map(int, sums.needed[:, column])
    first, last = (sums.starts[column] + dt.timedelta(days=day) for day in (begin, end - 1))
    local = record[[0, -1]].tz_convert(place.timezone)
    before, after = (local[0].date() - first).days, (last - local[1].date()).days
    beyond = 24 * (max(before, 0) + max(after, 0))
    unknown = int(sums.unknown_h[column])
    if unknown - beyond <= MOST_UNKNOWN_H:
        return LeftOut(_edge(record, place, first, last, "temperatures are"))
    return LeftOut(
        f"{unknown} hours without temperature, which chill and heat need from {first} to {last}"
    )


def _edge(record: pd.DatetimeIndex, place: Place, first: dt.date, last: dt.date, what: str) -> str:
    """Say where within a winter the record begins or ends, and from when to when it is needed."""
    begins, ends = record[[0, -1]].tz_convert(place.timezone)
    parts = [f"begins in it on {begins.date()}"] * (begins > midnight(first, place))
    behind = midnight(last + dt.timedelta(days=1), place)
    parts += [f"ends in it on {ends.date()}"] * (ends + pd.Timedelta(hours=1) < behind)
    return f"the record {' and '.join(parts)}; {what} needed from {first} to {last}"

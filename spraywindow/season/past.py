"""Past winters as calendars of chances: what each of them would have offered this program."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError, describe
from spraywindow.place import Place
from spraywindow.season.bloom import Anchor
from spraywindow.season.coming import within
from spraywindow.season.ending import Endings, endings, usual_ending
from spraywindow.season.mornings import (
    MOST_UNKNOWN_RAIN,
    Block,
    job_margins,
    score_block,
    winter_block,
)
from spraywindow.season.planner import may_spray
from spraywindow.season.program import Program
from spraywindow.season.requirement import Requirement
from spraywindow.season.winters import WinterSums, winter_label, winter_sums
from spraywindow.spray.conditions import Setting
from spraywindow.spray.material import Material
from spraywindow.spray.slots import DURATION_H, Access
from spraywindow.weather.hourly import check_hourly
from spraywindow.weather.interval import Array

LONGEST_SEASON_D = 200
MOST_SILENT_D = 31
"""A record that stops so many days before day 0 says too little of the winter at hand."""


@dataclass(frozen=True)
class Need:
    """What decides when the trees flower.

    Parameters
    ----------
    trees : Requirement or (month, day)
        Chill and heat of the cultivar group, or the usual first flower.
    seen : (date, share of heat), optional
        A stage seen in the season at hand.
    """

    trees: Requirement | tuple[int, int]
    seen: tuple[dt.date, float] | None = None


@dataclass(frozen=True, eq=False)
class Season:
    """What past winters hold, before any program is planned on them.

    Attributes
    ----------
    first : date
        Day 0 in the season at hand or to come.
    block : Block
        All past winters of the record.
    used : tuple of int
        Columns of the block that are used, in the order of `labels`.
    materials : tuple of Material
        In the program's order.
    free : bool array [day, material]
        Days that what is done leaves free.
    chances : array [day, material, winter]
        Margin of each day's best slot of the winters used; NaN for none.
    ending : Endings
        Of the winters used.
    labels : tuple of str
    left_out : mapping of str to str
        Winters not used, and why.
    """

    first: dt.date
    block: Block
    used: tuple[int, ...]
    materials: tuple[Material, ...]
    free: NDArray[np.bool_]
    chances: Array
    ending: Endings
    labels: tuple[str, ...]
    left_out: Mapping[str, str]
    need_h: int
    access: Access

    def chances_with(self, block: Block, materials: Sequence[Material]) -> Array:
        """The chances of the winters used, with another block of conditions or other limits."""
        margins = [
            job_margins(block, score_block(block, each), self.need_h, self.access)
            for each in materials
        ]
        every = np.where(self.free[..., None], np.stack(margins, axis=1), np.nan)
        return np.asarray(every[..., list(self.used)])

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Usable mornings up to each material's last day, [day, material, winter]."""
        return np.isfinite(within(self.chances, self.ending.turned_out))


def past_starts(
    sums: WinterSums, first: dt.date, latitude: float, record_end: dt.date
) -> tuple[list[int], list[dt.date]]:
    """Columns of the record's winters before the one of `first`, and day 0 in each of them."""
    own = winter_label(first, latitude)
    day = 28 if (first.month, first.day) == (2, 29) else first.day
    columns, starts = [], []
    for column, (start, label) in enumerate(zip(sums.starts, sums.labels, strict=True)):
        if label == own or start > first:
            continue
        late = (first.month, day) < (start.month, start.day)
        here = dt.date(start.year + late, first.month, day)
        if here < record_end:
            columns.append(column)
            starts.append(here)
    return columns, starts


def past_season(
    weather: pd.DataFrame,
    place: Place,
    program: Program,
    materials: Mapping[str, Material],
    *,
    first: dt.date,
    need: Need,
    setting: Setting | None = None,
    access: Access | None = None,
    duration_h: float = DURATION_H,
    forecast: pd.DataFrame | None = None,
) -> Season:
    """Put past winters side by side from one calendar day on.

    Parameters
    ----------
    weather : DataFrame
        Hourly record of past winters (and of the winter at hand so far, if known).
    place, program, setting, access, duration_h
        The site's.
    materials : mapping of str to Material
        By the names of the program.
    first : date
        Day 0: leaf fall of the season to come, or tomorrow in mid-season.
    need : Need
        What decides when the trees flower.
    forecast : DataFrame, optional
        Hourly table to splice in front of every winter.

    Raises
    ------
    InputError
        If the record holds no past winter.
    """
    table = check_hourly(weather)
    sums = winter_sums(table["temp_c"], place)
    columns, starts = past_starts(sums, first, place.latitude, table.index[-1].date())
    if not starts:
        raise InputError(
            describe("no past winter in the record", expected=f"a whole winter before {first}",
                     got=f"{table.index[0].date()} to {table.index[-1].date()}")
        )  # fmt: skip
    order = tuple(materials[name] for name in program.materials)
    ending = _ending(sums, need, columns, starts, first, [m.last_stage for m in order], place)
    ends = ending.turned_out[np.isfinite(ending.turned_out)]
    days = int(np.clip(ends.max() + 1 if ends.size else LONGEST_SEASON_D, 1, LONGEST_SEASON_D))
    block = winter_block(
        table, place, setting or Setting(), starts, days,
        forecast=None if forecast is None else (first, check_hourly(forecast)),
    )  # fmt: skip
    why_not = [_why_not(block, number, sums, column) for number, column in enumerate(columns)]
    used = tuple(number for number, why in enumerate(why_not) if not why)
    season = Season(
        first=first,
        block=block,
        used=used,
        materials=order,
        free=may_spray(pd.date_range(first, periods=days), program),
        chances=np.empty(0),
        ending=Endings(ending.turned_out[:, list(used)], ending.then[:days, :, list(used)]),
        labels=tuple(sums.labels[columns[number]] for number in used),
        left_out={sums.labels[columns[n]]: why for n, why in enumerate(why_not) if why},
        need_h=int(np.ceil(duration_h)),
        access=access or Access(),
    )
    return replace(season, chances=season.chances_with(block, order))


def _ending(
    sums: WinterSums,
    need: Need,
    columns: Sequence[int],
    starts: Sequence[dt.date],
    first: dt.date,
    last_stages: Sequence[int],
    place: Place,
) -> Endings:
    if not isinstance(need.trees, Requirement):
        return usual_ending(need.trees, starts, LONGEST_SEASON_D, len(last_stages))
    label = winter_label(first, place.latitude)
    if label in sums.labels:
        current = sums.labels.index(label)
        known_until = sums.starts[current] + dt.timedelta(days=int(sums.known_days[current]))
        anchor = None
        if need.seen is not None:
            seen, share = need.seen
            anchor = Anchor(sums.day_number(seen, current), share)
            known_until = max(known_until, seen)
        if (first - known_until).days <= MOST_SILENT_D:
            return endings(
                sums, need.trees, columns, starts, LONGEST_SEASON_D, last_stages,
                current=current, known_until=min(known_until, first), anchor=anchor,
            )  # fmt: skip
    return endings(sums, need.trees, columns, starts, LONGEST_SEASON_D, last_stages)


def _why_not(block: Block, number: int, sums: WinterSums, column: int) -> str:
    unknown = float(block.unknown_rain[number])
    if unknown > MOST_UNKNOWN_RAIN:
        return f"rain unknown in {100 * unknown:.0f} % of its hours"
    if not sums.usable[column]:
        return f"{int(sums.unknown_h[column])} hours without temperature"
    return ""

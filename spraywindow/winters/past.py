"""Past winters as calendars of chances: what each of them would have offered this program."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError
from spraywindow.place import Place
from spraywindow.program import Nearness, Program, may_spray, nearness
from spraywindow.spray import DURATION_H, Access, Material, Scores, Setting
from spraywindow.trees import (
    LONGEST_SEASON_D,
    MOST_SILENT_D,
    STAGE_SHARES,
    Flowering,
    LastSprayDays,
    Need,
    bud_sums,
    endings,
    first_flower,
    past_starts,
    season_stages,
)
from spraywindow.weather import Array, check_hourly
from spraywindow.winters.block import (
    HourBlock,
    best_jobs,
    job_margins,
    midnight,
    score_block,
    winter_block,
)
from spraywindow.winters.left_out import why_left_out

BUD_SWELL = 51
"""BBCH code of the first swelling of the buds."""


def within(chances: Array, last: Array) -> Array:
    """Chances [day, material, winter] up to each material's last day [material, winter]."""
    days = np.arange(len(chances))[:, None, None]
    return np.where(days <= last, chances, np.nan)


@dataclass(frozen=True, eq=False)
class PastWinters:
    """What past winters hold, before any program is planned on them.

    Attributes
    ----------
    first : date
        Day 0 in the season at hand or to come.
    block : HourBlock
        All past winters of the record.
    used : tuple of int
        Columns of the block that are used, in the order of `labels`.
    materials : tuple of Material
        In the program's order.
    free : bool array [day, material]
        Days that what is done leaves free.
    chances : array [day, material, winter]
        Margin of each day's best slot of the winters used, as the record has it: for hindsight;
        NaN for none.
    starts : int array [day, material, winter]
        First row in the block of each day's best job; -1 for none.
    verdicts : tuple of int array [hour, winter]
        Of every hour of the block, one array a material.
    foreseen : array [day, material, winter]
        The margins as the evening before would judge it, by a forecast that comes true: its frost
        is judged with a forecast's uncertainty.
    ending : LastSprayDays
        Of the winters used.
    flowering : Flowering or None
        First flower of the season at hand; None where nothing is known of it.
    never : int
        Winters used that do not bring the chill or heat by the model.
    bud_swell : array [winter]
        Day on which the buds swelled, of the winters used; NaN where unknown.
    near : Nearness
        How near days are to where the rounds belong, in the winters used.
    ahead : HourBlock
        The block with every hour as a forecast.
    ahead_scores : tuple of Scores
        Its hours scored, one a material.
    labels : tuple of str
    left_out : mapping of str to str
        Winters not used, and why.
    rain_missing : tuple of str
        Those of them whose rain is missing within the record: probably wetter ones.
    """

    first: dt.date
    block: HourBlock
    used: tuple[int, ...]
    materials: tuple[Material, ...]
    free: NDArray[np.bool_]
    chances: Array
    starts: NDArray[np.int64]
    verdicts: tuple[NDArray[np.int8], ...]
    foreseen: Array
    ending: LastSprayDays
    flowering: Flowering | None
    never: int
    bud_swell: Array
    near: Nearness
    ahead: HourBlock
    ahead_scores: tuple[Scores, ...]
    labels: tuple[str, ...]
    left_out: Mapping[str, str]
    rain_missing: tuple[str, ...]
    need_h: int
    access: Access

    def foreseen_with(self, block: HourBlock, materials: Sequence[Material]) -> Array:
        """What is foreseen, with another block of conditions than `ahead` or other limits."""
        same = [block is self.ahead and each is own
                for each, own in zip(materials, self.materials, strict=True)]  # fmt: skip
        if all(same):
            return self.foreseen
        columns = []
        for number, each in enumerate(materials):
            if same[number]:
                columns.append(self.foreseen[:, number])
                continue
            margins = job_margins(block, score_block(block, each), self.need_h, self.access)
            free = self.free[:, number, None]
            columns.append(np.where(free, margins, np.nan)[:, list(self.used)])
        return np.stack(columns, axis=1)

    def shortened(self, days: int) -> PastWinters:
        """The same winters with a season of so many days at most."""
        most = min(days, len(self.chances))
        ends = self.ending
        return replace(
            self,
            block=replace(self.block, days=most),
            free=self.free[:most],
            chances=self.chances[:most],
            starts=self.starts[:most],
            foreseen=self.foreseen[:most],
            ending=replace(
                ends,
                actual=np.minimum(ends.actual, most - 1.0),
                forecast=np.minimum(ends.forecast[:most], most - 1.0),
            ),
            near=replace(self.near, days=most),
        )

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Mornings that the evening before would call usable, [day, material, winter].

        Up to each material's last day.
        """
        return np.isfinite(within(self.foreseen, self.ending.actual))


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
) -> PastWinters:
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
    sums = bud_sums(_temperature(table, first, place, forecast), place, need, first)
    columns, starts = past_starts(sums, first, place.latitude, table.index[-1].date())
    if not starts:
        raise InputError(
            "no past winter in the record",
            expected=f"a whole winter before {first}",
            got=f"{table.index[0].date()} to {table.index[-1].date()}",
        )
    order = tuple(materials[name] for name in program.materials)
    stages = season_stages(sums, need, columns, starts, first, place)
    last_stages = [material.last_stage for material in order]
    ends = endings(stages, last_stages).actual
    ends = ends[np.isfinite(ends)]
    days = int(np.clip(ends.max() + 1 if ends.size else LONGEST_SEASON_D, 1, LONGEST_SEASON_D))
    block = winter_block(
        table, place, setting or Setting(), starts, days,
        forecast=None if forecast is None else (first, check_hourly(forecast)),
    )  # fmt: skip
    need_h, open_to = int(np.ceil(duration_h)), access or Access()
    free = may_spray(pd.date_range(first, periods=days), program)
    verdicts, jobs = [], []
    for material in order:
        score = score_block(block, material)
        verdicts.append(score.verdict)
        jobs.append(best_jobs(block, score, need_h, open_to))
    ahead = replace(block, conditions=block.conditions.as_forecast())
    ahead_scores = tuple(score_block(ahead, material) for material in order)
    index = pd.DatetimeIndex(table.index)
    why_not = why_left_out(block, ahead_scores, order, index, place, sums, columns)
    left_out = {
        sums.labels[column]: why for column, why in zip(columns, why_not, strict=True) if why
    }
    used = [number for number, why in enumerate(why_not) if why is None]
    stages = replace(
        stages,
        actual=stages.actual[:, used],
        forecast=stages.forecast[:days, :, used],
        early=stages.early[used],
    )
    foreseen = [job_margins(ahead, each, need_h, open_to) for each in ahead_scores]

    def of_used(columns: Sequence[NDArray[Any]]) -> NDArray[Any]:
        return np.stack(columns, axis=1)[..., used]

    return PastWinters(
        first=first,
        block=block,
        used=tuple(used),
        materials=order,
        free=free,
        chances=np.where(free[..., None], of_used([margin for margin, _ in jobs]), np.nan),
        starts=of_used([start for _, start in jobs]),
        verdicts=tuple(verdicts),
        foreseen=np.where(free[..., None], of_used(foreseen), np.nan),
        ending=endings(stages, last_stages),
        flowering=stages.flowering(first),
        never=int(stages.never[used].sum()),
        bud_swell=stages.actual[list(STAGE_SHARES).index(BUD_SWELL)],
        near=nearness(program, order, first, need.leaf_fall or first, stages, days),
        ahead=ahead,
        ahead_scores=ahead_scores,
        labels=tuple(sums.labels[columns[number]] for number in used),
        left_out={label: each.why for label, each in left_out.items()},
        rain_missing=tuple(label for label, each in left_out.items() if each.of_rain),
        need_h=need_h,
        access=open_to,
    )


def past_flowering(
    weather: pd.DataFrame,
    place: Place,
    first: dt.date,
    need: Need,
    forecast: pd.DataFrame | None = None,
) -> Flowering | None:
    """The first flower that `past_season` finds, without its calendars; parameters as there."""
    table = check_hourly(weather)
    sums = bud_sums(_temperature(table, first, place, forecast), place, need, first)
    return first_flower(sums, need, first, place)


def _temperature(
    table: pd.DataFrame, first: dt.date, place: Place, forecast: pd.DataFrame | None
) -> pd.Series[float]:
    """Temperature of the record up to day 0, and of the forecast where the two nearly meet.

    What a longer record holds of the time to come would tell when these buds open.
    """
    known = table["temp_c"]
    before = known[known.index < midnight(first, place)]
    known = before if len(before) else known
    if forecast is None:
        return known
    ahead = check_hourly(forecast)["temp_c"]
    if not abs((ahead.index[0] - known.index[-1]).days) <= MOST_SILENT_D:
        return known
    return known.combine_first(ahead).asfreq("h")

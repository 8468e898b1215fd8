"""Blocks of sites through the one kernel: arrays in, arrays out, whatever the chunks were.

Some sites are worked at once, so that what the kernel touches stays in the processor's cache; long
records are worked in stretches of time that see as far beyond their ends as any window reaches.
Stretches and blocks do not depend on how the data lie, and no site's answer on its neighbours.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.region.reading import Given, columns_of
from spraywindow.spray import (
    DAYLIGHT_H,
    UNKNOWN,
    Access,
    Conditions,
    Material,
    Scores,
    Setting,
    Stretches,
    score_arrays,
    workable,
)
from spraywindow.weather import (
    AHEAD_H,
    Array,
    mended,
    pressure_at_kpa,
    rain_of,
    sun_over,
)
from spraywindow.winters import MOST_UNKNOWN

CELLS = 45_000
"""Hours times sites that are worked at once: 30,000 to 60,000 are fastest."""
STRETCH_H = 8766
"""Long records are worked by so many hours [h]."""
WEST_H, EAST_H = -12, 14
"""How far clocks are from UTC [h]."""
FILL = -1
"""Stands for unknown in flags; in files it is the fill value."""
USED, RAIN_UNKNOWN, IMPOSSIBLE, NO_WINTER, FAILED = range(5)
STATES = ("used", "rain unknown", "impossible values", "no usable winter", "failed")
"""Whether a site is used, and why not."""
Flags = NDArray[np.int8]
Integers = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Question:
    """What is asked of every site, the same for all blocks.

    Attributes
    ----------
    given : tuple of Given
        How arrays become columns.
    index : DatetimeIndex
        The hours, UTC.
    groups : tuple of (Setting, tuple of Material)
        Settings and labels that sites have, in each as many materials; the arrays of groups are
        numbers of these.
    names : tuple of str
        Limits judged in any group.
    stage : int or None
    forecast_from : Timestamp or None
        From here on frost is judged with a forecast's uncertainty.
    zones : tuple of str
        Time zones that sites have.
    access : Access
    need_h : int
        Whole hours of the job.
    """

    given: tuple[Given, ...]
    index: pd.DatetimeIndex
    groups: tuple[tuple[Setting, tuple[Material, ...]], ...]
    names: tuple[str, ...]
    stage: int | None = None
    forecast_from: pd.Timestamp | None = None
    zones: tuple[str, ...] = ()
    access: Access = Access()  # noqa: RUF009 - frozen
    need_h: int = 2

    @property
    def materials(self) -> int:
        """How many materials each site is asked about."""
        return len(self.groups[0][1])

    @property
    def reach_h(self) -> int:
        """How far the windows of the limits reach [h]."""
        hours = [
            limit.hours or 0
            for _, materials in self.groups for material in materials for limit in material.limits
        ]  # fmt: skip
        return max(AHEAD_H, *(int(np.ceil(each)) + 2 for each in hours))

    @property
    def forecast(self) -> NDArray[np.bool_] | None:
        """Hours that are forecast."""
        if self.forecast_from is None:
            return None
        return np.asarray(self.index >= self.forecast_from)

    def stretches(self) -> list[tuple[slice, slice]]:
        """Rows to look at, and the rows among them to keep."""
        count, reach = len(self.index), self.reach_h
        many = max(-(-count // STRETCH_H), 1)
        edges = [count * part // many for part in range(many + 1)]
        out = []
        for start, stop in pairwise(edges):
            seen = slice(max(start - reach, 0), min(stop + reach, count))
            out.append((seen, slice(start - seen.start, stop - seen.start)))
        return out

    @cached_property
    def local(self) -> tuple[Integers, Array]:
        """Local day since the epoch, and clock hour [h], of every hour in every zone."""
        days, clocks = [], []
        for zone in self.zones:
            here = self.index.tz_convert(zone)
            days.append(here.tz_localize(None).as_unit("s").asi8 // 86400)
            clocks.append((here.hour + here.minute / 60).to_numpy(dtype=float))
        return np.stack(days, axis=1), np.stack(clocks, axis=1)

    @cached_property
    def days(self) -> pd.DatetimeIndex:
        """Local days that the hours touch in any zone of the earth: the same for every block."""
        first = self.index[0] + pd.Timedelta(hours=WEST_H)
        last = self.index[-1] + pd.Timedelta(hours=EAST_H)
        return pd.date_range(
            first.tz_localize(None).normalize(), last.tz_localize(None).normalize(), name="day"
        )


@dataclass(frozen=True, eq=False)
class Sites:
    """Sites of a block, arrays [site]: where they are, and the numbers of their group and zone."""

    latitude: Array
    longitude: Array
    elevation: Array
    group: Integers
    zone: Integers

    def of(self, which: Integers | slice) -> Sites:
        """Some of them."""
        return Sites(*(each[which] for each in vars(self).values()))


@dataclass(frozen=True, eq=False)
class Part:
    """A few sites of one group, their whole time.

    Attributes
    ----------
    which : int array [site], or slice
        Where they stand in the block.
    sites : Sites
    columns : dict of str to array [hour, site]
        As `check_hourly` leaves them.
    refused : bool array [site]
        Sites whose values are impossible.
    """

    which: Integers | slice
    sites: Sites
    columns: dict[str, Array]
    refused: NDArray[np.bool_]

    def rain_unknown(self) -> NDArray[np.bool_]:
        """Sites with more unknown rain than a record may have."""
        unknown = np.isinf(rain_of(self.columns).hourly.high).mean(axis=0)
        return np.asarray(unknown > MOST_UNKNOWN)


def parts(question: Question, found: Mapping[str, NDArray[Any]], sites: Sites) -> Iterator[Part]:
    """Cut a block [hour, site] into parts that are worked at once."""
    seen = question.stretches()[0][0]
    many = max(CELLS // max(seen.stop - seen.start, 1), 1)
    for group in np.unique(sites.group):
        members = np.flatnonzero(sites.group == group)
        for start in range(0, len(members), many):
            those = members[start : start + many]
            first, last = int(those[0]), int(those[-1])
            # a view where it can be
            which = slice(first, last + 1) if last - first + 1 == len(those) else those
            columns = columns_of(question.given, {n: each[:, which] for n, each in found.items()})
            yield Part(which, sites.of(which), *mended(columns))


def scored(question: Question, part: Part) -> Iterator[tuple[slice, Conditions, list[Scores]]]:
    """Score a part, stretch by stretch: rows, the conditions around them, scores by material."""
    setting, materials = question.groups[int(part.sites.group[0])]
    pressure = np.array([pressure_at_kpa(float(each)) for each in part.sites.elevation])
    forecast = question.forecast
    middle = question.index + pd.Timedelta(minutes=30)
    for seen, kept in question.stretches():
        sites = part.sites
        conditions = Conditions(
            {name: values[seen] for name, values in part.columns.items()},
            sun_over(middle[seen], sites.latitude, sites.longitude, sites.elevation),
            setting,
            forecast=None if forecast is None else forecast[seen],
            pressure_kpa=pressure,
        )
        rows = slice(seen.start + kept.start, seen.start + kept.stop)
        yield (
            rows,
            conditions,
            [score_arrays(conditions, each, question.stage, rows=kept) for each in materials],
        )


def hours_of(
    question: Question, found: Mapping[str, NDArray[Any]], sites: Sites, limits: bool
) -> tuple[NDArray[Any], ...]:
    """Verdict, margin, what holds and state of a block; the margins of each limit if asked for.

    Parameters
    ----------
    question : Question
    found : mapping of str to array [hour, site]
        What the variables hold, by what of ours they give.
    sites : Sites
    limits : bool

    Returns
    -------
    verdict, margin, held : array [material, hour, site]
    state : array [site]
    limits : array [material, limit, hour, site]
        Only if asked for.
    """
    shape = (question.materials, len(question.index), len(sites.group))
    verdict, held = np.full(shape, FILL, dtype=np.int8), np.full(shape, FILL, dtype=np.int8)
    margin = np.full(shape, np.nan, dtype=np.float32)
    state = np.full(shape[-1], USED, dtype=np.int8)
    several = (shape[0], len(question.names) if limits else 0, *shape[1:])
    of_limits = np.full(several, np.nan, dtype=np.float32)
    for part in parts(question, found, sites):
        state[part.which] = np.where(part.refused, IMPOSSIBLE, USED)
        for rows, _, every in scored(question, part):
            for which, scores in enumerate(every):
                at = (rows, part.which)
                number = np.array([question.names.index(n) for n in scores.names], dtype=np.int8)
                unknown = (scores.verdict == UNKNOWN) | part.refused
                verdict[which][at] = np.where(unknown, FILL, scores.verdict)
                margin[which][at] = np.where(part.refused, np.nan, scores.margin)
                held[which][at] = np.where(part.refused, FILL, number[scores.held])
                for name, values in scores.margins.items() if limits else ():
                    one = of_limits[which, question.names.index(name)]
                    one[at] = np.where(part.refused, np.nan, values)
    return (verdict, margin, held, state, *((of_limits,) if limits else ()))


def mornings_of(
    question: Question, found: Mapping[str, NDArray[Any]], sites: Sites
) -> tuple[NDArray[Any], ...]:
    """Usable, margin, start, chance, chance of dry hours, state: what each local day offers.

    Parameters
    ----------
    question, found, sites
        As for `hours_of`.

    Returns
    -------
    usable, margin, start, chance, chance_dry : array [material, day, site]
    state : array [site]
    """
    first = (question.days[0] - pd.Timestamp(0)).days
    shape = (question.materials, len(question.days), len(sites.group))
    usable = np.full(shape, FILL, dtype=np.int8)
    numbers = [np.full(shape, np.nan, dtype=np.float32) for _ in range(4)]
    state = np.full(shape[-1], USED, dtype=np.int8)
    for part in parts(question, found, sites):
        missing = np.zeros_like(part.refused)
        if question.forecast_from is None:  # of a forecast the later days may lack their rain
            missing = part.rain_unknown()
        left_out = part.refused | missing
        state[part.which] = np.where(
            part.refused, IMPOSSIBLE, np.where(missing, RAIN_UNKNOWN, USED)
        )
        day, clock = question.local[0][:, part.sites.zone], question.local[1][:, part.sites.zone]
        for which, jobs in enumerate(_jobs(question, part, day, clock)):
            (column,) = jobs.columns
            cell = (jobs.day - first) * len(left_out) + column
            best, likely = jobs.best(cell), jobs.best(cell, by_verdict=False)
            # a day without a stretch to work is no usable one, and known as such
            own = np.full((shape[1], len(left_out)), FILL, dtype=np.int8)
            own[day - first, np.arange(len(left_out))] = 0
            own[jobs.day[best] - first, column[best]] = _USABLE[jobs.verdict[best]]
            usable[which][:, part.which] = np.where(left_out, FILL, own)
            go = jobs.verdict[best] == 0
            for out, values, chosen in zip(
                numbers,
                (
                    np.where(go, jobs.margin[best], np.nan),
                    np.where(go, clock[jobs.first[best], column[best]], np.nan),
                    jobs.chance[likely],
                    jobs.chance_dry[likely],
                ),
                (best, best, likely, likely),
                strict=True,
            ):
                of_days = np.full(own.shape, np.nan)
                of_days[jobs.day[chosen] - first, column[chosen]] = values
                out[which][:, part.which] = np.where(left_out, np.nan, of_days)
    return (usable, *numbers, state)


_USABLE = np.array([1, FILL, 0], dtype=np.int8)
"""By the verdict of a day's best stretch: go, unknown, no-go."""


def _jobs(question: Question, part: Part, day: Integers, clock: Array) -> Iterator[Stretches]:
    """Every job of a part, with its chances, one material after the other."""
    verdicts: list[list[Flags]] = [[] for _ in range(question.materials)]
    margins: list[list[Array]] = [[] for _ in range(question.materials)]
    lights = []
    for (_, conditions, every), (_, kept) in zip(
        scored(question, part), question.stretches(), strict=True
    ):
        lights.append(conditions.sun.hours_from_rise_or_set[kept] >= DAYLIGHT_H)
        for which, scores in enumerate(every):
            verdicts[which].append(scores.verdict)
            margins[which].append(scores.margin)
    # the first of 1970 was a Thursday
    may = workable(question.access, clock, (day + 3) % 7, np.concatenate(lights))
    if question.access.closed:
        closed = [(each - dt.date(1970, 1, 1)).days for each in question.access.closed]
        may &= ~np.isin(day, closed)
    for which, material in enumerate(question.groups[int(part.sites.group[0])][1]):
        jobs = Stretches.of(
            np.concatenate(verdicts[which]), np.concatenate(margins[which]), may, day,
            question.need_h,
        )  # fmt: skip
        if question.forecast_from is not None:  # one stretch: these are its conditions
            lead_h = (question.index - question.forecast_from) / pd.Timedelta(hours=1)
            lead = np.asarray(lead_h, dtype=float)
            jobs = jobs.weighed(jobs.odds(conditions, lead, question.stage), material)
        yield jobs

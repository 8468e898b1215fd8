"""Will the program fit, and when must it start: by past winters, with hindsight and as it comes.

Also how many days a program takes, and whether five weeks would hold it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.place import Place
from spraywindow.program import Nearness, Program, all_made, plan_many, program_states
from spraywindow.spray import DURATION_H, Access, Material, Setting
from spraywindow.trees import LastDay, Need
from spraywindow.weather import Array, check_hourly
from spraywindow.winters.as_it_comes import (
    KNOWN_MORNINGS,
    as_it_comes,
    follow,
    rounds_as_it_comes,
    rounds_of,
)
from spraywindow.winters.block import midnight
from spraywindow.winters.copper import copper_left
from spraywindow.winters.easing import Ease, LimitCost, dry_spells, earlier_dew_off, limit_costs
from spraywindow.winters.leaf_curl import CurlCover, curl_cover
from spraywindow.winters.past import PastWinters, past_season, within
from spraywindow.winters.share import Share, mean_known

FEWEST_FOR_START = 10
"""A latest start is given from so many winters on."""
WEEK_D = 7


@dataclass(frozen=True)
class BothWays:
    """One winter with hindsight, and as it comes; None for a winter left out."""

    hindsight: int | None = None
    as_it_comes: int | None = None


@dataclass(frozen=True)
class WinterRow:
    """One winter of the record; usable mornings by material, rounds made, all of them or not."""

    winter: str
    usable: bool
    why_not: str | None
    usable_mornings: Mapping[str, int | None]
    rounds: BothWays
    finished: BothWays


@dataclass(frozen=True)
class StartShare:
    """Share of the winters that finish when nothing is done before `start`."""

    start: dt.date
    share: float


@dataclass(frozen=True)
class WeekMornings:
    """Usable mornings of the week from `start`, by material, mean of the winters."""

    start: dt.date
    usable_mornings: Mapping[str, float]


@dataclass(frozen=True, eq=False)
class SeasonOutlook:
    """The feasibility report for one group of trees.

    Attributes
    ----------
    season : PastWinters
        The winters behind it.
    last : date
        Middle of the past winters' last usable days, in the season at hand, of the material that
        may be used the longest.
    ends : mapping of str to LastDay
        Last usable day of each material.
    owed : int
        Rounds wanted and not done, within all maxima.
    usable : array [material, winter]
        Mornings from day 0 to the material's last day that the evening before would call usable.
    weekly : array [week, material, winter]
        The same per week; NaN once a winter's season is over.
    rounds_hindsight, rounds_coming : array [winter]
        Rounds made with hindsight, and as it comes.
    made_hindsight, made_coming : bool array [winter]
        Whether these are all that the maxima allow.
    finish_hindsight, finish_coming : Share
        Share of winters in which all rounds fit.
    bounds : (float, float)
        `finish_coming` with all winters of missing rain failed, and with all of them finished.
    start_shares : array [day]
        Share (as it comes) that finishes when nothing is done before that day, over the error of
        the flowering model.
    latest_start : mapping of int to date or None
        Per cent of winters to the latest start from which, and from every earlier one, so many
        finish; None where there is none or the winters are too few.
    short : mapping of str to float
        Rounds that fall short per winter, as it comes, by material.
    limits : tuple of LimitCost
        Usable mornings per winter gained without that limit, the costliest first.
    dry_spells, eased : tuple of Ease
    curl : CurlCover or None
        What the copper rounds would have covered; None for a program without copper.
    spliced : bool
        Whether one forecast stands in front of every winter.
    """

    season: PastWinters
    last: dt.date
    ends: Mapping[str, LastDay]
    owed: int
    usable: Array
    weekly: Array
    rounds_hindsight: NDArray[np.int64]
    rounds_coming: NDArray[np.int64]
    made_hindsight: NDArray[np.bool_]
    made_coming: NDArray[np.bool_]
    finish_hindsight: Share
    finish_coming: Share
    bounds: tuple[float, float]
    start_shares: Array
    latest_start: Mapping[int, dt.date | None]
    short: Mapping[str, float]
    limits: tuple[LimitCost, ...]
    dry_spells: tuple[Ease, ...]
    eased: tuple[Ease, ...]
    curl: CurlCover | None
    spliced: bool

    @property
    def winters(self) -> tuple[WinterRow, ...]:
        """Every winter of the record in order, those left out as well."""
        names = [material.name for material in self.season.materials]
        rows = [
            WinterRow(
                label, True, None,
                dict(zip(names, map(int, self.usable[:, column]), strict=True)),
                BothWays(int(self.rounds_hindsight[column]), int(self.rounds_coming[column])),
                BothWays(bool(self.made_hindsight[column]), bool(self.made_coming[column])),
            )
            for column, label in enumerate(self.season.labels)
        ]  # fmt: skip
        rows += [
            WinterRow(label, False, why, dict.fromkeys(names), BothWays(), BothWays())
            for label, why in self.season.left_out.items()
        ]
        return tuple(sorted(rows, key=lambda row: row.winter))

    @property
    def starts(self) -> tuple[StartShare, ...]:
        """`start_shares` with their days."""
        return tuple(
            StartShare(self.season.first + dt.timedelta(days=day), float(share))
            for day, share in enumerate(self.start_shares)
        )

    @property
    def weeks(self) -> tuple[WeekMornings, ...]:
        """Means of `weekly`."""
        names = [material.name for material in self.season.materials]
        return tuple(
            WeekMornings(
                self.season.first + dt.timedelta(days=WEEK_D * week),
                dict(zip(names, map(mean_known, row), strict=True)),
            )
            for week, row in enumerate(self.weekly)
        )


def season_outlook(
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
    known_mornings: int = KNOWN_MORNINGS,
) -> SeasonOutlook:
    """Report whether a program fits the season from a day on, by past winters.

    Parameters
    ----------
    weather, place, program, materials, first, need, setting, access, duration_h, forecast
        As for `spraywindow.winters.past.past_season`.
    known_mornings : int
        How many mornings, tomorrow first, an evening's forecast answers.

    Returns
    -------
    SeasonOutlook

    Raises
    ------
    InputError
        If the record holds no past winter, or the program is too large.
    """
    season = past_season(
        weather, place, program, materials, first=first, need=need, setting=setting,
        access=access, duration_h=duration_h, forecast=forecast,
    )  # fmt: skip
    winters, days = len(season.labels), len(season.chances)
    states = program_states(program, days, max(winters, 1))
    owed = np.array(program.visits_allowed)
    rules = (season.ending.actual, season.ending.forecast, states, known_mornings)

    coming = as_it_comes(season.foreseen, *rules, near=season.near)
    visits, made = follow(coming, np.arange(days))
    finished = all_made(program, made)

    def finish(chances: Array) -> Share:
        if chances is season.foreseen:
            return Share.of(finished[0])
        eased = rounds_as_it_comes(chances, *rules, near=season.near)
        return Share.of(all_made(program, eased))

    hindsight = plan_many(within(season.chances, season.ending.actual), program).rounds
    made_hindsight = all_made(program, hindsight)
    hits, unsure = int(finished[0].sum()), len(season.rain_missing)
    every = winters + unsure
    shares = np.full(days, np.nan)
    if winters:
        # the flowers may open sooner or later than the model has them: half and half, a standard
        # error to either side, and nobody knows beforehand
        off = season.ending.error_days
        shifted = [
            as_it_comes(season.foreseen, rules[0] + error, *rules[1:], near=season.near)
            for error in (-off, off)
        ]
        done = [all_made(program, follow(each, np.arange(days))[1]) for each in shifted]
        shares = np.mean(done, axis=(0, 2))
    ends = dict(zip(program.materials, season.ending.last_days(first), strict=True))
    ends_at = season.ending.quantiles[1].max()
    last = min(ends_at, days - 1) if winters and np.isfinite(ends_at) else 0
    return SeasonOutlook(
        season=season,
        last=first + dt.timedelta(days=int(np.floor(last + 0.5))),
        ends=ends,
        owed=int(owed.sum()),
        usable=season.usable.sum(axis=0),
        weekly=_weekly(season),
        rounds_hindsight=hindsight.sum(axis=0),
        rounds_coming=made[:, 0].sum(axis=0),
        made_hindsight=made_hindsight,
        made_coming=finished[0],
        finish_hindsight=Share.of(made_hindsight),
        finish_coming=Share.of(finished[0]),
        bounds=(hits / every, (hits + unsure) / every) if every else (np.nan, np.nan),
        start_shares=shares,
        latest_start={
            per_cent: _latest(shares, first, per_cent / 100)
            if winters >= FEWEST_FOR_START
            else None
            for per_cent in (80, 90)
        },
        short={
            material.name: float(np.maximum(owed[n] - made[n, 0], 0).mean()) if winters else np.nan
            for n, material in enumerate(season.materials)
        },
        limits=limit_costs(season),
        dry_spells=dry_spells(season, finish),
        eased=(earlier_dew_off(season, finish),),
        curl=_curl(season, program, place, rounds_of(states, visits[:, 0]), (weather, forecast)),
        spliced=forecast is not None,
    )


def _curl(
    season: PastWinters,
    program: Program,
    place: Place,
    made: NDArray[np.bool_],
    tables: Sequence[pd.DataFrame | None],
) -> CurlCover | None:
    """Cover of the first copper; the tables tell of the winter at hand."""
    for which, entry in enumerate(program.entries):
        if season.materials[which].copper and season.labels:
            since = midnight(season.first, place) - pd.Timedelta(days=366)
            known = [
                check_hourly(table[table.index >= since])
                for table in tables
                if table is not None and entry.days_done and (table.index >= since).any()
            ]
            return curl_cover(
                season, which, made[:, which], least_days=entry.least_days,
                left=copper_left(entry, season.first, place, known),
            )  # fmt: skip
    return None


def _latest(shares: Array, first: dt.date, wanted: float) -> dt.date | None:
    """Latest first day from which, and from every earlier one, that share finishes."""
    enough = shares >= wanted - 1e-12
    if not enough[0]:
        return None
    last = len(enough) - 1 if enough.all() else int(np.argmin(enough)) - 1
    return first + dt.timedelta(days=last)


def _weekly(season: PastWinters) -> Array:
    """Usable mornings per week, [week, material, winter]; NaN beyond a winter's end."""
    usable = season.usable
    weeks = -(-len(usable) // WEEK_D)
    padded = np.zeros((weeks * WEEK_D, *usable.shape[1:]))
    padded[: len(usable)] = usable
    begins = np.arange(weeks)[:, None, None] * WEEK_D
    per_week = padded.reshape(weeks, WEEK_D, *usable.shape[1:]).sum(axis=1)
    return np.where(begins <= season.ending.actual, per_week, np.nan)


FIVE_WEEKS_D = 35
"""All that eight rounds are said to get in a mild winter [days]; P."""


@dataclass(frozen=True)
class Span:
    """Days that the rounds owed take as it comes.

    Attributes
    ----------
    median_days : float
        From the first round to the last, both counted: middle of the winters that finish; NaN
        without one.
    finished : int
        Those winters.
    in_five_weeks : Share
        Winters in which all rounds fit within `FIVE_WEEKS_D` of day 0.
    """

    median_days: float
    finished: int
    in_five_weeks: Share


def span_days(made: NDArray[np.bool_]) -> Array:
    """Days from the first round to the last, both counted, per winter; NaN without a round.

    `made` is [day, material, winter].
    """
    worked = np.asarray(made.any(axis=1))
    first, behind = worked.argmax(axis=0), worked[::-1].argmax(axis=0)
    return np.where(worked.any(axis=0), len(worked) - behind - first, np.nan)


def program_span(season: PastWinters, program: Program) -> Span:
    """Follow a program through the winters of a season, as it comes, and in five weeks of it."""

    def made(days: int, near: Nearness | None) -> NDArray[np.bool_]:
        chances = season.foreseen[:days]
        states = program_states(program, len(chances), max(len(season.labels), 1))
        last = np.minimum(season.ending.actual, days - 1.0)
        coming = as_it_comes(
            chances, last, season.ending.forecast[:days], states, KNOWN_MORNINGS, near=near
        )
        return rounds_of(states, follow(coming, np.zeros(1, dtype=np.int64))[0][:, 0])

    every = made(len(season.foreseen), season.near)
    done = all_made(program, every.sum(axis=0))
    spans = span_days(every)[done]
    # who has but five weeks waits for no better stage
    short = all_made(program, made(FIVE_WEEKS_D, None).sum(axis=0))
    return Span(
        float(np.median(spans)) if spans.size else float("nan"),
        int(done.sum()),
        Share.of(short),
    )

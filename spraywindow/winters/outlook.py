"""Will the program fit, and when must it start: by past winters, with hindsight and as it comes.

Also how many days a program takes, and whether five weeks would hold it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.place import Place
from spraywindow.program import Program, Terms, all_made, plan_many
from spraywindow.spray import DURATION_H, Access, Material, Setting
from spraywindow.trees import LastDay, Need
from spraywindow.weather import Array, check_hourly
from spraywindow.winters.block import HourBlock, midnight
from spraywindow.winters.copper import copper_left
from spraywindow.winters.easing import (
    Ease,
    LimitCost,
    dry_spells,
    earlier_dew_off,
    limit_costs,
    other_spells,
    sooner_dry,
)
from spraywindow.winters.evenings import (
    Seen,
    advised,
    decided,
    mornings_told,
    rounds_of,
)
from spraywindow.winters.leaf_curl import MOST_ROUNDS, CurlCover, curl_cover
from spraywindow.winters.other_rules import most_effective, outcomes_after, washed_off
from spraywindow.winters.past import PastWinters, past_season, within
from spraywindow.winters.replays import WEEK_D, ErrorModel
from spraywindow.winters.share import Share, mean_known
from spraywindow.winters.what_if import Change, Course, Way, WhatIf, course, seen_ways, what_if

FEWEST_FOR_START = 10
"""A latest start is given from so many winters on."""


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
    effective: BothWays
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
        Rounds made with hindsight, and as it comes: each evening's advice, what was washed off
        not counted.
    made_hindsight, made_coming : bool array [winter]
        Whether these are all that the maxima allow.
    finish_hindsight, finish_coming : Share
        Share of winters in which all rounds fit: none of them washed off.
    finish_hindsight_effective, finish_coming_effective : Share
        Share of winters in which the wanted dry hours followed all of them.
    effective_hindsight, effective_coming : array [winter]
        Rounds that they surely followed: the most that hindsight makes, and as it comes.
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
    what_if : tuple of WhatIf
        What each change gives that was asked for, and then tried.
    curl : CurlCover or None
        What the copper rounds would have covered; None for a program without copper.
    seen : Seen
        What the evenings saw, by forecasts with errors of the usual size.
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
    finish_hindsight_effective: Share
    finish_coming_effective: Share
    effective_hindsight: NDArray[np.int64]
    effective_coming: NDArray[np.int64]
    bounds: tuple[float, float]
    start_shares: Array
    latest_start: Mapping[int, dt.date | None]
    short: Mapping[str, float]
    limits: tuple[LimitCost, ...]
    dry_spells: tuple[Ease, ...]
    eased: tuple[Ease, ...]
    what_if: tuple[WhatIf, ...]
    curl: CurlCover | None
    seen: Seen
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
                BothWays(int(self.effective_hindsight[column]), int(self.effective_coming[column])),
                BothWays(bool(self.made_hindsight[column]), bool(self.made_coming[column])),
            )
            for column, label in enumerate(self.season.labels)
        ]  # fmt: skip
        rows += [
            WinterRow(label, False, why, dict.fromkeys(names), BothWays(), BothWays(), BothWays())
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


@dataclass(frozen=True, eq=False)
class Policy:
    """What each evening's advice makes of past winters.

    Attributes
    ----------
    made : int array [material, start, winter]
        Rounds that hold, when nothing is done before the day `start`.
    finished : bool array [start, winter]
        Whether these are all that the maxima allow.
    rounds : bool array [day, material, winter]
        Of day 0 as start: when they are made, those that are washed off as well.
    start_shares : array [start]
        Share of the winters that finish, over the error of the flowering model; NaN without one.
    """

    made: NDArray[np.int64]
    finished: NDArray[np.bool_]
    rounds: NDArray[np.bool_]
    start_shares: Array

    @classmethod
    def of(cls, season: PastWinters, program: Program, seen: Seen) -> Policy:
        """Follow each evening's advice through the winters; `seen` is what the evenings saw."""
        terms = Terms.usual(program, season.materials)
        starts = np.arange(len(season.chances))
        coming = decided(season, program, seen.chances, terms)
        lost = washed_off(season, seen.starts)
        visits, made = coming.follow(starts, lost)
        shares = np.full(len(starts), np.nan)
        if season.labels:
            # the flowers may open sooner or later than the model has them: half and half, a
            # standard error to either side, and nobody knows beforehand
            off = season.ending.error_days
            done = [
                all_made(
                    program,
                    decided(season, program, seen.chances, terms, ends_later_d=error).follow(
                        starts, lost
                    )[1],
                )
                for error in (-off, off)
            ]
            shares = np.mean(done, axis=(0, 2))
        return cls(
            made, all_made(program, made), rounds_of(coming.moves.states, visits[:, 0]), shares
        )

    def latest_start(self, first: dt.date) -> dict[int, dt.date | None]:
        """By per cent of the winters that finish; None where too few winters tell, or none does."""
        enough = self.finished.shape[-1] >= FEWEST_FOR_START
        return {
            per_cent: _latest(self.start_shares, first, per_cent / 100) if enough else None
            for per_cent in (80, 90)
        }


def season_policy(
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
) -> tuple[PastWinters, Policy]:
    """The winters and the policy of `season_outlook` alone: a third of its work.

    Parameters and errors as there.
    """
    season = past_season(
        weather, place, program, materials, first=first, need=need, setting=setting,
        access=access, duration_h=duration_h,
    )  # fmt: skip
    model = ErrorModel.of_a_week(season.materials)
    mornings = mornings_told(model, season.materials)
    (seen,) = seen_ways(
        season, check_hourly(weather), place, model, mornings, [Way.of(season)], None
    )
    return season, Policy.of(season, program, seen)


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
    asked: Sequence[Change] = (),
    tried: Sequence[Change] = (),
) -> SeasonOutlook:
    """Report whether a program fits the season from a day on, by past winters.

    Parameters
    ----------
    weather, place, program, materials, first, need, setting, access, duration_h, forecast
        As for `spraywindow.winters.past.past_season`.
    asked, tried : sequence of Change
        What to try: asked for by somebody, or not.

    Returns
    -------
    SeasonOutlook
        What comes acts on each evening's advice, by a week's forecast with errors of the usual
        size.

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
    owed = np.array(program.visits_allowed)
    table = check_hourly(weather)
    in_front = None if forecast is None else check_hourly(forecast)
    model = ErrorModel.of_a_week(season.materials)
    mornings = mornings_told(model, season.materials)
    # all that is tried at once: what an evening knew is shared
    own, changes = Way.of(season), [*asked, *tried]
    eased = [replace(own, materials=tuple(changed)) for changed in other_spells(season).values()]
    ways = [own, *eased, replace(own, setting=sooner_dry(own.setting))]
    ways += [change.way for change in changes]
    every = seen_ways(season, table, place, model, mornings, ways, in_front)
    seen = every[0]
    policy = Policy.of(season, program, seen)
    made, finished, rounds = policy.made, policy.finished, policy.rounds
    came = outcomes_after(season, rounds, np.where(rounds, seen.starts, -1))

    def finish(materials: Sequence[Material], block: HourBlock) -> Share:
        way = replace(own, materials=tuple(materials), setting=block.conditions.setting)
        told = every[ways.index(way)]
        return Share.of(all_made(program, standing(season, program, told, materials)))

    as_it_is = Course(program, made[:, 0], came.effective.sum(axis=0))
    hindsight = plan_many(within(season.chances, season.ending.actual), program).rounds
    made_hindsight = all_made(program, hindsight)
    effective = most_effective(season, program)[0].sum(axis=0)
    hits, unsure = int(finished[0].sum()), len(season.rain_missing)
    counted = winters + unsure
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
        finish_coming=as_it_is.finish,
        finish_hindsight_effective=Share.of(all_made(program, effective)),
        finish_coming_effective=as_it_is.finish_effective,
        effective_hindsight=effective.sum(axis=0),
        effective_coming=came.effective.sum(axis=(0, 1)),
        bounds=(hits / counted, (hits + unsure) / counted) if counted else (np.nan, np.nan),
        start_shares=policy.start_shares,
        latest_start=policy.latest_start(first),
        short={
            material.name: float(np.maximum(owed[n] - made[n, 0], 0).mean()) if winters else np.nan
            for n, material in enumerate(season.materials)
        },
        limits=limit_costs(season),
        dry_spells=dry_spells(season, finish),
        eased=(earlier_dew_off(season, finish),),
        what_if=tuple(
            what_if(
                change,
                course(season, change.program, told, change.way.materials),
                as_it_is,
                asked=change in asked,
            )
            for change, told in zip(changes, every[len(ways) - len(changes) :], strict=True)
        ),
        curl=_curl(season, program, place, seen, rounds, (weather, forecast)),
        seen=seen,
        spliced=forecast is not None,
    )


def _curl(
    season: PastWinters,
    program: Program,
    place: Place,
    seen: Seen,
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
            by_rounds = []
            for more in range(1, MOST_ROUNDS + 1):
                fewer = program.with_rounds(entry.material, int(np.ceil(entry.rounds_done)) + more)
                terms = Terms.usual(fewer, season.materials)
                found, _ = advised(season, fewer, seen.chances, seen.starts, terms)
                by_rounds.append(found[:, which])
            return curl_cover(
                season, which, made[:, which], by_rounds, seen.starts[:, which],
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


def program_span(season: PastWinters, program: Program, seen: Seen) -> Span:
    """Follow each evening's advice through the winters of a season, and through five weeks of it.

    `seen` is what the evenings saw.
    """
    terms = Terms.usual(program, season.materials)
    made, start = advised(season, program, seen.chances, seen.starts, terms)
    done = all_made(program, (made & ~washed_off(season, start)).sum(axis=0))
    spans = span_days(made)[done]
    short = season.shortened(FIVE_WEEKS_D)
    return Span(
        float(np.median(spans)) if spans.size else float("nan"),
        int(done.sum()),
        Share.of(all_made(program, standing(short, program, seen, season.materials))),
    )


def standing(
    season: PastWinters, program: Program, seen: Seen, materials: Sequence[Material]
) -> NDArray[np.int64]:
    """Rounds that need not be made again by the end, as the evenings advise: [material, winter]."""
    days = len(season.chances)
    terms = Terms.usual(program, materials)
    lost = washed_off(season, seen.starts[:days])
    return decided(season, program, seen.chances[:days], terms).follow([0], lost)[1][:, 0]

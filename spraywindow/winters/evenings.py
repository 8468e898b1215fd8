"""What each evening of each past winter saw of the mornings ahead, and what acting on it makes.

The evening is an array axis. What a replay says of a morning is as right as the other winters'
evenings of the same replay bear out: its forecasts are not those that the general chances were
fitted to, and a chance is a chance only where it comes true so often.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError
from spraywindow.place import Place
from spraywindow.program import (
    Beyond,
    Decided,
    Program,
    ProgramStates,
    Terms,
    decide_evenings,
    program_moves,
)
from spraywindow.spray import Access, Conditions, Material, Setting, Stretches, log_odds
from spraywindow.weather import MEASURABLE_MM, Array, Sun
from spraywindow.winters.block import HourBlock, score_block, winter_block
from spraywindow.winters.other_rules import HABIT_H, dry_after, washed_off
from spraywindow.winters.past import PastWinters
from spraywindow.winters.replays import ErrorModel, ForecastReplay
from spraywindow.winters.share import chance_by_others

EVENING_H = 18
"""Local clock hour at which the next day is decided; P."""
HISTORY_H, AHEAD_H = 132, 96
"""Hours before tomorrow's midnight (the water store has met by then) and after the mornings, at
least; a limit that looks further gets more."""
USUAL_REACH_H = 72
DRY_H = (24, 48)
"""Hours from late morning on without measurable rain: the second for a front that comes early."""
FEWEST_WINTERS = 5
"""Winters from which on the others bear a chance out; P."""


@dataclass(frozen=True)
class Job:
    """What the evenings look for: a material, when it may be worked, the whole hours it takes.

    At another setting than the season's where there is one.
    """

    material: Material
    access: Access
    need_h: int
    setting: Setting | None = None


@dataclass(frozen=True, eq=False)
class Seen:
    """What the evenings saw: of each morning ahead its best stretch, as `slots_and_days` picks it.

    Attributes
    ----------
    margin : array [day, morning, material, winter]
        Its margin where it is go, on the mornings ahead of the evening before each day; else NaN.
    start : int array [day, morning, material, winter]
        Row in the season's block at which it begins, on a morning without a go stretch its
        likeliest one; -1 without any.
    chance, chance_dry : array [day, morning, material, winter]
        That this stretch holds, and that the dry hours wanted follow too; NaN where nothing earns
        a figure.
    dry : int array [day, morning, material, winter]
        How many of `DRY_H` from late morning on the forecast has dry.
    known : bool array [day, morning, material, winter]
        Whether the forecast told go or no-go.
    earned : array [day, morning, material, winter]
        Chance that it is offered on its own evening and the dry hours wanted follow, as the other
        winters of the replay bear out; NaN where they do not.
    """

    margin: Array
    start: NDArray[np.int64]
    chance: Array
    chance_dry: Array
    dry: NDArray[np.int64]
    known: NDArray[np.bool_]
    earned: Array

    @classmethod
    def nothing(cls, *shape: int) -> Seen:
        """Of evenings that saw no morning."""
        margin, chance, dry, earned = np.full((4, *shape), np.nan)
        none = np.full(shape, -1, dtype=np.int64)
        return cls(margin, none, chance, dry, none + 1, np.zeros(shape, dtype=bool), earned)

    def of_jobs(self, numbers: Sequence[int]) -> Seen:
        """The same of some of the jobs, in this order."""
        return Seen(**{name: part[:, :, list(numbers)] for name, part in vars(self).items()})

    @property
    def offered(self) -> NDArray[np.bool_]:
        """Where somebody would be sent tomorrow, [day, material, winter]: it is go."""
        return np.isfinite(self.margin[:, 0])

    @property
    def chances(self) -> Array:
        """`earned`, else `chance_dry`; of tomorrow only where it is offered."""
        return self._tomorrow_offered(np.where(np.isnan(self.earned), self.chance_dry, self.earned))

    @property
    def general_chances(self) -> Array:
        """`chance_dry`, of tomorrow only where it is offered."""
        return self._tomorrow_offered(self.chance_dry)

    def _tomorrow_offered(self, chances: Array) -> Array:
        tomorrow = np.where(self.offered, chances[:, 0], np.nan)
        return np.concatenate([tomorrow[:, None], chances[:, 1:]], axis=1)

    @property
    def starts(self) -> NDArray[np.int64]:
        """Row of the block at which tomorrow's round would begin, -1 where none is offered."""
        return np.where(self.offered, self.start[:, 0], -1)


def seen_mornings(
    season: PastWinters,
    weather: pd.DataFrame,
    place: Place,
    replays: Sequence[ForecastReplay],
    mornings: int,
    *,
    jobs: Sequence[Job] | None = None,
    forecast: pd.DataFrame | None = None,
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
    jobs : sequence of Job, optional
        Other than the season's, one a material; they stand in the place of the materials. What
        they have in common is scored once.
    forecast : DataFrame, optional
        Checked hourly table that stands in front of every winter: what comes of its hours is
        what it says.
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
    days, _, winters = season.chances.shape
    if jobs is None:
        jobs = [Job(material, season.access, season.need_h) for material in season.materials]
    own, materials = season.block.conditions.setting, [job.material for job in jobs]
    asked = {
        setting: {which: job for which, job in enumerate(jobs) if (job.setting or own) == setting}
        for setting in dict.fromkeys(job.setting or own for job in jobs)
    }
    seen = [Seen.nothing(days, mornings, len(jobs), winters) for _ in replays]
    for column, number in enumerate(season.used):
        strip = winter_block(
            weather, place, own, [season.block.starts[number]],
            _evening_count(season, column) + mornings,
            forecast=None if forecast is None else (season.first, forecast),
            **_margins_h(materials),
        )  # fmt: skip
        truth = _evenings(strip, mornings)
        evenings = len(truth.starts)
        for replay, each in zip(replays, seen, strict=True):
            known = _known(truth, replay)
            for setting, its_jobs in asked.items():
                conditions = known.conditions.with_setting(setting)
                there = replace(known, conditions=conditions)
                for which, one in _each(season, there, its_jobs, number):
                    for name, part in vars(one).items():
                        getattr(each, name)[:evenings, :, which, column] = part
        if progress is not None:
            progress(column + 1, winters)
    if winters < FEWEST_WINTERS or mornings == 1:
        return seen
    return [replace(each, earned=_earned(season, each, materials)) for each in seen]


def _earned(season: PastWinters, seen: Seen, materials: Sequence[Material]) -> Array:
    """How likely a round on each morning is, as the other winters bear out: `Seen.earned`.

    By the chance said, whether the morning is go, and how long it stays dry by the forecast.
    """
    said, go, begins = seen.general_chances, np.isfinite(seen.margin), seen.starts
    out, days = np.full_like(said, np.nan), len(said)
    column, used = np.arange(said.shape[3]), list(season.used)
    for which, material in enumerate(materials):
        rows = np.maximum(begins[:, which], 0)
        surely, perhaps = (each[:, used][rows, column] for each in dry_after(season, material))
        offered = begins[:, which] >= 0
        came = np.where(offered & perhaps & ~surely, np.nan, offered & surely)
        for morning in range(said.shape[1]):
            chance, dry = said[:, morning, which], seen.dry[:, morning, which]
            odds = log_odds(np.where(np.isnan(chance), 0.5, chance))
            kept = (dry > number for number in range(len(DRY_H)))
            terms = np.stack([np.ones_like(odds), odds, go[:, morning, which], *kept], axis=-1)
            terms[np.isnan(chance)] = np.nan
            then = np.full_like(came, np.nan)
            then[: days - morning] = came[morning:]
            out[:, morning, which] = chance_by_others(terms, then)
    return out


def winters_beyond(
    season: PastWinters,
    weather: pd.DataFrame,
    place: Place,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> Beyond:
    """What past winters offer: of each evening the chance of its go morning, with usual errors.

    Parameters
    ----------
    season : PastWinters
        From the first day that is to be decided on.
    weather : DataFrame
        The checked record behind it.
    place : Place
    progress : callable, optional
        Told after each winter how many are done, and of how many.
    """
    (seen,) = seen_mornings(season, weather, place, [ErrorModel()], 1, progress=progress)
    days = np.arange(len(season.chances))[:, None, None]
    may = np.isfinite(seen.margin[:, 0]) & season.free[..., None] & (days <= season.ending.actual)
    chance = np.where(may, seen.chance_dry[:, 0], np.nan)
    return Beyond(season.first, chance, season.near.actual, len(season.labels))


def _each(
    season: PastWinters,
    evening: HourBlock,
    jobs: Mapping[int, Job],
    number: int,
) -> Iterator[tuple[int, Seen]]:
    """What one winter's evenings saw for each job, arrays [day, morning]."""
    inside = np.flatnonzero(((evening.day >= 0) & (evening.day < evening.days)).any(axis=1))
    rows = slice(int(inside[0]), int(inside[-1]) + 1)
    mornings = evening.cut(rows)
    told = (mornings.day >= 0) & (mornings.day < evening.days)
    lead = _lead(evening)
    late = lead.searchsorted(24 - EVENING_H + HABIT_H + 24 * np.arange(evening.days))
    rain = evening.conditions.rain
    dry = np.sum([(rain.ahead(hours).high[late] < MEASURABLE_MM).T for hours in DRY_H], axis=0)
    judged: list[Material] = []
    for job in jobs.values():
        judged += [job.material] if job.material not in judged else []
    scores = [score_block(evening, material, rows) for material in judged]
    for need in sorted({job.need_h for job in jobs.values()}):
        its = {which: job for which, job in jobs.items() if job.need_h == need}
        may = {
            access: mornings.workable(access) & told
            for access in dict.fromkeys(job.access for job in its.values())
        }
        # a stretch is weighed once, whoever may work in it and with whatever
        anybody, odds = np.logical_or.reduce(list(may.values())), None
        for material, scored in zip(judged, scores, strict=True):
            ours = [which for which, job in its.items() if job.material == material]
            if not ours:
                continue
            found = Stretches.of(scored.verdict, scored.margin, anybody, mornings.day, need)
            odds = odds or found.odds(
                evening.conditions, lead[rows].astype(float), first_row=rows.start
            )
            found = found.weighed(odds, material)
            for which in ours:
                own = found.within(may[its[which].access]) if len(may) > 1 else found
                best = _best_of(own, mornings, season.block.epoch_h[number], evening.days)
                yield which, replace(best, dry=dry)


def _best_of(found: Stretches, mornings: HourBlock, epoch_h: int, days: int) -> Seen:
    """The best stretch of each morning; rows are those of the season's block."""
    (day,) = found.columns
    morning = day * days + found.day
    best, likeliest = found.best(morning), found.best(morning, by_verdict=False)
    likely = np.where(found.verdict[best] == 0, best, likeliest)
    at = day[best], found.day[best]
    seen = Seen.nothing(mornings.day.shape[1], days)
    seen.margin[at] = np.where(found.verdict[best] == 0, found.margin[best], np.nan)
    seen.start[at] = found.first[likely] + mornings.epoch_h[day[likely]] - epoch_h
    seen.chance[at], seen.chance_dry[at] = found.chance[likely], found.chance_dry[likely]
    seen.known[at] = found.verdict[best] != 1
    return seen


def _lead(evening: HourBlock) -> NDArray[np.int64]:
    """Hours from the evening on, of each row."""
    midnight = int(np.argmax(evening.day[:, 0] >= 0))
    return np.arange(len(evening.day)) - midnight + (24 - EVENING_H)


def _margins_h(materials: Sequence[Material]) -> dict[str, int]:
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
    return {"history_h": HISTORY_H + more, "ahead_h": AHEAD_H + more}


def _evening_count(season: PastWinters, column: int) -> int:
    """Evenings of a winter but those after which nothing more is sprayed, forecast or not."""
    days = np.arange(len(season.chances))
    goes_on = (season.ending.forecast[..., column].max(axis=1) >= days) | (
        season.ending.actual[:, column].max() >= days
    )
    return int(np.flatnonzero(goes_on)[-1]) + 1 if goes_on.any() else 1


def _evenings(strip: HourBlock, mornings: int) -> HourBlock:
    """One winter's evenings side by side, with the weather as it turned out."""
    evenings, first = strip.days - mornings, strip.starts[0]
    day = strip.day[:, 0]
    before_h = int(np.searchsorted(day, 0))
    after_h = len(day) - int(np.searchsorted(day, strip.days))
    midnights = np.searchsorted(day, np.arange(evenings))
    rows = np.arange(before_h + 24 * mornings + after_h)[:, None] + midnights - before_h
    old = strip.conditions
    conditions = Conditions(
        # the errors of a replay are of the amounts; a chance told in front tells of nothing else
        {name: values[rows, 0] for name, values in old.columns.items() if name != "rain_chance"},
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
    return replace(truth, conditions=conditions.keeping())


def mornings_told(replay: ForecastReplay, materials: Sequence[Material]) -> int:
    """How many mornings, tomorrow first, a forecast tells with the dry spell after each."""
    longest = max(material.dry_spell_h for material in materials)
    mornings = replay.days - int(np.ceil(longest / 24.0))
    if mornings < 1:
        raise InputError(
            f"a forecast of {replay.days} days never tells {longest:g} rain-free hours "
            "after tomorrow's job",
            expected=f"at least {replay.days + 1 - mornings} days",
        )
    return mornings


def by_advice(
    season: PastWinters,
    weather: pd.DataFrame,
    place: Place,
    program: Program,
    served: Sequence[float] = (1.0,),
) -> tuple[list[Decided], NDArray[np.bool_]]:
    """What each evening of past winters decides, by a week's forecast with errors of usual size.

    Parameters
    ----------
    season : PastWinters
    weather : DataFrame
        The checked record behind it.
    place, program
        The site's.
    served : sequence of float
        Shares of the mornings on which the crew is free for the site.

    Returns
    -------
    decided : list of Decided
        One a share.
    lost : bool array [day, material, winter]
        Where a round made as advised is washed off and owed again.
    """
    model = ErrorModel.of_a_week(season.materials)
    mornings = mornings_told(model, season.materials)
    (seen,) = seen_mornings(season, weather, place, [model], mornings)
    found = [
        decided(season, program, seen.chances,
                Terms.usual(program, season.materials, served=share))
        for share in served
    ]  # fmt: skip
    return found, washed_off(season, seen.starts)


def decided(
    season: PastWinters,
    program: Program,
    chances: Array,
    terms: Terms,
    *,
    ends_later_d: float = 0.0,
) -> Decided:
    """What each evening of every winter decides.

    Parameters
    ----------
    season : PastWinters
    program : Program
    chances : array [day, morning, material, winter]
        Chance that a round holds on each of the mornings that the evening before a day knows;
        tomorrow's NaN where nobody would be sent (`Seen.chances`).
    terms : Terms
    ends_later_d : float
        Days by which every season ends later than the flowering model has it.
    """
    days = len(season.chances)
    ahead = np.minimum(np.arange(days)[:, None] + np.arange(chances.shape[1]), days - 1)
    return decide_evenings(
        np.where(season.free[ahead][..., None], chances, np.nan),  # what is done bars the others
        season.ending.actual + ends_later_d,
        season.ending.forecast,
        program_moves(program, days, terms),
        terms,
        season.near,
    )


def advised(
    season: PastWinters,
    program: Program,
    chances: Array,
    start: NDArray[np.int64],
    terms: Terms,
) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """What acting on each evening's advice makes of every winter.

    Parameters
    ----------
    season, program, chances, terms
        As for `decided`.
    start : int array [day, material, winter]
        Row of the block at which tomorrow's round would begin; -1 without one.

    Returns
    -------
    made : bool array [day, material, winter]
        Every round that went out. One that was washed off is owed again.
    start : int array [day, material, winter]
        -1 without one.
    """
    coming = decided(season, program, chances, terms)
    visits, _ = coming.follow(np.zeros(1, dtype=np.int64), washed_off(season, start))
    made = rounds_of(coming.moves.states, visits[:, 0])
    return made, np.where(made, start, -1)


def rounds_of(states: ProgramStates, visits: NDArray[np.int8]) -> NDArray[np.bool_]:
    """Turn visits [day, winter] into rounds, bool array [day, material, winter]."""
    holds = np.zeros((len(states.visits), len(states.materials)), dtype=bool)  # (visit, material)
    for number, members in enumerate(states.visits):
        holds[number, list(members)] = True
    return np.moveaxis(holds[visits], 2, 1)  # from (day, winter, material)

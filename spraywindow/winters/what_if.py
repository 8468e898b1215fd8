"""What if: the same winters and evenings with something of the site or the program changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.place import Place
from spraywindow.program import Program, Terms, all_made, may_spray
from spraywindow.spray import Access, Material, Setting
from spraywindow.winters.evenings import Job, Seen, decided, rounds_of, seen_mornings
from spraywindow.winters.other_rules import dry_after, washed_off
from spraywindow.winters.past import PastWinters
from spraywindow.winters.replays import ForecastReplay
from spraywindow.winters.share import Share


@dataclass(frozen=True)
class Way:
    """How a season is worked: at which site, with which materials, when, so many hours a job."""

    setting: Setting
    materials: tuple[Material, ...]
    access: Access
    need_h: int

    @classmethod
    def of(cls, season: PastWinters) -> Way:
        """The season's own."""
        setting = season.block.conditions.setting
        return cls(setting, season.materials, season.access, season.need_h)

    @property
    def jobs(self) -> tuple[Job, ...]:
        """A job a material."""
        return tuple(
            Job(material, self.access, self.need_h, self.setting) for material in self.materials
        )


@dataclass(frozen=True)
class Change:
    """A change to try.

    Attributes
    ----------
    name : str
        As people write it: "access = 7 days".
    price : str
        What it takes, or who has to allow it.
    program : Program
        With what is done; of the same materials.
    way : Way
    """

    name: str
    price: str
    program: Program
    way: Way


@dataclass(frozen=True)
class Course:
    """What acting on each evening's advice makes of every winter, arrays [material, winter].

    Attributes
    ----------
    made : int array
        Rounds that need not be made again by the end.
    effective : int array
        Rounds that the dry hours wanted surely followed.
    """

    program: Program
    made: NDArray[np.int64]
    effective: NDArray[np.int64]

    @property
    def finish(self) -> Share:
        """Winters in which all rounds that are owed were made."""
        return Share.of(all_made(self.program, self.made))

    @property
    def finish_effective(self) -> Share:
        """Winters in which the dry hours wanted followed all of them."""
        return Share.of(all_made(self.program, self.effective))


@dataclass(frozen=True)
class WhatIf:
    """What a change gives beside the season as it is, rounds a winter.

    Attributes
    ----------
    owed : int
        Rounds owed, all materials together.
    rounds, effective : float
        Rounds made, and those that the dry hours wanted *now* followed, whatever is changed.
    rounds_gained, effective_gained : float
        What that is more than as it is.
    effective_error : float
        Standard error of `effective_gained` over the winters; NaN for fewer than two.
    finish, finish_effective : Share
    finish_gained : float
        What the share of `finish` is more.
    asked : bool
        Whether somebody asked for it.
    """

    json_keys: ClassVar = (
        "change=name", "takes=price", "asked", "owed", "rounds:2", "effective:2",
        "rounds_gained:2", "effective_gained:2", "effective_error:2", "finish_share=finish.share",
        "finish_effective_share=finish_effective.share", "finish_gained",
    )  # fmt: skip

    name: str
    price: str
    asked: bool
    owed: int
    rounds: float
    effective: float
    rounds_gained: float
    effective_gained: float
    effective_error: float
    finish: Share
    finish_effective: Share
    finish_gained: float


def seen_ways(
    season: PastWinters,
    weather: pd.DataFrame,
    place: Place,
    replay: ForecastReplay,
    mornings: int,
    ways: Sequence[Way],
    forecast: pd.DataFrame | None,
) -> list[Seen]:
    """What the evenings saw by each way; an evening is scored once for what ways share.

    Parameters
    ----------
    season, weather, place, mornings, forecast
        As for `spraywindow.winters.evenings.seen_mornings`.
    replay : ForecastReplay
    ways : sequence of Way
    """
    jobs: list[Job] = []
    for way in ways:
        jobs += [job for job in way.jobs if job not in jobs]
    (every,) = seen_mornings(
        season, weather, place, [replay], mornings, jobs=jobs, forecast=forecast
    )
    return [every.of_jobs([jobs.index(job) for job in way.jobs]) for way in ways]


def course(
    season: PastWinters, program: Program, seen: Seen, materials: Sequence[Material]
) -> Course:
    """Follow each evening's advice through the winters, and look what came of the rounds.

    Parameters
    ----------
    season : PastWinters
        Its own materials tell which dry hours are wanted, and what is washed off.
    program : Program
    seen : Seen
    materials : sequence of Material
        Those that the evenings judge by.
    """
    days = pd.date_range(season.first, periods=len(season.chances))
    free = replace(season, free=may_spray(days, program))
    lost = washed_off(season, seen.starts)
    coming = decided(free, program, seen.chances, Terms.usual(program, materials))
    visits, made = coming.follow([0], lost)
    rounds = rounds_of(coming.moves.states, visits[:, 0])
    column, rows = np.arange(rounds.shape[2]), np.maximum(seen.starts, 0)
    dry = [
        dry_after(season, season.materials[which])[0][:, list(season.used)][rows[:, which], column]
        for which in range(rounds.shape[1])
    ]
    return Course(program, made[:, 0], (rounds & np.stack(dry, axis=1)).sum(axis=0))


def what_if(change: Change, then: Course, now: Course, *, asked: bool) -> WhatIf:
    """Hold the course of a change against the course as it is, winter by winter."""
    gained = (then.effective - now.effective).sum(axis=0)
    n = len(gained)
    return WhatIf(
        name=change.name,
        price=change.price,
        asked=asked,
        owed=sum(change.program.visits_allowed),
        rounds=_mean(then.made),
        effective=_mean(then.effective),
        rounds_gained=_mean(then.made - now.made),
        effective_gained=_mean(then.effective - now.effective),
        effective_error=float(gained.std(ddof=1) / np.sqrt(n)) if n > 1 else np.nan,
        finish=then.finish,
        finish_effective=then.finish_effective,
        finish_gained=then.finish.share - now.finish.share,
    )


def _mean(rounds: NDArray[np.int64]) -> float:
    """Rounds a winter, of [material, winter]."""
    return float(rounds.sum(axis=0).mean()) if rounds.shape[1] else np.nan

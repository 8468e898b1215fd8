"""The client book before the season: who can be promised what when one crew serves all.

Past winters are replayed as they came, without hindsight: each evening goes by a week's forecast
with errors of the usual size and, beyond it, by what the other winters offered. Each day the crew
makes up to so many visits, at most one a site, and goes where letting the day pass costs the
most, which is the prize that a day's route goes by; equal ones by the order of the book. Who waits
for a better morning counts on the crew only for its share of the good ones. A round that is washed
off is owed again. Driving and unfinished rounds are left out.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError
from spraywindow.jobs.visits.answer import LEAST_PRIZE, VISITS_A_DAY
from spraywindow.program import Decided, Program, all_made
from spraywindow.site import Site, block_need, season_leaf_fall, season_start
from spraywindow.weather import Array, check_hourly
from spraywindow.winters import Share, by_advice, past_season

Flags = NDArray[np.bool_]
Counts = NDArray[np.int64]
PRIZE_DIGITS = 6
"""Prizes are whole millionths, as the worths of a route are."""


@dataclass(frozen=True, eq=False)
class Client:
    """A site of the book: what each evening of its past winters decides.

    Attributes
    ----------
    name : str
    materials : tuple of str
    owed : int array [material]
        Within the maxima.
    first : date
        Day 0.
    winters : tuple of str
    left_out : mapping of str to str
        Winters that are not used, and why.
    alone : bool array [winter]
        Whether the whole program fits, the crew serving only this site.
    usable : array [material, winter]
        Mornings up to the material's last day that the evening before would call usable.
    prizes : float32 array [day, state, winter]
        What it costs to let a day pass, in expected effective rounds; 0 where nobody is sent.
    after : int32 array [day, state, winter]
        State on the morning after a visit.
    rest : int array [state]
        The same after none.
    made : int array [material, state]
        Rounds that need not be made again.
    whole : bool array [state]
        Whether these are all that are owed.
    """

    name: str
    materials: tuple[str, ...]
    owed: Counts
    first: dt.date
    winters: tuple[str, ...]
    left_out: Mapping[str, str]
    alone: Flags
    usable: Array
    prizes: NDArray[np.float32]
    after: NDArray[np.int32]
    rest: Counts
    made: Counts
    whole: Flags

    @classmethod
    def of(
        cls,
        name: str,
        program: Program,
        decided: Sequence[Decided],
        lost: Flags,
        usable: Array,
        *,
        first: dt.date,
        winters: tuple[str, ...],
        left_out: Mapping[str, str],
    ) -> Client:
        """A client of what its evenings decide, with the crew for itself, and with a share of it.

        `lost` [day, material, winter] is owed again.
        """
        alone, shared = decided[0], decided[-1]
        moves = shared.moves
        made = moves.states.made(moves.plain(np.arange(moves.count)))
        goes = shared.visits < len(moves.outcomes)
        return cls(
            name=name,
            materials=program.materials,
            owed=np.array(program.visits_allowed),
            first=first,
            winters=winters,
            left_out=left_out,
            alone=all_made(program, alone.follow([0], lost)[1][:, 0]),
            usable=usable,
            prizes=np.where(
                goes, np.maximum(shared.prizes.round(PRIZE_DIGITS), np.float32(LEAST_PRIZE)), 0
            ),
            after=shared.after(lost).astype(np.int32),
            rest=moves.rest,
            made=made,
            whole=all_made(program, made),
        )


def client_of(site: Site, weather: pd.DataFrame, today: dt.date, served: float) -> Client:
    """Replay a site's past winters, from leaf fall to the flowers of the block with most trees.

    `served` is the share of the mornings on which the crew is free for it.

    Raises
    ------
    InputError
        If the site file has no leaf fall, or the record no past winter.
    """
    main = max(site.blocks, key=lambda block: block.trees)
    first = season_leaf_fall(site, season_start(today, site))
    program = site.program.not_begun()
    season = past_season(
        weather,
        site.place,
        program,
        {name: site.material(name) for name in program.materials},
        first=first,
        need=block_need(main, site, None)[1],
        setting=site.setting,
        access=site.access,
        duration_h=site.job_h,
    )
    shares = [1.0] if served == 1 else [1.0, served]
    decided, lost = by_advice(season, check_hourly(weather), site.place, program, shares)
    return Client.of(
        site.name, program, decided, lost, season.usable.sum(axis=0), first=first,
        winters=season.labels, left_out=season.left_out,
    )  # fmt: skip


class Crew:
    """One crew and its clients on one calendar: days, states of all the clients, winters.

    Attributes
    ----------
    clients : tuple of Client
    winters : tuple of str
        Those that all of the clients have.
    left_out : dict of str to str
        The others, and why.

    Raises
    ------
    InputError
        If no winter is common to all.
    """

    def __init__(self, clients: Sequence[Client], visits_a_day: int):
        self.clients, self._most = tuple(clients), visits_a_day
        self.winters = tuple(
            label for label in clients[0].winters if all(label in each.winters for each in clients)
        )
        self.left_out: dict[str, str] = {}
        for each in clients:
            for label, why in each.left_out.items():
                self.left_out.setdefault(label, f"{each.name}: {why}")
        if not self.winters:
            why_not = "; ".join(f"{label}: {why}" for label, why in self.left_out.items())
            raise InputError("no past winter is whole at every site", got=why_not or None)
        begins = [(each.first - min(each.first for each in clients)).days for each in clients]
        days = max(begin + len(each.prizes) for begin, each in zip(begins, clients, strict=True))
        count = len(self.winters)
        self._begins = np.cumsum([0, *(len(each.rest) for each in clients)])
        # a cell is a state in a winter: its number is the state's times the winters, and so on
        rest = np.concatenate(
            [begin + each.rest for begin, each in zip(self._begins, clients, strict=False)]
        )
        self._rest = (rest[:, None] * count + np.arange(count)).astype(np.int32).ravel()
        self._prizes = np.zeros((days, len(rest), count), dtype=np.float32)
        self._after = np.zeros((days, len(rest), count), dtype=np.int32)
        for number, (begin, each) in enumerate(zip(begins, clients, strict=True)):
            columns = [each.winters.index(label) for label in self.winters]
            cells = (
                slice(begin, begin + len(each.prizes)),
                slice(self._begins[number], self._begins[number + 1]),
            )
            self._prizes[cells] = each.prizes[..., columns]
            after = self._begins[number] + each.after[..., columns]
            self._after[cells] = after * count + np.arange(count)

    def serve(self, teams: Sequence[Sequence[int]]) -> Counts:
        """State that each client of each team is in at the end, [team, client, winter].

        A team are the numbers of the clients that the crew serves, in the order of the book, as
        many in each.
        """
        of_team = np.asarray(teams, dtype=np.int64)
        count = len(self.winters)
        at = self._begins[of_team][:, None, :] * count + np.arange(count)[:, None]
        cells = at.astype(np.int32)  # [team, winter, client]
        for prizes, after in zip(self._prizes, self._after, strict=True):
            told, before = prizes.take(cells), cells
            cells = self._rest.take(cells)
            if not told.any():
                continue
            for _ in range(min(self._most, of_team.shape[1])):
                chosen = told.argmax(axis=2)[..., None]  # of equal ones the first in the book
                goes = np.take_along_axis(told, chosen, 2) > 0
                if not goes.any():
                    break
                then = after.take(np.take_along_axis(before, chosen, 2))
                then = np.where(goes, then, np.take_along_axis(cells, chosen, 2))
                np.put_along_axis(cells, chosen, then, 2)
                np.put_along_axis(told, chosen, 0, 2)
        at_end = np.moveaxis(cells, 2, 1) // count
        return np.asarray(at_end - self._begins[of_team][..., None])

    def rounds(self, team: Sequence[int]) -> list[Counts]:
        """Rounds [material, winter] that each client of a team gets."""
        (ends,) = self.serve([team])
        return [self.clients[n].made[:, end] for n, end in zip(team, ends, strict=True)]

    def whole(self, teams: Sequence[Sequence[int]]) -> Flags:
        """Winters in which all that a client is owed is made, [team, client, winter]."""
        ends = self.serve(teams) + self._begins[np.asarray(teams)][..., None]
        return np.asarray(np.concatenate([each.whole for each in self.clients])[ends])


PROMISE = 0.8
"""What is made in this share of winters can be promised; P."""


@dataclass(frozen=True)
class MaterialPromise:
    """What can be promised of one material; means of the winters, when all are served."""

    json_keys: ClassVar = ("material", "owed", "promised", "mean_rounds:2", "usable_mornings:1")

    material: str
    owed: int
    promised: int
    mean_rounds: float
    usable_mornings: float


@dataclass(frozen=True)
class ClientShare:
    """Winters in which a client's whole program fits."""

    json_keys: ClassVar = ("site", "share:3*")

    site: str
    share: Share


@dataclass(frozen=True)
class Drop:
    """Who goes, and what that leaves the others with."""

    site: str
    leaves: tuple[ClientShare, ...]


@dataclass(frozen=True, eq=False)
class Promise:
    """What one client can be promised.

    Attributes
    ----------
    client : Client
    alone, shared : Share
        Winters in which the whole program fits: the crew serving only this site, and all.
    rounds : int array [material, winter]
        Made when all are served.
    sure : tuple of int
        Rounds by material made in at least `PROMISE` of the winters.
    usable : array [material]
        Usable mornings of a winter, mean.
    """

    json_keys: ClassVar = ("site=client.name", "alone:3", "shared:3", "materials")

    client: Client
    alone: Share
    shared: Share
    rounds: Counts
    sure: tuple[int, ...]
    usable: Array

    @property
    def materials(self) -> tuple[MaterialPromise, ...]:
        """The same, material by material."""
        return tuple(
            MaterialPromise(name, int(owed), sure, float(made.mean()), float(usable))
            for name, owed, sure, made, usable in zip(
                self.client.materials, self.client.owed, self.sure, self.rounds, self.usable,
                strict=True,
            )
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Book:
    """The answer: promises in the order of the book, and whom to drop, first to last.

    Attributes
    ----------
    winters : tuple of str
    left_out : mapping of str to str
        Winters that are not used, and why.
    promise : float
        Share of winters that makes a promise.
    promises : tuple of Promise
    drops : tuple of Drop
    """

    json_keys: ClassVar = (
        "winters", "left_out", "visits_a_day", "promise:all", "clients=promises", "drops", "rule!",
        "cautions!",
    )  # fmt: skip

    winters: tuple[str, ...]
    left_out: Mapping[str, str]
    visits_a_day: int
    promise: float
    promises: tuple[Promise, ...]
    drops: tuple[Drop, ...]


def make_book(
    clients: Sequence[Client], *, visits_a_day: int = VISITS_A_DAY, promise: float = PROMISE
) -> Book:
    """Replay past winters with one crew.

    Parameters
    ----------
    clients : sequence of Client
        In the order of priority.
    visits_a_day : int
        Sites that the crew serves on a day, from 1 on.
    promise : float
        Share of winters that makes a promise.

    Raises
    ------
    InputError
        If no winter is common to all.
    """
    crew = Crew(clients, visits_a_day)
    everyone = list(range(len(clients)))
    together = crew.rounds(everyone)
    (shared,) = crew.whole([everyone])
    promises = []
    for each, whole, made in zip(clients, shared, together, strict=True):
        columns = [each.winters.index(label) for label in crew.winters]
        promises.append(Promise(
            each, Share.of(each.alone[columns]), Share.of(whole), made,
            tuple(_at_least(row, promise) for row in made),
            each.usable[:, columns].mean(axis=1),
        ))  # fmt: skip
    able = np.array([each.alone.share >= promise for each in promises])
    drops = _drops(crew, everyone, able, promise)
    return Book(crew.winters, crew.left_out, visits_a_day, promise, tuple(promises), drops)


def _at_least(made: Counts, share: float) -> int:
    """Most rounds that at least this share of the winters made."""
    counts = np.arange(int(made.max(initial=0)) + 1)
    reached = (made[None] >= counts[:, None]).mean(axis=1) >= share - 1e-9
    return int(counts[reached].max())


def _drops(crew: Crew, team: list[int], able: Flags, promise: float) -> tuple[Drop, ...]:
    """Let go, one by one, whose leaving helps the others most, until those who can finish do."""
    out: list[Drop] = []
    (whole,) = crew.whole([team])
    while len(team) > 1 and (able[team] & (whole.mean(axis=1) < promise)).any():
        rests = [[other for other in team if other != number] for number in team]
        left = crew.whole(rests)
        shares = left.mean(axis=2)
        kept, mean = (shares >= promise).sum(axis=1), shares.mean(axis=1).round(9)
        which = int(np.lexsort((np.arange(len(team)), mean, kept))[-1])  # ties: the last one
        gone, team, whole = team[which], rests[which], left[which]
        leaves = tuple(
            ClientShare(crew.clients[number].name, Share.of(won))
            for number, won in zip(team, whole, strict=True)
        )
        out.append(Drop(crew.clients[gone].name, leaves))
    return tuple(out)

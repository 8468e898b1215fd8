"""The client book before the season: who can be promised what when one crew serves all.

Past winters are replayed as they came, without hindsight. Each day the crew makes up to so many
visits, at most one a site. A site is open for a material when the day has a slot for it (known
the evening before), a round is owed and the gaps are kept. The most urgent goes first: rounds
owed over the usable mornings that the other winters still had from that day of the year on;
equal ones by the order of the book. Driving, tank mixes and unfinished rounds are left out.
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
from spraywindow.site import Site, block_need, season_leaf_fall, season_start
from spraywindow.weather import Array
from spraywindow.winters import PastWinters, Share, past_season

Flags = NDArray[np.bool_]
Counts = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Client:
    """A site of the book on the common calendar.

    Attributes
    ----------
    name : str
    materials : tuple of str
    owed : int array [material]
    gaps : int array [material, material]
        Least days between rounds.
    usable : bool array [day, material, winter]
        Days with a slot, up to the material's last day.
    """

    name: str
    materials: tuple[str, ...]
    owed: Counts
    gaps: Counts
    usable: Flags


def serve(clients: Sequence[Client], visits_a_day: int) -> list[Counts]:
    """Rounds [material, winter] that each client gets when one crew serves these, as it comes."""
    days, _, winters = clients[0].usable.shape
    owed = [np.repeat(client.owed[:, None], winters, axis=1) for client in clients]
    last = [np.full(rest.shape, -10_000) for rest in owed]
    expected = [_expected_after(client.usable) for client in clients]
    column = np.arange(winters)
    for day in range(days):
        urgency = np.full((len(clients), winters), -1.0)
        material = np.zeros((len(clients), winters), dtype=np.int64)
        for number, client in enumerate(clients):
            since = day - last[number]
            kept = np.all(since[None] >= client.gaps[:, :, None], axis=1)
            may = client.usable[day] & (owed[number] > 0) & kept
            worth = np.where(may, owed[number] / (1.0 + expected[number][day]), -1.0)
            material[number] = worth.argmax(axis=0)
            urgency[number] = worth.max(axis=0)
        order = np.argsort(-urgency, axis=0, kind="stable")[:visits_a_day]
        for chosen in order:
            for number in range(len(clients)):
                at = column[(chosen == number) & (urgency[number] > 0)]
                done = material[number, at]
                owed[number][done, at] -= 1
                last[number][done, at] = day
    return [client.owed[:, None] - rest for client, rest in zip(clients, owed, strict=True)]


def _expected_after(usable: Flags) -> Array:
    """Usable mornings after each day, mean of the other winters [day, material, winter]."""
    after: Counts = np.flip(np.cumsum(np.flip(usable, axis=0), axis=0), axis=0) - usable
    winters = usable.shape[2]
    if winters == 1:  # no other winter: the days that are left, all alike
        left = np.arange(len(usable))[::-1].astype(float)
        return np.broadcast_to(left[:, None, None], usable.shape)
    return np.asarray((after.sum(axis=2, keepdims=True) - after) / (winters - 1))


PROMISE = 0.8
"""What is made in this share of winters can be promised; P."""
VISITS_A_DAY = 2
"""Sites that one crew serves on a good day; P."""


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


def site_season(site: Site, weather: pd.DataFrame, today: dt.date) -> PastWinters:
    """Past winters of a site, from its leaf fall to the flowers of the block with the most trees.

    Raises
    ------
    InputError
        If the site file has no leaf fall, or the record no past winter.
    """
    main = max(site.blocks, key=lambda block: block.trees)
    first = season_leaf_fall(site, season_start(today, site))
    return past_season(
        weather,
        site.place,
        site.program.not_begun(),
        {name: site.material(name) for name in site.program.materials},
        first=first,
        need=block_need(main, site, None)[1],
        setting=site.setting,
        access=site.access,
        duration_h=site.job_h,
    )


def clients_of(
    sites: Sequence[Site], seasons: Sequence[PastWinters]
) -> tuple[list[Client], tuple[str, ...], dict[str, str]]:
    """Put the sites' winters on one calendar; winters that one of them lacks are left out.

    Raises
    ------
    InputError
        If no winter is common to all.
    """
    common = [
        label for label in seasons[0].labels if all(label in season.labels for season in seasons)
    ]
    left_out: dict[str, str] = {}
    for site, season in zip(sites, seasons, strict=True):
        for label, why in season.left_out.items():
            left_out.setdefault(label, f"{site.name}: {why}")
    if not common:
        raise InputError(
            "no past winter is whole at every site",
            got="; ".join(f"{label}: {why}" for label, why in left_out.items()) or None,
        )
    day0 = min(season.first for season in seasons)
    days = max((season.first - day0).days + season.block.days for season in seasons)
    clients = []
    for site, season in zip(sites, seasons, strict=True):
        columns = [season.labels.index(label) for label in common]
        usable = np.zeros((days, len(season.materials), len(common)), dtype=bool)
        begin = (season.first - day0).days
        usable[begin : begin + season.block.days] = season.usable[..., columns]
        names = site.program.materials
        gaps = [[site.program.days_between(one, other) for other in names] for one in names]
        owed = [entry.visits_owed for entry in site.program.not_begun().entries]
        clients.append(Client(site.name, names, np.array(owed), np.array(gaps), usable))
    return clients, tuple(common), left_out


def make_book(
    clients: Sequence[Client],
    winters: tuple[str, ...],
    left_out: Mapping[str, str],
    *,
    visits_a_day: int = VISITS_A_DAY,
    promise: float = PROMISE,
) -> Book:
    """Replay past winters with one crew.

    Parameters
    ----------
    clients : sequence of Client
        In the order of priority.
    winters, left_out
        From `clients_of`.
    visits_a_day : int
        Sites that the crew serves on a day, from 1 on.
    promise : float
        Share of winters that makes a promise.
    """
    together = serve(clients, visits_a_day)
    alone = [serve([client], visits_a_day)[0] for client in clients]
    promises = tuple(
        Promise(
            client,
            _whole(client, own),
            _whole(client, made),
            made,
            tuple(_at_least(row, promise) for row in made),
            client.usable.sum(axis=0).mean(axis=1),
        )
        for client, own, made in zip(clients, alone, together, strict=True)
    )
    within_reach = {each.client.name for each in promises if each.alone.share >= promise}
    drops = _drops(list(clients), within_reach, visits_a_day, promise)
    return Book(winters, left_out, visits_a_day, promise, promises, drops)


def _whole(client: Client, made: Counts) -> Share:
    return Share.of(np.all(made >= client.owed[:, None], axis=0))


def _at_least(made: Counts, share: float) -> int:
    """Most rounds that at least this share of the winters made."""
    counts = np.arange(int(made.max(initial=0)) + 1)
    reached = (made[None] >= counts[:, None]).mean(axis=1) >= share - 1e-9
    return int(counts[reached].max())


def _drops(
    clients: list[Client], within_reach: set[str], visits_a_day: int, promise: float
) -> tuple[Drop, ...]:
    """Let go, one by one, whose leaving helps the others most, until those who can finish do."""
    out: list[Drop] = []
    shares = _shares(clients, visits_a_day)
    while len(clients) > 1 and any(
        shares[name].share < promise for name in shares if name in within_reach
    ):
        options = []
        for number, client in enumerate(clients):
            rest = [other for other in clients if other is not client]
            left = _shares(rest, visits_a_day)
            kept = sum(share.share >= promise for share in left.values())
            mean = float(np.mean([share.share for share in left.values()]))
            options.append((kept, round(mean, 9), number, client, left))
        _, _, _, gone, shares = max(options, key=lambda option: option[:3])  # ties: the last one
        clients = [client for client in clients if client is not gone]
        out.append(Drop(gone.name, tuple(map(ClientShare, shares, shares.values()))))
    return tuple(out)


def _shares(clients: Sequence[Client], visits_a_day: int) -> dict[str, Share]:
    made = serve(clients, visits_a_day)
    return {
        client.name: _whole(client, rounds) for client, rounds in zip(clients, made, strict=True)
    }

"""One crew and several clients through past winters, as they came."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spraywindow.weather.interval import Array

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

"""What is decided on one morning: spray, wait or either, and what each is worth."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import ClassVar

import pandas as pd

from spraywindow.spray import Slot

CLOSE = 0.05
"""Values in rounds that differ by less are said to be equal: a twentieth of a round is within
what the chances are known to; P."""


@dataclass(frozen=True)
class Aim:
    """The morning that waiting aims at: its likeliest hours, and the chance that a round holds.

    None where it is too early for them. `go` tells whether the forecast calls it go today.
    """

    json_keys: ClassVar = ("date", "start", "end", "material", "chance:3")

    date: dt.date
    start: pd.Timestamp | None
    end: pd.Timestamp | None
    material: str
    chance: float | None
    go: bool


@dataclass(frozen=True)
class Skip:
    """What it costs to let the morning pass.

    `rounds` is the drop in expected effective rounds; `finish_now` and `finish_waiting` are the
    chances to finish the program, None where no past winter tells.
    """

    json_keys: ClassVar = ("rounds:2", "finish_now:3", "finish_waiting:3")

    rounds: float
    finish_now: float | None
    finish_waiting: float | None


@dataclass(frozen=True)
class Step:
    """A day of the plan, and a material to go out with."""

    json_keys: ClassVar = ("date", "material")

    date: dt.date
    material: str


@dataclass(frozen=True)
class Decision:
    """What to do on one morning.

    Attributes
    ----------
    date : date
    verdict : str
        "go" where a material that is owed may go out, else "unknown" or "no-go".
    advice : str or None
        "spray", "wait" or "either"; None for no-go and unknown, and where nothing is owed.
    materials : tuple of str
        What to go out with, should anything go out: one material, or a tank mix or several passes.
    slots : tuple of Slot
        Their hours.
    worth_now, worth_waiting : float or None
        Expected effective rounds of the season.
    wait_for : Aim or None
        What waiting aims at; None beyond the mornings that are known.
    skip : Skip or None
        None unless something may go out.
    left : int
        Usable mornings left in the season, after this one, as expected.
    basis : str
        What the mornings beyond the forecast go by.
    owed : bool
        Whether any round is owed of what is asked for.
    plan : tuple of Step
        Days of the known mornings and the materials to go out with on each, should nothing be lost
        on the way: the best path from this decision on.
    """

    date: dt.date
    verdict: str
    advice: str | None
    materials: tuple[str, ...]
    slots: tuple[Slot, ...]
    worth_now: float | None
    worth_waiting: float | None
    wait_for: Aim | None
    skip: Skip | None
    left: int
    basis: str
    owed: bool = True
    plan: tuple[Step, ...] = ()

    @property
    def word(self) -> str:
        """The advice, else the verdict."""
        return self.advice or self.verdict

    @property
    def material(self) -> str | None:
        """The material to go out with; of several all of them; None where none may."""
        return " + ".join(self.materials) or None

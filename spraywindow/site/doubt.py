"""A round that may not have held, and of which nobody said yet whether it did."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from spraywindow.reasons import Reason


@dataclass(frozen=True)
class Doubt:
    """A round of the record that counts as made until it is marked: its entry, and why."""

    site: str
    entry: int
    material: str
    date: dt.date
    reason: Reason

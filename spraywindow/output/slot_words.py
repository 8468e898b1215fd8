"""A slot's hours in figures, and what comes before and after it in words."""

from __future__ import annotations

import pandas as pd

from spraywindow.orchard.evening import Answer, Evening
from spraywindow.output.notices import EARLY
from spraywindow.output.words import RISKY, clock, closes_words, limit_words, opens_words, reason
from spraywindow.spray.hours import STAGE
from spraywindow.spray.slots import NO_ACCESS, Slot


def opening_words(slot: Slot, evening: Evening) -> str:
    """What opens a slot: "before: wet wood", "from the start of work"."""
    words = opens_words(slot, evening)
    if slot.opens == NO_ACCESS:
        return "from the start of work" if words == "working hours" else f"from {words}"
    return f"before: {words}"


def closing_words(slot: Slot, evening: Evening) -> str:
    """What closes a slot: "after: too windy", "until the end of work"."""
    words = closes_words(slot, evening)
    if slot.closes == NO_ACCESS:
        return "until the end of work" if words == "working hours" else f"until {words}"
    return f"after: {words}"


def chance_words(slot: Slot) -> str:
    """How likely a slot is to hold: "48 % likely to hold", with "risky" where it hardly will."""
    risky = "risky, " if slot.chance < RISKY else ""
    return f"{risky}{100 * slot.chance:.0f}\u00a0% likely to hold"


def held_words(answer: Answer, evening: Evening) -> str:
    """What holds a day without a slot, in a word or two."""
    if not answer.held_by:
        return EARLY
    if answer.held_by == NO_ACCESS:
        return reason(answer, evening)
    if answer.held_by == STAGE and answer.verdict == "unknown":
        return "look at the buds first"
    words = limit_words(answer.held_by, evening.material)
    return f"not ruled out: {words}" if answer.verdict == "unknown" else words


def hours_words(start: pd.Timestamp, end: pd.Timestamp) -> str:
    """Local hours of one day on the clock: "10:00-13:00"."""
    # a slot that runs to midnight ends at 24, not at 0
    last = "24:00" if end.hour == 0 and end.minute == 0 and end > start else clock(end)
    return f"{clock(start)}-{last}"

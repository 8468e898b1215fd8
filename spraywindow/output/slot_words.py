"""A slot's hours in figures, and what opens and closes it in words that follow after and until."""

from __future__ import annotations

import pandas as pd

from spraywindow.orchard.evening import Answer, Evening
from spraywindow.output.notices import EARLY
from spraywindow.output.words import closes_words, limit_words, opens_words, reason
from spraywindow.spray.slots import FAR_END, NO_ACCESS, Slot


def opening_words(slot: Slot, evening: Evening) -> str:
    """What opens a slot: "after wet wood", "from the start of work"."""
    words = opens_words(slot, evening)
    if slot.opens == NO_ACCESS:
        return "from the start of work" if words == "working hours" else f"from {words}"
    return f"after {words}"


def closing_words(slot: Slot, evening: Evening) -> str:
    """What closes a slot: "until too windy", "until the end of work"."""
    words = closes_words(slot, evening)
    if slot.closes == FAR_END:
        return f"then {EARLY}"
    return "until the end of work" if words == "working hours" else f"until {words}"


def held_words(answer: Answer, evening: Evening) -> str:
    """What holds a day without a slot, in a word or two."""
    if not answer.held_by:
        return EARLY
    if answer.held_by == NO_ACCESS:
        return reason(answer, evening)
    return limit_words(answer.held_by, evening.material)


def hours_words(start: pd.Timestamp, end: pd.Timestamp) -> str:
    """Local hours of one day in figures: "10–13", with minutes where they are not whole."""

    def clock(time: pd.Timestamp) -> str:
        return f"{time.hour}" if time.minute == 0 else f"{time.hour}:{time:%M}"

    # a slot that runs to midnight ends at 24, not at 0
    last = "24" if end.hour == 0 and end.minute == 0 and end > start else clock(end)
    return f"{clock(start)}–{last}"

"""What is next of the program: the first day allowed, and the first usable morning known."""

from __future__ import annotations

from collections.abc import Sequence

from spraywindow.orchard.next_rounds import NextRound
from spraywindow.output.text import table_text
from spraywindow.output.words import day_words


def next_text(upcoming: Sequence[NextRound]) -> list[str]:
    """The section, or nothing where no round is owed."""
    rows = [
        [
            each.material,
            str(each.owed),
            day_words(each.allowed) if each.allowed else "not this season",
            day_words(each.morning)
            if each.morning
            else f"none known up to {day_words(each.known_until)}"
            if each.known_until
            else "not known",
        ]
        for each in upcoming
        if each.owed
    ]
    if not rows:
        return []
    head = ["material", "owed", "allowed from", "first usable morning known"]
    return ["What is next (`spraywindow slots` has the last word)\n" + table_text(head, rows, (1,))]

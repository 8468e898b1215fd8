"""What was seen at a site, as ``spraywindow seen`` answers."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

import pandas as pd

from spraywindow.days import day_words
from spraywindow.record import Sighting
from spraywindow.show import paragraph, table_text
from spraywindow.site import Site


@dataclass(frozen=True)
class SeenAnswer:
    """What was seen at a site and holds; of it what this call `added`, or what it `undid`."""

    json_keys: ClassVar = ("site=site.name", "record=path", "now", "added", "undone", "seen")

    site: Site
    path: Path
    now: pd.Timestamp
    seen: tuple[Sighting, ...]
    added: tuple[Sighting, ...] = ()
    undone: Sighting | None = None


def seen_text(answer: SeenAnswer) -> str:
    """What this call noted or undid, else the list."""
    if answer.undone is not None:
        return f"Undone, number {answer.undone.id}: {answer.undone.words}."
    if answer.added:
        return "\n".join(f"Noted, number {each.id}: {each.words}." for each in answer.added)
    if not answer.seen:
        return paragraph(
            f"{answer.site.name}: nothing is noted yet. After the site file write what you saw: a "
            'block and its stage ("rows 1-4" "bud swell"), or --leaf-fall.'
        )
    blocks = {block.name for block in answer.site.blocks}
    rows = [
        [
            str(each.id), f"{day_words(each.day)} {each.day.year}",
            each.what + " (no such block now)" * (each.block is not None and
                                                  each.block not in blocks),
        ]
        for each in answer.seen
    ]  # fmt: skip
    head = f"Seen at {answer.site.name}; `--undo N` takes number N back\n"
    return head + table_text(["no.", "day", "what"], rows, right=(0,))

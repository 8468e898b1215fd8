"""What was seen at a site, as ``spraywindow seen`` answers."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

import pandas as pd

from spraywindow.days import day_words
from spraywindow.record import Sighting, taught, taught_words
from spraywindow.show import clock, paragraph, shown, table_text
from spraywindow.site import Site
from spraywindow.spray import Offset


@dataclass(frozen=True)
class SeenAnswer:
    """What was seen at a site and holds; of it what this call `added`, or what it took back.

    `site` is as its file says. `dry` and `night` are what notes of dry bark [h] and of cold nights
    [K] teach, seen less modelled, whether the site file lets them or not.
    """

    json_keys: ClassVar = (
        "site=site.name", "record=path", "now", "added", "undone", "seen", "dry_off_h=dry",
        "night_off_c=night", "taught",
    )  # fmt: skip

    site: Site
    path: Path
    now: pd.Timestamp
    seen: tuple[Sighting, ...]
    added: tuple[Sighting, ...] = ()
    undone: Sighting | None = None

    @property
    def dry(self) -> Offset:
        """How far the hour of dry bark usually lies from the model."""
        return taught(self.seen, "dry", self.site)

    @property
    def night(self) -> Offset:
        """How far nights usually lie from the forecast."""
        return taught(self.seen, "lowest", self.site)

    @property
    def taught(self) -> tuple[str, ...]:
        """The same in words; none where nothing is taught."""
        return taught_words(self.dry, self.night, self.site)


def seen_text(answer: SeenAnswer) -> str:
    """What this call noted or undid, else the list."""
    if answer.undone is not None:
        return f"Undone, number {answer.undone.id}: {answer.undone.words}."
    if answer.added:
        lines = [f"Noted, number {e.id}: {e.words}{_beside(e, answer)}." for e in answer.added]
        return "\n".join(paragraph(line) for line in [*lines, *_taught(answer)])
    if not answer.seen:
        return paragraph(
            f"{answer.site.name}: nothing is noted yet. After the site file write what you saw: a "
            'block and its stage ("rows 1-4" "bud swell"), or --leaf-fall.'
        )
    blocks = {block.name for block in answer.site.blocks}
    rows = [
        [
            str(each.id), f"{day_words(each.day)} {each.day.year}",
            each.what + _beside(each, answer)
            + " (no such block now)" * (each.block is not None and each.block not in blocks),
        ]
        for each in answer.seen
    ]  # fmt: skip
    head = f"Seen at {answer.site.name}; `--undo N` takes number N back\n"
    table = table_text(["no.", "day", "what"], rows, right=(0,))
    return "\n".join([head + table, *map(paragraph, _taught(answer))])


def _beside(each: Sighting, answer: SeenAnswer) -> str:
    """What was measured, and what the model says: ", 10:20 (model 09:00)"."""
    zone, system = answer.site.place.timezone, answer.site.units
    if each.time is not None:
        seen, model = (
            None if time is None else clock(pd.Timestamp(time).tz_convert(zone))
            for time in (each.time, each.model_time)
        )
    elif each.temp_c is not None:
        seen, model = (
            None if temp is None else shown(temp, "degC", system)
            for temp in (each.temp_c, each.model_c)
        )
    else:
        return ""
    return f", {seen} (model {model or 'unknown'})"


def _taught(answer: SeenAnswer) -> list[str]:
    """What the notes teach, a line each."""
    off = "" if answer.site.learn else " (not used: learn = false in the site file)"
    return [f"{line[:1].upper()}{line[1:]}{off}." for line in answer.taught]

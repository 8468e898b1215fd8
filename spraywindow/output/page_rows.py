"""The rows and sentences of the page, as plain text; the template sets and escapes them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from spraywindow.orchard.evening import Answer, Evening
from spraywindow.orchard.prospect import Prospect
from spraywindow.output.notices import FEW_WINTERS, LABEL, SPRAYING
from spraywindow.output.season_text import share_words
from spraywindow.output.slot_words import chance_words, closing_words, hours_words, opening_words
from spraywindow.output.untold import untold_lines
from spraywindow.output.words import blocks_line, cautions, clock, day_words, reason
from spraywindow.season.entry import Entry
from spraywindow.season.outlook import FEWEST_FOR_START
from spraywindow.spray.slots import Slot


def verdict(
    evening: Evening, evenings: Sequence[Evening], planned: Sequence[Slot]
) -> dict[str, Any]:
    """The answers for what is left of this morning and for tomorrow, and what goes with them."""
    answers = [each for each in (evening.today, evening.tomorrow) if each is not None]
    return {
        "material": evening.material.name,
        "title": _capital(evening.material.title),
        "blocks": blocks_line(evening.blocks),
        "lines": [*_instead_lines(evening, evenings, planned), *untold_lines(evening)],
        "answers": [
            {
                "when": "today" if answer.date == evening.now.date() else "tomorrow",
                "day": day_words(answer.date).replace(" ", "\u00a0"),
                **_answer(answer, evening),
                "planned": answer.slot in planned,
            }
            for answer in answers
        ],
    }


def _instead_lines(
    evening: Evening, evenings: Sequence[Evening], planned: Sequence[Slot]
) -> list[str]:
    """Beside another material's go that the program would rather use: only one of the two."""
    name, program = evening.material.name, evening.site.program
    if evening.first.verdict != "go" or evening.first.slot in planned:
        return []
    rivals: dict[int, list[str]] = {}
    for other in evenings:
        theirs = other.material.name
        if theirs == name or other.first.verdict != "go" or program.is_mix((name, theirs)):
            continue
        if apart := program.days_between(name, theirs):
            rivals.setdefault(apart, []).append(theirs)
    days = [day_words(slot.start.date()) for slot in planned if slot.material == name]
    then = f"; planned for {', '.join(days)}" if days else ""
    return [
        f"Instead of {' or '.join(names)}, not as well: keep {apart} days between them{then}"
        for apart, names in rivals.items()
    ]


def _answer(answer: Answer, evening: Evening) -> dict[str, str]:
    slot = answer.slot
    if answer.verdict != "go" or slot is None:
        why = _capital(reason(answer, evening))
        return {"verdict": answer.verdict, "hours": "", "chance": "", "why": why}
    words = f"{opening_words(slot, evening)}; {closing_words(slot, evening)}"
    return {
        "verdict": "go",
        "hours": hours_words(slot.start, slot.end),
        "chance": chance_words(slot),
        "why": f"{_capital(words)}; best from {clock(slot.best_start)}",
    }


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def slot_rows(evening: Evening, planned: Sequence[Slot]) -> list[dict[str, str]]:
    """A row a slot of one material, in order of time."""
    return [
        {
            "material": evening.material.name,
            "day": day_words(slot.start.date()),
            "hours": hours_words(slot.start, slot.end),
            "best": f"{slot.best_start:%H:%M}",
            "chance": chance_words(slot).removesuffix(" likely to hold"),
            "opens": opening_words(slot, evening),
            "closes": closing_words(slot, evening),
            "dry": f"{slot.dry_h_after:.0f} h",
            "planned": "planned round" if slot in planned else "",
        }
        for slot in sorted(evening.slots, key=lambda slot: slot.start)
    ]


def day_rows(evenings: Sequence[Evening]) -> list[dict[str, Any]]:
    """A row for each day that any material has an answer for, a cell a material."""
    found = {
        (answer.date, evening.material.name): f"{answer.verdict}: {reason(answer, evening)}"
        for evening in evenings
        for answer in evening.answers
    }
    return [
        {
            "day": day_words(day),
            "cells": [found.get((day, each.material.name), "") for each in evenings],
        }
        for day in sorted({day for day, _ in found})
    ]


def entry_row(entry: Entry, owed: int, planned: Sequence[Slot]) -> dict[str, str]:
    """What of a material is done, owed (visits within all maxima) and planned."""
    next_ones = [
        f"{day_words(slot.start.date())} {hours_words(slot.start, slot.end)}"
        for slot in planned
        if slot.material == entry.material
    ]
    return {
        "material": entry.material,
        "rounds": str(entry.rounds),
        "done": _done_words(entry),
        "owed": str(owed),
        "apart": f"{entry.least_days} days",
        "next": ", ".join(next_ones) or ("no slot this week" if owed else "complete"),
    }


def _done_words(entry: Entry) -> str:
    days = ", ".join(day_words(day) for day in entry.days_done) or "none"
    if not entry.partly_done:
        return days
    rest = "; the next visit finishes a round" if entry.days_unfinished else ""
    return f"{entry.rounds_done:g} rounds: {days}{rest}"


def caution_lines(evenings: Sequence[Evening]) -> list[str]:
    """Every material's cautions once, the usual ones last."""
    lines = dict.fromkeys(line for each in evenings for line in cautions(each))
    usual = [line for line in lines if line in (*SPRAYING, LABEL)]
    return [_capital(line) for line in sorted(lines, key=usual.__contains__)]


def source_rows(evening: Evening) -> list[tuple[str, str]]:
    """Where the weather came from and how old it is: names and texts."""
    source = evening.source
    rows = [("Weather", source.name or "a weather file")]
    if source.issued is not None:
        local = source.issued.tz_convert(evening.site.place.timezone)
        age_h = source.age_h
        rows.append(
            (
                "Issued",
                f"{day_words(local.date())} {local:%H:%M}, "
                f"{f'{age_h:.0f} h before this page' if age_h >= 0.5 else 'just issued'}",
            )
        )
    else:
        rows.append(("Issued", "the source does not say"))
    if source.stale:
        rows.append(("Age", "service not reached: an older answer from the cache"))
    until = evening.known_until
    known = f"{day_words(until.date())} {until:%H:%M}" if until is not None else "no hour yet"
    rows.append(("Known until", f"{known}, for {evening.material.name}"))
    if source.credit:
        rows.append(("Credit", source.credit))
    return [*rows, *(("Note", note) for note in evening.notes)]


def season_parts(prospect: Prospect) -> dict[str, Any]:
    """The feasibility report of the group with the most trees; winters a row each."""
    outlook = prospect.outlook
    season = outlook.season
    counted = outlook.finish_coming.n
    starts = [
        f"{day_words(day)} to finish in {per_cent} % of winters"
        for per_cent, day in outlook.latest_start.items()
        if day
    ]
    return {
        "blocks": ", ".join(block.name for block in prospect.groups[0].blocks),
        "need": prospect.groups[0].need_name,
        "begins": "from tomorrow" if prospect.begun else f"from {day_words(season.first)}",
        "last": day_words(outlook.last),
        "owed": outlook.owed,
        "finish": share_words(outlook.finish_coming),
        "starts": "; or ".join(starts),
        "few": FEW_WINTERS if counted < FEWEST_FOR_START else "",
        "materials": [material.name for material in season.materials],
        "winters": [
            {
                "label": label,
                "usable": [f"{count:.0f}" for count in outlook.usable[:, column]],
                "hindsight": str(outlook.rounds_hindsight[column]),
                "coming": str(outlook.rounds_coming[column]),
            }
            for column, label in enumerate(season.labels)
        ],
        "middle": [f"{np.median(row):g}" for row in outlook.usable],
        "left_out": [f"{label}: {why}" for label, why in season.left_out.items()],
        "notes": prospect.notes,
    }

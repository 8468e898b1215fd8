"""The first sheet of the page: what a client needs, on one side of paper.

What is longer than its share of the sheet is cut, and the cut is said: the report behind it has
the whole.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from spraywindow.days import day_words
from spraywindow.jobs.season import SeasonAnswer, share_words
from spraywindow.jobs.slots import (
    DayAnswer,
    Evening,
    blocks_line,
    chance_figure,
    chance_words,
    closing_words,
    decision_line,
    doubt_lines,
    held_words,
    how_known,
    later_words,
    next_chance,
    opening_words,
    reason,
    untold_lines,
    wait_words,
)
from spraywindow.program import MaterialRounds
from spraywindow.show import EARLY, SPRAYING, clock, hours_words, source_line
from spraywindow.spray import Slot

MOST_MATERIALS, MOST_BLOCKS, MOST_REMARKS, MOST_CAUTIONS, MOST_DAYS, MOST_SLOTS = 5, 5, 3, 7, 4, 2
NAME_LETTERS, SAID_LETTERS = 40, 180
_USUAL = len(SPRAYING) + 1
_FULL_LETTERS, _LARGEST_PT, _SMALLEST_PT = 225_000.0, 10.5, 6.5
"""Letters of 1 pt that fill the sheet, tables and gaps with them, by prints in a wide typeface."""


def letter_pt(letters: int) -> float:
    """The size of letters at which so many of them fit one side of A4 or Letter [pt]."""
    fit = math.sqrt(_FULL_LETTERS / max(letters, 1))
    return round(min(max(fit, _SMALLEST_PT), _LARGEST_PT), 1)


def sheet_parts(
    evenings: Sequence[Evening],
    planned: Sequence[Slot],
    prospect: SeasonAnswer | None,
    cautions: Sequence[str],
) -> dict[str, Any]:
    """What stands on the sheet, as texts.

    Parameters
    ----------
    evenings : sequence of Evening
        As for the page.
    planned : sequence of Slot
        Of the planned rounds, in order of time.
    prospect : SeasonAnswer, optional
        With winters that count.
    cautions : sequence of str
        Every material's, the usual ones last.
    """
    lead = evenings[0]
    site = lead.site
    answers = [each for each in (lead.today, lead.tomorrow) if each is not None]
    remarks = [
        *([told] if (told := decision_line(lead)) else []),
        *doubt_lines(site),
        *untold_lines(lead),
    ]
    entries = list(zip(site.program.entries, site.program.visits_allowed, strict=True))
    days = sorted({answer.date for each in evenings for answer in each.answers})
    dropped = max(len(cautions) - MOST_CAUTIONS, 0)
    return {
        "answers": [_verdict(answer, lead, planned) for answer in answers],
        "blocks": _blocks(lead),
        "remarks": _some([cut(each, SAID_LETTERS) for each in remarks], MOST_REMARKS, "remark"),
        "days": [day_words(day) for day in days],
        "week": [
            {
                "material": cut(each.material.name, NAME_LETTERS),
                "cells": [_cell(day, each, planned) for day in days],
            }
            for each in evenings[:MOST_MATERIALS]
        ],
        "program": [_entry(entry, owed, planned) for entry, owed in entries[:MOST_MATERIALS]],
        "more": more(max(len(evenings), len(entries)) - MOST_MATERIALS, "material"),
        "known": how_known(lead),
        "next": next_visit(lead, planned),
        "season": _season(prospect),
        # the first are of what goes first; the usual ones stand last, and stay
        "cautions": [
            *cautions[: len(cautions) - dropped - _USUAL],
            *([said] if (said := more(dropped, "caution")) else []),
            *cautions[-_USUAL:],
        ],
        "source": source_line(lead.source),
    }


def cut(words: str, most: int) -> str:
    """Words of at most so many letters; the dots say that there is more."""
    return words if len(words) <= most else f"{words[: most - 2].rstrip()} …"


def more(number: int, what: str) -> str:
    """How many are left to the report; empty without any."""
    if number <= 0:
        return ""
    return f"And {number} more {what}{'s' * (number > 1)} in the full report"


def _some(lines: Sequence[str], most: int, what: str) -> list[str]:
    rest = more(len(lines) - most, what)
    return [*lines[:most], *([rest] if rest else [])]


def _verdict(answer: DayAnswer, lead: Evening, planned: Sequence[Slot]) -> dict[str, Any]:
    """The word, what and when of one day, and the reason in a line."""
    slot, decision = answer.slot, answer.decision
    names = (lead.material.name,) if decision is None else decision.materials
    what = cut(" and ".join(names or (lead.material.name,)), NAME_LETTERS)
    day = "today" if answer.date == lead.now.date() else "tomorrow"
    when = f"{day} ({day_words(answer.date)})"
    if answer.verdict != "go" or slot is None:
        return _said(answer.verdict, what, when, reason(answer, lead))
    hours, chance = hours_words(slot.start, slot.end), chance_words(slot)
    word = "go" if decision is None else decision.word
    edges = f"{opening_words(slot, lead)}; {closing_words(slot, lead)}"
    how = f"{edges}; best from {clock(slot.best_start)}"
    if decision is not None and word == "wait":
        return _said(word, "", when, f"{wait_words(decision)}; {what} could go {hours}, {chance}")
    if decision is not None and word == "either":
        how = f"or {later_words(decision)}, worth about as much; {how}"
    plan = "the planned round; " if slot in planned else ""
    return _said(f"{word} {what} {hours}", "", f"{when}, {chance}", plan + how)


def _said(word: str, what: str, when: str, why: str) -> dict[str, Any]:
    whose = f"{when}, {what}" if what else when
    return {"word": word, "when": whose, "why": cut(why[:1].upper() + why[1:], SAID_LETTERS)}


def _blocks(lead: Evening) -> str:
    """Which blocks the verdict is for, those that it is for first."""
    states = sorted(lead.blocks, key=lambda state: state.open is not True)
    named = [
        replace(
            state,
            block=state.block.model_copy(update={"name": cut(state.block.name, NAME_LETTERS)}),
        )
        for state in states
    ]
    rest = more(len(named) - MOST_BLOCKS, "block")
    return f"{blocks_line(named[:MOST_BLOCKS])}{f'. {rest}' if rest else ''}"


def _cell(day: dt.date, evening: Evening, planned: Sequence[Slot]) -> dict[str, Any]:
    """A day of the week for one material: a word, and hours or why there are none."""
    decided = [each for each in (evening.today, evening.tomorrow) if each is not None]
    answer = next((each for each in (*decided, *evening.answers) if each.date == day), None)
    if answer is None:
        return {"word": "", "hours": "", "note": "", "planned": False}
    slots = sorted(
        (slot for slot in evening.slots if slot.start.date() == day), key=lambda slot: slot.start
    )
    if answer.verdict == "go" and answer.slot is not None:
        hours = [hours_words(slot.start, slot.end) for slot in slots[:MOST_SLOTS]]
        rest = [f"and {len(slots) - MOST_SLOTS} more"] if len(slots) > MOST_SLOTS else []
        word = "go" if answer.decision is None else answer.decision.word
        note = chance_figure(answer.slot.chance)
        return {"word": word, "hours": ", ".join([*hours, *rest]), "note": note,
                "planned": any(slot in planned for slot in slots)}  # fmt: skip
    fit = answer.if_open.slot if answer.if_open is not None else None
    if_ready = "" if fit is None else f"if ready {hours_words(fit.start, fit.end)}"
    why = "" if fit is not None else EARLY if answer.early else cut(held_words(answer, evening), 40)
    return {"word": answer.verdict, "hours": if_ready, "note": why, "planned": False}


def _entry(entry: MaterialRounds, owed: int, planned: Sequence[Slot]) -> dict[str, str]:
    """What of a material is done and owed, with dates."""
    days = [day_words(day) for day in entry.days_done[-MOST_DAYS:]]
    earlier = len(entry.days_done) - len(days)
    ahead = [
        f"{day_words(slot.start.date())} {hours_words(slot.start, slot.end)}"
        for slot in planned
        if slot.material == entry.material
    ]
    return {
        "material": cut(entry.material, NAME_LETTERS),
        "done": f"{round(entry.rounds_done, 2):g} of {entry.rounds}",
        "days": ", ".join([*([f"{earlier} earlier"] if earlier else []), *days]),
        "owed": str(owed),
        "next": ", ".join(ahead[:MOST_SLOTS]) or ("none planned yet" if owed else "complete"),
    }


def next_visit(lead: Evening, planned: Sequence[Slot]) -> str:
    """When to come next, and with what."""
    if planned:
        first = planned[0]
        names = dict.fromkeys(
            cut(slot.material, NAME_LETTERS)
            for slot in planned
            if slot.start.date() == first.start.date()
        )
        hours = hours_words(first.start, first.end)
        return f"{day_words(first.start.date())} {hours}, {' and '.join(names)}"
    decision = lead.first.decision
    if not any(lead.site.program.visits_allowed):
        return "none, every round is made"
    aim = "" if decision is None else next_chance(decision, lead)
    return f"none planned yet{f'; {aim}' if aim else ''}"


def _season(prospect: SeasonAnswer | None) -> str:
    """Whether what is owed fits the winter, in a sentence; empty where nothing tells."""
    if prospect is None or not prospect.outlook.owed:
        return ""
    begins = "from tomorrow" if prospect.begun else "from leaf fall"
    outlook = prospect.outlook
    return f"The {outlook.owed} rounds owed fit {begins} in {share_words(outlook.finish_coming)}"

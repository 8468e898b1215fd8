"""One page for one site: a self-contained HTML file that needs no network and no script.

Printed, the client's sheet is its first page, and the full report begins on the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from spraywindow.days import day_words
from spraywindow.jobs.report.leaf_curl import copper_left, copper_words, curl_spells, curl_words
from spraywindow.jobs.report.sheet import MOST_CAUTIONS, letter_pt, sheet_parts
from spraywindow.jobs.season import (
    SEASON_LEGEND,
    SeasonAnswer,
    draw_season,
    season_words,
    share_words,
    what_if_words,
)
from spraywindow.jobs.slots import (
    DayAnswer,
    Evening,
    blocks_line,
    cautions,
    chance_figure,
    chance_words,
    closing_words,
    decision_line,
    doubt_lines,
    draw_week,
    forecasts_line,
    later_words,
    opening_words,
    planned_slots,
    reason,
    split_week,
    untold_lines,
    wait_words,
    week_legend,
    week_weather,
    week_words,
)
from spraywindow.program import MaterialRounds
from spraywindow.record import Kept
from spraywindow.show import (
    FEW_WINTERS,
    LABEL,
    NARROW_PX,
    SPRAYING,
    WIDE_PX,
    clock,
    hours_words,
    inline_svg,
    look,
)
from spraywindow.spray import Slot
from spraywindow.winters import FEWEST_FOR_START


def verdict(
    evening: Evening, evenings: Sequence[Evening], planned: Sequence[Slot]
) -> dict[str, Any]:
    """The answers for what is left of this morning and for tomorrow, and what goes with them."""
    answers = [each for each in (evening.today, evening.tomorrow) if each is not None]
    return {
        "material": evening.material.name,
        "title": _capital(evening.material.title),
        "blocks": blocks_line(evening.blocks),
        "lines": [
            *([told] if (told := decision_line(evening)) and evening is evenings[0] else []),
            *_instead_lines(evening, evenings, planned),
            *(doubt_lines(evening.site) if evening is evenings[0] else []),
            *untold_lines(evening),
            *([line] if (line := forecasts_line(evening)) and evening is evenings[0] else []),
        ],
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


def _answer(answer: DayAnswer, evening: Evening) -> dict[str, str]:
    slot = answer.slot
    if answer.verdict != "go" or slot is None:
        why = _capital(reason(answer, evening))
        return {"verdict": answer.verdict, "hours": "", "chance": "", "why": why}
    words = f"{opening_words(slot, evening)}; {closing_words(slot, evening)}"
    why = f"{_capital(words)}; best from {clock(slot.best_start)}"
    decision = answer.decision
    if decision is not None and decision.advice in ("wait", "either"):
        later = (
            f"Better to wait: {wait_words(decision)}"
            if decision.advice == "wait"
            else f"Or: {later_words(decision)}, worth about as much"
        )
        why = f"{later}. {why}"
    return {
        "verdict": "go" if decision is None else decision.word,
        "hours": hours_words(slot.start, slot.end),
        "chance": chance_words(slot),
        "why": why,
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
            "chance": chance_figure(slot.chance),
            "opens": opening_words(slot, evening),
            "closes": closing_words(slot, evening),
            "dry": f"{slot.dry_h_after:.0f}\u00a0h",
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


def entry_row(entry: MaterialRounds, owed: int, planned: Sequence[Slot]) -> dict[str, str]:
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
        "next": ", ".join(next_ones) or ("none planned yet" if owed else "complete"),
    }


def _done_words(entry: MaterialRounds) -> str:
    days = ", ".join(day_words(day) for day in entry.days_done) or "none"
    if not entry.partly_done:
        return days
    rest = "; the next visit finishes a round" if entry.days_unfinished else ""
    return f"{round(entry.rounds_done, 2):g} rounds: {days}{rest}"


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


def season_parts(prospect: SeasonAnswer) -> dict[str, Any]:
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
        "what_if": what_if_words(outlook),
        "left_out": [f"{label}: {why}" for label, why in season.left_out.items()],
        "notes": prospect.notes,
    }


PAGE_MARK = (b"<!DOCTYPE html>", b'<meta name="generator" content="spraywindow">')
"""By which a page of ours is known: how it begins, and what it holds."""
NARROW_DAYS = (2, 4)
"""Whole days after today with which the parts of the week on a phone end, but for the last."""


@dataclass(frozen=True)
class Picture:
    """A picture for wide screens and paper, and what stands in for it on a phone."""

    wide: str
    narrow: tuple[str, ...]


def page_html(
    evenings: Sequence[Evening],
    weather: pd.DataFrame,
    prospect: SeasonAnswer | None = None,
    *,
    note: str = "",
    rows: Sequence[Kept] = (),
    sheet_alone: bool = False,
) -> str:
    """Write the page: a sheet for the client, and the full report behind it.

    Parameters
    ----------
    evenings : sequence of Evening
        One for every material of the program, the one next due first.
    weather : DataFrame
        The table that they were made from.
    prospect : SeasonAnswer, optional
        The feasibility report, where past winters are known.
    note : str
        Stands under the heading: that it is the demo, say.
    rows : sequence of Kept
        The site's entries of the record that hold.
    sheet_alone : bool
        Without the report behind it.
    """
    # jinja2 is loaded only where a page is made: a cold start counts
    from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
    from markupsafe import Markup

    first = evenings[0]
    site, now = first.site, first.now
    environment = Environment(
        loader=PackageLoader("spraywindow.jobs.report", "templates"),
        autoescape=select_autoescape(["html"]),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["svg"] = Markup  # our own pictures, escaped where they were made
    planned = planned_slots(evenings)
    counted = prospect if prospect is not None and prospect.outlook.season.labels else None
    said = caution_lines(evenings)
    common = {
        "site": site,
        "note": note,
        "made": f"{day_words(now.date())} {now.year}, {now:%H:%M}",
        "job_h": f"{site.job_h:g}",
        "between": site.program.between,
    }
    sheet = sheet_parts(evenings, planned, counted, said)
    template = environment.get_template("sheet.html")
    letters = len(Markup(template.render(**common, sheet=sheet, letter_pt=1.0)).striptags())
    first_sheet = template.render(**common, sheet=sheet, letter_pt=letter_pt(letters))
    behind = {} if sheet_alone else _behind(evenings, weather, counted, planned, rows)
    return environment.get_template("page.html").render(
        **common, **behind, first_sheet=Markup(first_sheet), sheet_alone=sheet_alone,
        cautions=said, most_cautions=MOST_CAUTIONS,
    )  # fmt: skip


def _behind(
    evenings: Sequence[Evening],
    weather: pd.DataFrame,
    prospect: SeasonAnswer | None,
    planned: Sequence[Slot],
    rows: Sequence[Kept],
) -> dict[str, Any]:
    """What stands behind the sheet."""
    first = evenings[0]
    site, now = first.site, first.now
    return {
        "verdicts": [verdict(each, evenings, planned) for each in evenings],
        "week": week_picture(weather, evenings),
        "legend": week_legend(first),
        "season_legend": SEASON_LEGEND,
        "slots": [row for evening in evenings for row in slot_rows(evening, planned)],
        "names": [evening.material.name for evening in evenings],
        "days": day_rows(evenings),
        "program": [
            entry_row(entry, owed, planned)
            for entry, owed in zip(site.program.entries, site.program.visits_allowed, strict=True)
        ],
        "program_notes": site.program.notes(),
        "season": None
        if prospect is None
        else {"picture": season_picture(prospect), **season_parts(prospect)},
        "curl": curl_words(curl_spells(weather, site, now), site.units),
        "copper": copper_words(copper_left(weather, site, now, rows), site),
        "source": source_rows(first),
    }


def week_picture(weather: pd.DataFrame, evenings: Sequence[Evening]) -> Picture:
    """Draw the week for the page: whole on a wide screen, in parts on a phone."""
    site, now = evenings[0].site, evenings[0].now
    week = week_weather(weather, site, now)
    title = f"The coming week's weather and slots, {site.name}"
    words = week_words(evenings)
    with look("week"):
        wide = inline_svg(draw_week(week, evenings, width_px=WIDE_PX), "week", title, words)
    narrow = []
    for number, part in enumerate(split_week(week, NARROW_DAYS), start=1):
        with look(f"week{number}"):
            figure = draw_week(part, evenings, width_px=NARROW_PX, whole=week)
            narrow.append(inline_svg(figure, f"week-{number}", f"{title}, part {number}", words))
    return Picture(wide, tuple(narrow))


def season_picture(prospect: SeasonAnswer) -> Picture:
    """Draw the season for the page, for the group with the most trees."""
    outlook = prospect.outlook
    title = f"The season in past winters, {prospect.site.name}"
    words = season_words(outlook)
    svgs = []
    for identity, width in (("season", WIDE_PX), ("season-narrow", NARROW_PX)):
        with look(identity):
            svgs.append(inline_svg(draw_season(outlook, width_px=width), identity, title, words))
    return Picture(svgs[0], (svgs[1],))

"""An evening's answer as text that fits 80 columns."""

from __future__ import annotations

import pandas as pd

from spraywindow.days import day_words
from spraywindow.jobs.slots.answer import Evening
from spraywindow.jobs.slots.two_forecasts import forecasts_line, forecasts_text
from spraywindow.jobs.slots.words import (
    blocks_line,
    cautions,
    closes_words,
    decision_line,
    dew_line,
    doubt_lines,
    headline,
    how_known,
    limit_words,
    opens_words,
    reason,
    rounds_line,
    untold_lines,
    untold_must,
)
from spraywindow.show import EARLY, clock, hours_words, paragraph, source_line, table_text
from spraywindow.spray import Material, open_hours


def evening_text(evening: Evening, others: list[Evening], *, with_hours: bool = False) -> str:
    """The whole answer: first line, blocks, slots, days, what was not judged, cautions, source.

    `others` are the evenings of the program's other materials, a line each.
    """
    lines = [paragraph(f"{evening.site.name}: {headline(evening)}.")]
    if evening.today is not None:
        lines.append(paragraph(f"{headline(evening, evening.tomorrow)}."))
    if told := decision_line(evening):
        lines.append(paragraph(f"{told}."))
    parts = ["\n".join(lines)]
    lines = [paragraph(f"{blocks_line(evening.blocks)}.")]
    if rounds := rounds_line(evening):
        lines.append(paragraph(f"{rounds}."))
    lines += [paragraph(f"{line}.") for line in doubt_lines(evening.site)]
    if dew := dew_line(evening):
        lines.append(paragraph(f"{dew}."))
    lines += [paragraph(f"{line}.") for line in untold_lines(evening)]
    if told := forecasts_line(evening):
        lines.append(paragraph(f"{told}."))
    lines += [paragraph(_instead(other, evening)) for other in others]
    parts += ["\n".join(lines), _slots_text(evening)]
    if evening.answers:
        parts.append(_days_text(evening))
    if apart := forecasts_text(evening):
        parts.append(apart)
    if with_hours:
        parts.append(_hours_text(evening))
    parts.append("\n".join(_foot(evening)))
    parts.append("\n".join(paragraph(f"! {line}") for line in cautions(evening)))
    return "\n\n".join(parts)


def _instead(other: Evening, evening: Evening) -> str:
    """Another material's answer; both on one day only where a tank mix allows it."""
    program = evening.site.program
    names = evening.material.name, other.material.name
    beside = headline(other).removeprefix("either: ")
    line = f"{'Or instead' if other.first.verdict == 'go' else 'Also'}: {beside}"
    known = set(names) <= set(program.materials)
    if other.first.verdict == evening.first.verdict == "go" and known:
        days = program.days_between(*names)
        if program.is_mix(names):
            line += "; the two may go out in one tank"
        elif days:
            line += f"; keep {days} days between the two"
    return f"{line}."


def _dry_words(material: Material) -> str:
    """The rain-free hours that a material wants, and those without which it is not sprayed."""
    wanted = f"{material.name} wants {material.dry_spell_h:.0f} rain-free hours after it"
    after = [
        limit.hours
        for limit in material.limits
        if limit.kind == "hard" and limit.quantity == "rain_after_drying" and limit.hours
    ]
    return f"{wanted}, and {after[0]:.0f} after it has dried are a must" if after else wanted


def _foot(evening: Evening) -> list[str]:
    lines = []
    until = evening.known_until
    dry_h = evening.material.dry_spell_h
    if until is not None and until >= evening.now:
        wanted = f": {_dry_words(evening.material)}"
        lines.append(f"Known until {day_words(until.date())} {clock(until)}, later is {EARLY}"
                     f"{wanted if dry_h else ''}.")  # fmt: skip
    else:
        lines.append(f"No hour from now on can be answered: {untold_must(evening) or EARLY}.")
    lines.append(f"{how_known(evening)}.")
    lines += [f"Note: {note}." for note in evening.notes]
    lines.append(source_line(evening.source))
    return [paragraph(line) for line in lines]


def _slots_text(evening: Evening) -> str:
    if not evening.slots:
        none = f"No slot of {evening.site.job_h:g} h in the coming week"
        days = [day_words(day.date) for day in evening.answers if day.if_open and day.if_open.slot]
        seen = f", unless the trees are looked at and ready: {', '.join(days)}" if days else ""
        return paragraph(f"{none}{seen}.")
    rows = [
        [
            day_words(slot.start.date()),
            hours_words(slot.start, slot.end),
            clock(slot.best_start),
            _share(slot.chance),
            f"{slot.dry_h_after:.0f} h",
            f"{opens_words(slot, evening)} / {closes_words(slot, evening)}",
        ]
        for slot in evening.slots
    ]
    head = ["day", "hours", "best\nstart", "chance\nto hold", "rain-free\nafter", "opens / closes"]
    return "Slots of the coming week, the likeliest to hold first\n" + table_text(
        head, rows, right=(3, 4)
    )


def _days_text(evening: Evening) -> str:
    rows = [
        [
            day_words(answer.date), answer.verdict,
            "" if answer.best_start is None else clock(answer.best_start),
            "" if answer.best_start is None else _share(answer.chance),
            reason(answer, evening),
        ]
        for answer in evening.answers
    ]  # fmt: skip
    head = ["day", "answer", "best\nstart", "chance\nto hold", "why"]
    return "Day by day\n" + table_text(head, rows, right=(3,))


def _share(chance: float | None) -> str:
    return "no number" if chance is None else f"{100 * chance:.0f} %"


def _hours_text(evening: Evening) -> str:
    hours = evening.hours_ahead
    hours = hours[open_hours(hours, evening.site.access)]
    if not len(hours):
        return "Hour by hour: no working hour in the weather that is known."
    rows = []
    for time, row in zip(pd.DatetimeIndex(hours.index), hours.to_dict("records"), strict=True):
        comfortable = row["verdict"] == "go" and row["margin"] >= 1.0
        words = "" if comfortable else limit_words(row["held_by"], evening.material)
        margin = "" if row["verdict"] == "unknown" else f"{row['margin']:.2f}"
        rows.append([f"{day_words(time.date())} {clock(time)}", row["verdict"], margin, words])
    note = (
        "Hour by hour, in working hours; margin: how far within the nearest limit, 0 at it, less "
        "past it, 1 comfortable"
    )
    head = ["hour", "answer", "margin", "nearest limit, or stopped by"]
    return f"{paragraph(note, '')}\n{table_text(head, rows, right=(2,))}"

"""An evening's answer as text that fits 80 columns."""

from __future__ import annotations

import io
import textwrap

import pandas as pd
from rich import box
from rich.console import Console
from rich.table import Table

from spraywindow.orchard.evening import Evening
from spraywindow.output.answers import shown_hours
from spraywindow.output.words import (
    blocks_line,
    cautions,
    clock,
    day_words,
    headline,
    limit_words,
    reason,
    source_line,
)
from spraywindow.spray.slots import open_hours

WIDTH = 80


def paragraph(text: str, indent: str = "  ") -> str:
    """Wrap a line of prose, later lines indented."""
    return textwrap.fill(text, WIDTH, subsequent_indent=indent, break_on_hyphens=False)


def table_text(columns: list[str], rows: list[list[str]], right: tuple[int, ...] = ()) -> str:
    """Set a plain table; columns numbered in `right` are aligned right, long cells wrap."""
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), show_edge=False, pad_edge=False)
    for number, name in enumerate(columns):
        table.add_column(name, justify="right" if number in right else "left",
                         no_wrap=number < len(columns) - 1)  # fmt: skip
    for row in rows:
        table.add_row(*row)
    buffer = io.StringIO()
    Console(file=buffer, width=WIDTH, color_system=None, highlight=False, markup=False,
            emoji=False).print(table)  # fmt: skip
    return "\n".join(line.rstrip() for line in buffer.getvalue().rstrip().splitlines())


def evening_text(evening: Evening, others: list[Evening], *, with_hours: bool = False) -> str:
    """The whole answer: first line, blocks, slots, days, what was not judged, cautions, source.

    `others` are the evenings of the program's other materials, a line each.
    """
    parts = [paragraph(f"{evening.site.name}: {headline(evening)}")]
    lines = [paragraph(f"For {blocks_line(evening.blocks)}.")]
    lines += [paragraph(f"Also: {headline(other)}") for other in others]
    parts.append("\n".join(lines))
    parts.append(_slots_text(evening))
    parts.append(_days_text(evening))
    if with_hours:
        parts.append(_hours_text(evening))
    foot = []
    until = evening.known_until
    if until is not None:
        foot.append(paragraph(
            f"Known until {day_words(until.date())} {clock(until)}: {evening.material.name} wants "
            f"{evening.material.dry_spell_h:.0f} h of rain-free weather afterwards."
        ))  # fmt: skip
    if evening.hours.attrs["not_judged"]:
        names = ", ".join(evening.hours.attrs["not_judged"])
        foot.append(paragraph(f"Not judged, the source does not tell: {names}."))
    foot += [paragraph(f"Note: {note}.") for note in evening.notes]
    foot.append(paragraph(source_line(evening.source, evening.now)))
    parts.append("\n".join(foot))
    parts.append("\n".join(paragraph(f"! {line}") for line in cautions(evening)))
    return "\n\n".join(parts)


def _slots_text(evening: Evening) -> str:
    if not evening.slots:
        return f"No slot of {evening.site.crew.job:g} h in the coming week."
    rows = [
        [
            day_words(slot.start.date()),
            f"{clock(slot.start)}-{clock(slot.end)}",
            clock(slot.best_start),
            f"{100 * slot.chance:.0f} %",
            f"{slot.margin:.2f}",
            f"{slot.dry_h_after:.0f} h",
            f"{limit_words(slot.opens, evening.material)} / "
            f"{limit_words(slot.closes, evening.material)}",
        ]
        for slot in evening.slots
    ]
    head = ["day", "hours", "best", "holds", "margin", "dry", "held before / after"]
    return "Slots of the coming week, the likeliest to hold first\n" + table_text(
        head, rows, right=(3, 4, 5)
    )


def _days_text(evening: Evening) -> str:
    rows = [
        [
            day_words(answer.date),
            answer.verdict,
            reason(answer, evening.material, evening.site.units),
        ]
        for answer in evening.answers
    ]
    return "Day by day\n" + table_text(["day", "answer", "why"], rows)


def _hours_text(evening: Evening) -> str:
    hours = shown_hours(evening)
    hours = hours[open_hours(hours, evening.site.access)]
    zone = evening.site.place.timezone
    rows = []
    for time, row in zip(
        pd.DatetimeIndex(hours.index).tz_convert(zone), hours.to_dict("records"), strict=True
    ):
        margin = "" if row["verdict"] == "unknown" else f"{row['margin']:.2f}"
        rows.append([
            f"{day_words(time.date())} {clock(time)}", row["verdict"], margin,
            limit_words(row["held_by"], evening.material),
        ])  # fmt: skip
    return "Hour by hour, in working hours\n" + table_text(
        ["hour", "answer", "margin", "held by"], rows, right=(2,)
    )

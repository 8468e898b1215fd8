"""Text that fits a sheet of 80 columns: paragraphs, tables, the lines of the papers."""

from __future__ import annotations

import re
import textwrap

WIDTH = 80
GAP = 2
"""Spaces between the columns of a table."""
_ITEM = re.compile(r"- |(?:[A-Z][\w ,-]*?)?  +")
"""What a line of a list or of the record sheet begins with."""


def paragraph(text: str, indent: str = "  ") -> str:
    """Wrap a line of prose, later lines indented."""
    return textwrap.fill(text, WIDTH, subsequent_indent=indent, break_on_hyphens=False)


def table_text(columns: list[str], rows: list[list[str]], right: tuple[int, ...] = ()) -> str:
    """Set a plain table; columns numbered in `right` are aligned right, the last one wraps.

    A line break in a column's name sets it on two lines.
    """
    depth = max(name.count("\n") for name in columns) + 1
    names = [(name.split("\n") + [""] * depth)[:depth] for name in columns]
    head = [list(line) for line in zip(*names, strict=True)]
    lines = [*head, *rows]
    widths = [max(len(line[column]) for line in lines) for column in range(len(columns) - 1)]
    room = max(20, WIDTH - sum(widths) - GAP * len(widths))
    out = []
    for line in lines:
        cells = [
            cell.rjust(width) if number in right else cell.ljust(width)
            for number, (cell, width) in enumerate(zip(line, widths, strict=False))
        ]
        lead = "".join(cell + " " * GAP for cell in cells)
        for part in textwrap.wrap(line[-1], room, break_on_hyphens=False) or [""]:
            out.append((lead + part).rstrip())
            lead = " " * len(lead)
    out.insert(depth, "-" * max(map(len, out)))
    return "\n".join(out)


def folded(paragraph: str) -> str:
    """Fold a paragraph of our own papers where a line is too long; items under their text."""
    lines = paragraph.split("\n")
    if max(map(len, lines)) <= WIDTH:
        return paragraph
    if not any(map(_ITEM.match, lines)):
        end = "\n" * paragraph.endswith("\n")
        return textwrap.fill(paragraph, WIDTH, break_on_hyphens=False) + end
    out = []
    for line in lines:
        item = _ITEM.match(line)
        indent = " " * (len(item[0]) if item else 0)
        fold = textwrap.wrap(line, WIDTH, subsequent_indent=indent, break_on_hyphens=False)
        out += fold or [""]
    return "\n".join(out)

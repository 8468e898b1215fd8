"""Lines of the papers, folded to the width of a sheet."""

from __future__ import annotations

import re
import textwrap

WIDTH = 80
_ITEM = re.compile(r"- |(?:[A-Z][\w ,-]*?)?  +")
"""What a line of a list or of the record sheet begins with."""


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

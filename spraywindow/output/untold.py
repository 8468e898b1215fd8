"""What the weather does not tell, in words: hours that are missing, limits that are not judged."""

from __future__ import annotations

import pandas as pd

from spraywindow.orchard.evening import Evening
from spraywindow.orchard.holes import Hole
from spraywindow.output.words import clock, day_words, limit_words

COLUMN_WORDS = {
    "temp_c": "temperature",
    "dew_point_c": "dew point",
    "wind_ms": "wind",
    "rain_mm": "rain",
}
MOST_HOLES = 4
"""Holes that one line names."""


def untold_lines(evening: Evening) -> list[str]:
    """What the weather does not tell: hours that are missing, limits that are not judged."""
    lines = []
    if evening.holes:
        lines.append(f"Missing in the weather: {'; '.join(map(_hole_words, _widest(evening)))}")
    names = [limit_words(name, evening.material) for name in evening.hours.attrs["not_judged"]]
    if names:
        lines.append(f"Not judged, look on site (the weather does not tell): {', '.join(names)}")
    return lines


def _widest(evening: Evening) -> list[Hole]:
    """The longest holes, as many as one line holds, in order of time."""
    longest = sorted(evening.holes, key=lambda hole: hole.start - hole.end)[:MOST_HOLES]
    return sorted(longest, key=lambda hole: hole.start)


def _hole_words(hole: Hole) -> str:
    same = hole.start.date() == (hole.end - pd.Timedelta(hours=1)).date()
    until = "24:00" if same and clock(hole.end) == "00:00" else clock(hole.end)
    last = until if same else f"{day_words(hole.end.date())} {until}"
    return f"{COLUMN_WORDS[hole.column]} {day_words(hole.start.date())} {clock(hole.start)}-{last}"

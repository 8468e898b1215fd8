"""Days and clock times as people say them."""

from __future__ import annotations

import datetime as dt


def day_words(date: dt.date) -> str:
    """A local day: "Tue 13 Jan"."""
    return f"{date:%a} {date.day} {date:%b}"


def clock_words(hours: float) -> str:
    """Hours from midnight as a clock time: "07:30"."""
    minutes = round(hours * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"

"""Phrases that every answer uses: times of day, and where the weather came from."""

from __future__ import annotations

import math

import pandas as pd

from spraywindow.weather import WeatherSource


def clock(time: pd.Timestamp) -> str:
    """Local clock time, "10:00"."""
    return f"{time:%H:%M}"


def hours_words(start: pd.Timestamp, end: pd.Timestamp) -> str:
    """Local hours of one day on the clock: "10:00-13:00"."""
    # a slot that runs to midnight ends at 24, not at 0
    last = "24:00" if end.hour == 0 and end.minute == 0 and end > start else clock(end)
    return f"{clock(start)}-{last}"


def source_line(source: WeatherSource) -> str:
    """Where the weather came from, how old it is, and its credit."""
    parts = [f"Weather: {source.name or 'a weather file'}"]
    if not math.isnan(age_h := source.age_h):
        parts.append(f"issued {age_h:.0f} h before this answer" if age_h >= 0.5 else "just issued")
    elif source.fetched is not None:
        parts.append(f"fetched {source.fetched:%Y-%m-%d %H:%M}")
    if source.stale:
        parts.append("service not reached: an older answer from the cache")
    return "; ".join([*parts, source.credit] if source.credit else parts)

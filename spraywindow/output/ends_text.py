"""The last usable day of each material in words."""

from __future__ import annotations

import datetime as dt

from spraywindow.season.outlook import Outlook


def ends_text(outlook: Outlook) -> str:
    """A sentence, as "Last usable day about (10-90 %): oil 4 Mar (25 Feb to 12 Mar)."."""
    if not outlook.season.labels:
        return "Without a winter, no last usable day is known."
    words = [
        f"{name} {_words(end.last)} ({_words(end.low)} to {_words(end.high)})"
        for name, end in outlook.ends.items()
    ]
    return f"Last usable day about (10-90 %): {', '.join(words)}."


def _words(day: dt.date | None) -> str:
    return f"{day.day} {day:%b}" if day else "never"

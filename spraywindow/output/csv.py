"""The evening's answer as CSV: slots, or hours with each limit's margin."""

from __future__ import annotations

import pandas as pd

from spraywindow.orchard.evening import Evening
from spraywindow.output.answers import number, shown_hours, slot_answer, stamp


def slots_csv(evening: Evening) -> str:
    """One row a slot, the likeliest first; columns as the JSON keys."""
    keys = ["start", "end", "best_start", "duration_h", "margin", "chance", "opens", "closes",
            "dry_h_after"]  # fmt: skip
    rows = [slot_answer(slot, evening) for slot in evening.slots]
    return str(pd.DataFrame(rows, columns=keys).to_csv(index=False, lineterminator="\n"))


def hours_csv(evening: Evening) -> str:
    """One row an hour in local time: verdict, margin, what holds it, and each limit's margin."""
    hours = shown_hours(evening).drop(columns="go")
    times = pd.DatetimeIndex(hours.index).tz_convert(evening.site.place.timezone)
    hours.index = pd.Index([stamp(time) for time in times], name="time")
    numbers = hours.select_dtypes("number").columns
    hours = hours.assign(**{name: hours[name].map(number) for name in numbers})
    return str(hours.to_csv(lineterminator="\n"))

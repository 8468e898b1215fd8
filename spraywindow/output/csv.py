"""The evening's answer as CSV: slots, or hours with each limit's margin."""

from __future__ import annotations

import pandas as pd

from spraywindow.orchard.evening import Evening
from spraywindow.output.json import keys_of, number, plain
from spraywindow.output.words import EVENING_WORDS
from spraywindow.spray.slots import Slot


def slots_csv(evening: Evening) -> str:
    """One row a slot, the likeliest first; columns as the JSON keys."""
    columns = [key.name for key in keys_of(Slot) or ()]
    rows = plain(evening, EVENING_WORDS)["slots"]
    return str(pd.DataFrame(rows, columns=columns).to_csv(index=False, lineterminator="\n"))


def hours_csv(evening: Evening) -> str:
    """One row an hour in local time: verdict, margin, what holds it, and each limit's margin."""
    hours = evening.hours_ahead.drop(columns="go")
    hours.index = pd.Index(plain(list(hours.index)), name="time")
    numbers = hours.select_dtypes("number").columns
    hours = hours.assign(**{name: hours[name].map(number) for name in numbers})
    return str(hours.to_csv(lineterminator="\n"))

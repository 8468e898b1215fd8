"""Where the weather of an answer came from, and how old it was then."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import pandas as pd


@dataclass(frozen=True)
class WeatherSource:
    """What a table tells of its source, as of the time of an answer.

    Attributes
    ----------
    name, credit : str or None
    issued, fetched : Timestamp or None
        When the forecast was made; when it was read, in the answer's time zone.
    stale : bool
        The service was not reached, and an older answer of it was taken.
    age_h : float
        From issue to the answer [h]; NaN where the source does not say when it was issued.
    """

    json_keys: ClassVar = ("name", "issued", "age_h:2", "credit", "stale")

    name: str | None
    issued: pd.Timestamp | None
    fetched: pd.Timestamp | None
    age_h: float
    credit: str | None
    stale: bool


def weather_source(table: pd.DataFrame, now: pd.Timestamp) -> WeatherSource:
    """Read it from the ``source`` that a weather table carries."""
    told = table.attrs.get("source", {})
    issued, fetched = (
        time if isinstance(time := told.get(key), pd.Timestamp) else None
        for key in ("issued", "fetched")
    )
    return WeatherSource(
        name=told.get("name"),
        issued=issued,
        fetched=None if fetched is None else fetched.tz_convert(now.tzinfo),
        age_h=math.nan if issued is None else (now - issued) / pd.Timedelta(hours=1),
        credit=told.get("credit"),
        stale=bool(told.get("stale", False)),
    )

"""The receipt of an answer: what was advised, from what, so that it can be judged later."""

from __future__ import annotations

import hashlib
from dataclasses import asdict
from typing import Any

import numpy as np
import pandas as pd

from spraywindow.orchard.evening import Evening
from spraywindow.output.answers import hours_answer, number, source_answer, stamp
from spraywindow.weather.hourly import COLUMNS


def receipt_answer(evening: Evening, weather: pd.DataFrame) -> dict[str, Any]:
    """Make the receipt: input hash, source, limits with values and sources, the deciding hours.

    The hours are those of the day that it answers for, with the weather as it was forecast.

    Parameters
    ----------
    evening : Evening
    weather : DataFrame
        The table that the answer was made from.
    """
    answer = evening.first
    slot = answer.slot
    day = answer.date.isoformat()
    return {
        "site": evening.site.name,
        "material": evening.material.name,
        "now": stamp(evening.now),
        "verdict": answer.verdict,
        "start": stamp(slot.start if slot else None),
        "end": stamp(slot.end if slot else None),
        "date": day,
        "known_until": stamp(evening.known_until),
        "source": source_answer(evening.source, evening.now),
        "input_sha256": weather_hash(weather),
        "setting": asdict(evening.site.setting),
        "limits": [
            {
                "name": limit.name,
                "quantity": limit.quantity,
                "bound": limit.bound,
                "value": limit.value,
                "width": limit.width,
                "unit": limit.unit,
                "kind": limit.kind,
                "hours": limit.hours,
                "source": limit.source,
            }
            for limit in evening.material.limits
        ],
        "chance": number(slot.chance, 3) if slot else None,
        "hours": [
            hour | _weather_at(weather, str(hour["time"]))
            for hour in hours_answer(evening)
            if str(hour["time"]).startswith(day)
        ],
    }


def _weather_at(weather: pd.DataFrame, time: str) -> dict[str, float | None]:
    """Values of the table's columns in an hour; None where unknown."""
    row = weather.reindex([pd.Timestamp(time).tz_convert("UTC")]).iloc[0]
    return {name: number(float(row[name]), 3) for name in COLUMNS if name in weather.columns}


def weather_hash(weather: pd.DataFrame) -> str:
    """SHA-256 of the table's stamps and contract columns."""
    digest = hashlib.sha256(pd.DatetimeIndex(weather.index).asi8.tobytes())
    for name in COLUMNS:
        if name in weather.columns:
            digest.update(name.encode())
            digest.update(np.ascontiguousarray(weather[name].to_numpy(dtype=float)).tobytes())
    return digest.hexdigest()

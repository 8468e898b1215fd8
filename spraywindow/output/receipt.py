"""The receipt of an answer: what was advised, from what, so that it can be judged later."""

from __future__ import annotations

import hashlib
from typing import Any

import numpy as np
import pandas as pd

from spraywindow.orchard.evening import Evening
from spraywindow.output.answers import hours_answer, number, source_answer, stamp
from spraywindow.weather.hourly import COLUMNS


def receipt_answer(evening: Evening, weather: pd.DataFrame) -> dict[str, Any]:
    """Make the receipt: input hash, source, limits with values and sources, the deciding hours.

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
        "limits": [
            {
                "name": limit.name,
                "bound": limit.bound,
                "value": limit.value,
                "unit": limit.unit,
                "kind": limit.kind,
                "hours": limit.hours,
                "source": limit.source,
            }
            for limit in evening.material.limits
        ],
        "chance": number(slot.chance, 3) if slot else None,
        "hours": [hour for hour in hours_answer(evening) if str(hour["time"]).startswith(day)],
    }


def weather_hash(weather: pd.DataFrame) -> str:
    """SHA-256 of the table's stamps and contract columns."""
    digest = hashlib.sha256(pd.DatetimeIndex(weather.index).asi8.tobytes())
    for name in COLUMNS:
        if name in weather.columns:
            digest.update(name.encode())
            digest.update(np.ascontiguousarray(weather[name].to_numpy(dtype=float)).tobytes())
    return digest.hexdigest()

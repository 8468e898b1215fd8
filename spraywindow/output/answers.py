"""The answers as JSON: stable keys, ISO 8601 times with offset, null for unknown."""

from __future__ import annotations

import json
import math
from typing import Any

import pandas as pd

from spraywindow.orchard.evening import Answer, Evening
from spraywindow.output.words import age_h, cautions, closes_words, opens_words, reason
from spraywindow.spray.slots import Slot


def number(value: float, digits: int = 4) -> float | None:
    """Round a number for JSON; NaN and infinity become None, what is below 0 stays below."""
    if not math.isfinite(value):
        return None
    rounded = round(float(value), digits)
    return -(10.0**-digits) if value < 0 and rounded == 0 else rounded


def stamp(time: Any) -> str | None:
    """ISO 8601 with offset, to the second; None stays None."""
    return None if time is None else str(pd.Timestamp(time).isoformat(timespec="seconds"))


def to_json(answer: dict[str, Any]) -> str:
    """Write an answer; a NaN in it is a programmer's mistake and raises ValueError."""
    return json.dumps(answer, ensure_ascii=False, indent=2, allow_nan=False)


def source_answer(source: dict[str, Any], now: pd.Timestamp) -> dict[str, Any]:
    """Where the weather came from."""
    return {
        "name": source.get("name"),
        "issued": stamp(source.get("issued")),
        "age_h": number(age_h(source, now), 2),
        "credit": source.get("credit"),
        "stale": bool(source.get("stale", False)),
    }


def slot_answer(slot: Slot, evening: Evening) -> dict[str, Any]:
    """One slot."""
    return {
        "start": stamp(slot.start),
        "end": stamp(slot.end),
        "best_start": stamp(slot.best_start),
        "duration_h": slot.duration_h,
        "margin": number(slot.margin),
        "chance": number(slot.chance, 3),
        "opens": opens_words(slot, evening),
        "closes": closes_words(slot, evening),
        "dry_h_after": number(slot.dry_h_after, 1),
    }


def _day_answer(answer: Answer, evening: Evening) -> dict[str, Any]:
    slot = answer.slot
    return {
        "date": answer.date.isoformat(),
        "verdict": answer.verdict,
        "start": stamp(slot.start if slot else None),
        "end": stamp(slot.end if slot else None),
        "margin": number(slot.margin if slot else answer.margin),
        "reason": reason(answer, evening),
    }


def slots_answer(evening: Evening, *, with_hours: bool = False) -> dict[str, Any]:
    """The answer of ``spraywindow slots``; keys as in DEVELOPERS.md."""
    out: dict[str, Any] = {
        "site": evening.site.name,
        "material": evening.material.name,
        "now": stamp(evening.now),
        "known_until": stamp(evening.known_until),
        "source": source_answer(evening.source, evening.now),
        "not_judged": list(evening.hours.attrs["not_judged"]),
    }
    if evening.today is not None:
        out["today"] = _day_answer(evening.today, evening)
    out |= {
        "tomorrow": _day_answer(evening.tomorrow, evening),
        "slots": [slot_answer(slot, evening) for slot in evening.slots],
        "days": [
            {
                "date": answer.date.isoformat(),
                "verdict": answer.verdict,
                "held_by": answer.held_by or None,
                "reason": reason(answer, evening),
            }
            for answer in evening.answers
        ],
        "blocks": [
            {
                "name": state.block.name,
                "stage": state.block.stage,
                "stage_date": state.block.observed.isoformat() if state.block.observed else None,
                "open": state.open,
                "why": state.why or None,
            }
            for state in evening.blocks
        ],
        "cautions": cautions(evening),
    }
    if with_hours:
        out["hours"] = hours_answer(evening)
    return out


def hours_answer(evening: Evening) -> list[dict[str, Any]]:
    """Hour by hour from now on, each limit's margin."""
    hours = shown_hours(evening)
    limits = [name for name in hours.columns if name not in ("verdict", "go", "margin", "held_by")]
    zone = evening.site.place.timezone
    return [
        {
            "time": stamp(time.tz_convert(zone)),
            "verdict": row["verdict"],
            "margin": number(row["margin"]),
            "held_by": str(row["held_by"]),
            "limits": {name: number(row[name]) for name in limits},
        }
        for time, row in zip(hours.index, hours.to_dict("records"), strict=True)
    ]


def shown_hours(evening: Evening) -> pd.DataFrame:
    """The scored hours from now on, through the days that the answer covers."""
    last = max((answer.date for answer in evening.answers), default=evening.now.date())
    end = pd.Timestamp(last, tz=evening.site.place.timezone) + pd.Timedelta(days=1)
    hours = evening.hours
    return hours[(hours.index >= evening.now.floor("h")) & (hours.index < end)]

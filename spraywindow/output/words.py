"""An evening's answer in growers' words."""

from __future__ import annotations

import datetime as dt
import math

import pandas as pd

from spraywindow.orchard.evening import Answer, BlockState, Evening
from spraywindow.output.notices import EARLY, LABEL, SPRAYING
from spraywindow.output.units import System, can_show, shown
from spraywindow.spray.hours import STAGE
from spraywindow.spray.material import Limit, Material
from spraywindow.spray.slots import FAR_END, NO_ACCESS, Slot


def limit_words(name: str, material: Material) -> str:
    """Growers' words for what holds an hour: a limit, the access hours, the end of the data."""
    if name == NO_ACCESS:
        return "outside working hours"
    if name == FAR_END:
        return EARLY
    if name == STAGE:
        return "growth stage"
    return material.limit(name).words


def reason(answer: Answer, material: Material, system: System) -> str:
    """Why a day is as it is: the limit nearest to letting it go, with the value and the limit."""
    if answer.why:
        return answer.why
    if answer.verdict == "go" and answer.slot is not None:
        return f"tightest: {limit_words(answer.slot.tightest, material)}"
    words = limit_words(answer.held_by, material)
    if answer.held_by in (NO_ACCESS, FAR_END, STAGE):
        return words
    if answer.verdict == "unknown":
        return f"{EARLY}: {words} cannot be ruled out"
    found = found_value(material.limit(answer.held_by), answer.margin)
    limit = material.limit(answer.held_by)
    if math.isnan(found) or not can_show(limit.unit) or limit.quantity == "hours_dry":
        return words
    side = {
        "at least": "at least",
        "above": "more than",
        "at most": "at most",
        "below": "less than",
    }
    wanted = f"{side[limit.bound]} {shown(limit.value, limit.unit, system)}"
    return f"{words}: {shown(found, limit.unit, system)}, {wanted} wanted"


def found_value(limit: Limit, margin: float) -> float:
    """The quantity that gave a margin, in the limit's unit; NaN where the cap of 1 hides it."""
    if math.isnan(margin) or math.isinf(margin) or margin >= 1.0:
        return math.nan
    away = margin * limit.width
    return limit.value + (away if limit.bound in ("at least", "above") else -away)


def clock(time: pd.Timestamp) -> str:
    """Local clock time, "10:00"."""
    return f"{time:%H:%M}"


def day_words(date: dt.date) -> str:
    """A local day, "Tue 13 Jan"."""
    return f"{date:%a} {date.day} {date:%b}"


def closing_words(slot: Slot, material: Material) -> str:
    """What opens and what closes a slot."""
    return (
        f"opens after: {limit_words(slot.opens, material)}; "
        f"closes by: {limit_words(slot.closes, material)}"
    )


def headline(evening: Evening) -> str:
    """The answer in one line: verdict, hours, material, what closes it or what stops it."""
    answer, material = evening.first, evening.material
    system = evening.site.units
    when = "rest of today" if answer is evening.today else "tomorrow"
    day = f"{when}, {day_words(answer.date)}"
    if answer.verdict == "go" and answer.slot is not None:
        slot = answer.slot
        return (
            f"go {clock(slot.start)}-{clock(slot.end)}, {material.name} ({day}); "
            f"{closing_words(slot, material)}"
        )
    return f"{answer.verdict}, {material.name} ({day}): {reason(answer, material, system)}"


def blocks_line(blocks: list[BlockState]) -> str:
    """Which blocks the answer is for, and which not, with the reason."""
    for_them = ", ".join(state.block.name for state in blocks if state.open)
    parts = [for_them or "no block"]
    for state in blocks:
        if not state.open:
            sure = "not" if state.open is False else "not without a look"
            parts.append(f"{sure} {state.block.name}: {state.why}")
    return "; ".join(parts)


def cautions(evening: Evening) -> list[str]:
    """The cautions of this answer: what the hours of its slot say, the material's, the usual."""
    lines = []
    slot = evening.first.slot
    if slot is not None:
        inside = evening.hours.loc[slot.start : slot.end - pd.Timedelta(hours=1)]
        for limit in evening.material.limits:
            if limit.kind == "caution" and limit.name in inside and (inside[limit.name] < 0).any():
                lines.append(f"{limit.words}: {limit.reason}")
    return [*lines, *evening.material.cautions, *SPRAYING, LABEL]


def source_line(source: dict[str, object], now: pd.Timestamp) -> str:
    """Where the weather came from, how old it is, and its credit."""
    name = str(source.get("name") or "a weather file")
    issued = source.get("issued")
    parts = [f"Weather: {name}"]
    if isinstance(issued, pd.Timestamp):
        parts.append(f"issued {age_h(source, now):.0f} h before")
    if source.get("stale"):
        parts.append("service not reached: an older answer from the cache")
    if source.get("credit"):
        parts.append(str(source["credit"]))
    return "; ".join(parts)


def age_h(source: dict[str, object], now: pd.Timestamp) -> float:
    """Age of the forecast at `now` [h]; NaN where the source does not say when it was issued."""
    issued = source.get("issued")
    if not isinstance(issued, pd.Timestamp):
        return math.nan
    return (now - issued) / pd.Timedelta(hours=1)

"""Which rounds are worth a look now, what the rain did to each, and what each still holds up."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from spraywindow.orchard.advice import RAIN_RULES, Advice, RainRule, after_rain
from spraywindow.orchard.record_history import Kept
from spraywindow.orchard.site import Site


@dataclass(frozen=True)
class RoundAdvice:
    """A round beside the rain that came, and what it holds up.

    Attributes
    ----------
    kept : Kept
    advice : Advice
    until : datetime or None
        Start of the next round of the material: rain after it is that round's. None: now.
    next_same, next_other : date or None
        First day on which the program allows the same material again, and another one; None
        where the program does not know the material.
    open_share : float
        Part of the round that is still to be done, over the days it was spread on.
    """

    kept: Kept
    advice: Advice
    until: dt.datetime | None
    next_same: dt.date | None
    next_other: dt.date | None
    open_share: float


def latest_rounds(rows: Sequence[Kept]) -> list[Kept]:
    """Give the latest round of each material: its last day, and the parts that it continues.

    Parameters
    ----------
    rows : sequence of Kept
        Holding entries of one site, by time.
    """
    out: list[Kept] = []
    for material in dict.fromkeys(row.entry.material for row in rows):
        share = 0.0
        for row in reversed([row for row in rows if row.entry.material == material]):
            if share >= 1.0 or (share and row.entry.share >= 1.0):
                break
            out.append(row)
            share += row.entry.share
    return sorted(out, key=lambda row: (row.entry.start, row.id))


def rain_rule(site: Site, material: str) -> RainRule:
    """The rule of the rain after a round, with the dry spell that the site file wants."""
    rule = RAIN_RULES.get(material, RAIN_RULES["oil"])
    known = site.materials.get(material)
    return rule if known is None else replace(rule, wanted_h=known.dry_spell_h)


def advise(
    chosen: Sequence[Kept],
    rows: Sequence[Kept],
    site: Site,
    weather: pd.DataFrame,
    now: dt.datetime,
) -> list[RoundAdvice]:
    """Hold rounds against the rain that came.

    Parameters
    ----------
    chosen, rows : sequence of Kept
        The rounds asked about, and all of the site, by time.
    site : Site
    weather : DataFrame
        Hourly table; only hours before `now` and not forecast are used.
    now : datetime
        tz-aware.
    """
    return [_one(kept, rows, site, weather, now) for kept in chosen]


def _one(
    kept: Kept, rows: Sequence[Kept], site: Site, weather: pd.DataFrame, now: dt.datetime
) -> RoundAdvice:
    entry = kept.entry
    apart = _least_days(site, entry.material)
    same = [row.entry for row in rows if row.entry.material == entry.material]
    # parts of one round follow each other within its least days: they do not replace it
    later = [other.start for other in same if (other.day - entry.day).days >= apart]
    until = later[0] if later else None
    rule = rain_rule(site, entry.material)
    advice = after_rain(entry, weather, now=min(now, until or now), rule=rule)
    parts = [o.share for o in same if o.share < 1 and abs((o.day - entry.day).days) < apart]
    known = entry.material in site.program.materials
    return RoundAdvice(
        kept,
        advice,
        until,
        entry.day + dt.timedelta(days=apart) if known else None,
        entry.day + dt.timedelta(days=site.program.between) if known else None,
        0.0 if entry.share == 1 else max(0.0, round(1.0 - math.fsum(parts), 6)),
    )


def _least_days(site: Site, material: str) -> int:
    for entry in site.program.entries:
        if entry.material == material:
            return entry.least_days
    return 1

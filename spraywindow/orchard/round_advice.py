"""Which rounds are worth a look now, what the rain did to each, and what each still holds up."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import pandas as pd

from spraywindow.orchard.advice import Advice, after_rain
from spraywindow.orchard.block_states import season_start
from spraywindow.orchard.record_file import Kept
from spraywindow.orchard.record_history import EXACT
from spraywindow.orchard.record_site import season_rounds, with_rounds
from spraywindow.orchard.site import Site
from spraywindow.orchard.spacing import in_season, next_day, wanted_days
from spraywindow.spray.catalogue import general_material
from spraywindow.weather.source import WeatherSource, weather_source

UNKNOWN_DRY_H = 72
"""Hours without rain wanted after a material that the site file does not know; P [h]."""


@dataclass(frozen=True)
class RoundAdvice:
    """A round, or a part of one, beside the rain that came, and what it holds up.

    Attributes
    ----------
    kept : Kept
    advice : Advice
    until : datetime or None
        Start of the next round of the material: rain after it is that round's. None: now.
    parts : tuple of int
        Numbers of the entries that make up the round, in order.
    open_share : float
        Part of the round that is still to be done, over the days it was spread on.
    rest_from : date or None
        First day, from today on, on which that part may be done; None where nothing is open or
        the program does not know the material.
    next_same, next_label, next_other : date or None
        First day on which the program and the label allow the next round of the same material,
        and the program another material. They count from the last part of the round, those of the
        same material from the day of its rest while that is open. None where the program does not
        know the material, or the label's days are not entered.
    """

    json_keys: ClassVar = (
        "id=kept.id", "material=kept.entry.material", "product=kept.entry.product",
        "start=kept.entry.start", "end=kept.entry.end", "share=kept.entry.share", "parts",
        "open_share", "rest_from", "advice:all*", "judged_until=until",
        "reentry_from=kept.entry.reentry_from", "next_round_from_label=next_label",
        "next_round_from_program=next_same", "other_materials_from=next_other",
    )  # fmt: skip

    kept: Kept
    advice: Advice
    until: dt.datetime | None
    parts: tuple[int, ...]
    open_share: float
    rest_from: dt.date | None
    next_same: dt.date | None
    next_label: dt.date | None
    next_other: dt.date | None


@dataclass(frozen=True)
class RoundsAdvice:
    """Keep, inspect or redo, a round each; `now` in the site's time."""

    json_keys: ClassVar = ("site=site.name", "now", "source", "rounds", "cautions!")

    site: Site
    now: pd.Timestamp
    source: WeatherSource
    rounds: tuple[RoundAdvice, ...]


def rounds_of(rows: Sequence[Kept], site: Site) -> list[list[Kept]]:
    """Put the entries of one material together into rounds, each with its parts.

    Parameters
    ----------
    rows : sequence of Kept
        Holding entries of one site and one material, by time.
    site : Site
        Tells where one growing year ends: a round begun before it is not finished after it.
    """
    rounds: list[list[Kept]] = []
    share, year = 1.0, None
    for row in rows:
        start = season_start(row.entry.day, site)
        if row.entry.share == 1.0 or round(share, EXACT) >= 1.0 or start != year:
            rounds.append([])
            share = 0.0
        rounds[-1].append(row)
        share, year = share + row.entry.share, start
    return rounds


def latest_rounds(rows: Sequence[Kept], site: Site) -> list[Kept]:
    """Give the latest round of each material: its last day, and the parts that it continues.

    Parameters
    ----------
    rows : sequence of Kept
        Holding entries of one site, by time.
    site : Site
    """
    materials = dict.fromkeys(row.entry.material for row in rows)
    latest = [rounds_of(_of(rows, material), site)[-1] for material in materials]
    return sorted((row for each in latest for row in each), key=lambda r: (r.entry.start, r.id))


def _of(rows: Sequence[Kept], material: str) -> list[Kept]:
    return [row for row in rows if row.entry.material == material]


def advise(
    chosen: Sequence[Kept],
    rows: Sequence[Kept],
    site: Site,
    weather: pd.DataFrame,
    now: pd.Timestamp,
) -> RoundsAdvice:
    """Hold rounds against the rain that came.

    Parameters
    ----------
    chosen, rows : sequence of Kept
        The rounds asked about, and all of the site, by time.
    site : Site
    weather : DataFrame
        Hourly table; only hours before `now` and not forecast are used.
    now : Timestamp
        tz-aware.
    """
    local = now.tz_convert(site.place.timezone)
    today = local.date()
    done, _ = with_rounds(site, season_rounds(rows, site, today))
    season = in_season(done, today)
    at = now.to_pydatetime()
    rounds = tuple(_one(kept, rows, season, weather, at, today) for kept in chosen)
    return RoundsAdvice(site, local, weather_source(weather, local), rounds)


def _one(
    kept: Kept,
    rows: Sequence[Kept],
    site: Site,
    weather: pd.DataFrame,
    now: dt.datetime,
    today: dt.date,
) -> RoundAdvice:
    entry, name = kept.entry, kept.entry.material
    same = _of(rows, name)
    rounds = rounds_of(same, site)
    parts = next(each for each in rounds if kept.id in [row.id for row in each])
    ids = tuple(row.id for row in parts)
    known = name in site.program.materials
    apart = wanted_days(site, site.material(name), name) if known else 1
    # within its least days nothing replaces a round, and its own parts are other trees
    later = [
        row.entry.start
        for row in same
        if row.id not in ids and (row.entry.day - entry.day).days >= apart
    ]
    until = later[0] if later else None
    material = site.materials.get(name) or general_material(name).with_dry_spell(UNKNOWN_DRY_H)
    advice = after_rain(entry, weather, now=min(now, until or now), material=material)
    open_share = max(0.0, round(1.0 - sum(row.entry.share for row in parts), EXACT))
    last, rest = parts[-1].entry, None
    if known and open_share and parts is rounds[-1]:
        rest = next_day(site, site.material(name), today)
    counted = rest or last.day
    return RoundAdvice(
        kept,
        advice,
        until,
        ids,
        open_share,
        rest,
        _after(counted, apart if known else None),
        _after(counted, last.next_round_days),
        _after(last.day, site.program.between if known else None),
    )


def _after(day: dt.date, days: int | None) -> dt.date | None:
    return None if days is None else day + dt.timedelta(days=days)

"""After a round: keep it, inspect it, or redo it, from the rain that came; what may follow it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

import pandas as pd

from spraywindow.days import day_words
from spraywindow.jobs.log.text import when
from spraywindow.jobs.slots import doubt_cure
from spraywindow.record import (
    EXACT,
    WASHED,
    Advice,
    Kept,
    after_rain,
    in_doubt,
    material_sprayed,
    season_rounds,
    with_rounds,
)
from spraywindow.show import LABEL, System, Words, paragraph, reason_words, source_line
from spraywindow.site import Doubt, Site, in_season, next_day, season_start, wanted_days
from spraywindow.spray import CATALOGUE, general_material
from spraywindow.weather import WeatherSource, weather_source


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
        same material from the day of its rest while that is open. The first is None where the
        program does not know the material, the second where the label's days are not entered.
    next_named : mapping
        Other materials, by name, that have a day of their own: labels keep them further apart,
        or another spray holds them.
    """

    json_keys: ClassVar = (
        "id=kept.id", "material=kept.entry.material", "product=kept.entry.product",
        "start=kept.entry.start", "end=kept.entry.end", "share=kept.entry.share", "parts",
        "open_share", "rest_from", "advice:all*", "judged_until=until",
        "reentry_from=kept.entry.reentry_from", "next_round_from_label=next_label",
        "next_round_from_program=next_same", "other_materials_from=next_other",
        "named_materials_from=next_named",
    )  # fmt: skip

    kept: Kept
    advice: Advice
    until: dt.datetime | None
    parts: tuple[int, ...]
    open_share: float
    rest_from: dt.date | None
    next_same: dt.date | None
    next_label: dt.date | None
    next_other: dt.date
    next_named: Mapping[str, dt.date]


@dataclass(frozen=True)
class RoundsAdvice:
    """Keep, inspect or redo, a round each; `now` in the site's time; the site's rounds in doubt."""

    json_keys: ClassVar = ("site=site.name", "now", "source", "rounds", "in_doubt", "cautions!")

    site: Site
    now: pd.Timestamp
    source: WeatherSource
    rounds: tuple[RoundAdvice, ...]
    in_doubt: tuple[Doubt, ...] = ()


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
        share, year = share + _held(row), start
    return rounds


def _held(row: Kept) -> float:
    """The share of a round that an entry made, without what of it failed."""
    return row.entry.share - (row.entry.failed_share or 0.0)


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
    source = weather_source(weather, local)
    return RoundsAdvice(site, local, source, rounds, in_doubt(rows, site, weather, at))


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
    material = material_sprayed(entry, site)
    advice = after_rain(entry, weather, now=min(now, until or now), material=material)
    open_share = max(0.0, round(1.0 - sum(map(_held, parts)), EXACT))
    last, rest = parts[-1].entry, None
    if known and open_share and parts is rounds[-1]:
        rest = next_day(site, site.material(name), today)
    counted = rest or last.day
    others = last.day + dt.timedelta(days=site.program.between)
    named = {
        other: next_day(
            site,
            its,
            last.day + dt.timedelta(days=wanted_days(site, its, name)),
            done_to=today,
        )
        for other in sorted({*_spoken_of(site), *material.days_apart} - {name})
        for its in [site.materials.get(other) or general_material(other)]
    }
    return RoundAdvice(
        kept,
        advice,
        until,
        ids,
        open_share,
        rest,
        next_day(site, material, counted + dt.timedelta(days=apart), done_to=today)
        if known
        else None,
        None if last.next_round_days is None else counted + dt.timedelta(days=last.next_round_days),
        others,
        {other: day for other, day in named.items() if day != others},
    )


def _spoken_of(site: Site) -> set[str]:
    """Materials of the program, and those that the site file itself describes."""
    return {*site.program.materials, *(set(site.materials) - set(CATALOGUE))}


_URGENT = {"redo": "redo", "inspect": "inspect", "unknown": "not known yet:", "keep": "keep"}
"""Verdicts, the most urgent first, in the words of the first line."""


def advice_text(answer: RoundsAdvice) -> str:
    """The verdicts; then a paragraph a round."""
    site, now, found = answer.site, answer.now, answer.rounds
    parts = [paragraph(f"{site.name}: {_first_line(found)}.")]
    for number, each in enumerate(found):
        # what follows from a round is said once, with the last of its parts
        ends = all(each.parts != other.parts for other in found[number + 1 :])
        parts.append(_round_text(each, now, site.units, ends=ends))
        if doubt := next((one for one in answer.in_doubt if one.entry == each.kept.id), None):
            parts[-1] += f"\n{paragraph(f'  In doubt: {doubt_cure(doubt)}.')}"
    until = f"By the weather up to {day_words(now.date())} {now:%H:%M}."
    foot = [until, source_line(answer.source), f"! {LABEL}"]
    return "\n\n".join([*parts, "\n".join(map(paragraph, foot))])


def _first_line(found: Sequence[RoundAdvice]) -> str:
    days: dict[tuple[str, str], list[str]] = {}
    for each in found:
        key = each.advice.verdict, each.kept.entry.material
        days.setdefault(key, []).append(day_words(each.kept.entry.day))
    told = [
        f"{words} {material} of {', '.join(its_days)}"
        for verdict, words in _URGENT.items()
        for (its_verdict, material), its_days in days.items()
        if its_verdict == verdict
    ]
    return "; ".join(told) or "no round yet this season"


def _round_text(each: RoundAdvice, now: pd.Timestamp, units: System, *, ends: bool) -> str:
    entry = each.kept.entry
    reason = each.advice.reason
    lines = [
        paragraph(
            f"{each.advice.verdict}: {entry.material}, {when(entry)} (entry {each.kept.id}); "
            f"{reason_words(reason, units)}"
        )
    ]
    share = each.advice.residue_share
    if share is not None and reason.sentence != WASHED:
        lines.append(paragraph(f"  The copper: {copper_share_words(share)}, by the rain since."))
    if each.until is not None:
        lines.append(paragraph(f"  Up to the next round, on {each.until.date()}."))
        return "\n".join(lines)
    reentry = entry.reentry_from
    if reentry is None:
        lines.append(paragraph("  Re-entry: interval not entered, see the label."))
    else:
        over = " (over)" if reentry <= now else ""
        lines.append(
            paragraph(f"  Re-entry: from {day_words(reentry.date())} {reentry:%H:%M}{over}.")
        )
    lines += [paragraph(f"  {line}") for line in _following(each, now)] if ends else []
    return "\n".join(lines)


def copper_share_words(share: tuple[float, float]) -> str:
    """How much of a copper round is left, of its (least, most) share [0-1]."""
    low, high = (round(100 * value) for value in share)
    if (low, high) == (0, 100):
        return "how much of it is left is not known"
    if low == 0 < high:
        return f"at most about {high} % of it is left"
    return f"about {high if low == high else f'{low} to {high}'} % of it is left"


def _following(each: RoundAdvice, now: pd.Timestamp) -> list[str]:
    """What may follow the round: its rest, the next one, other materials."""
    lines, material = [], each.kept.entry.material
    if each.open_share:
        rest = f"{100 * each.open_share:.0f} % of the round is still to be done"
        if each.rest_from is not None:
            today = now.tz_convert(each.kept.entry.timezone).date()
            days = day_words(each.rest_from)
            rest += ": the rest at once" if each.rest_from <= today else f": the rest from {days}"
        lines.append(f"{rest}.")
    others = f"Other materials: from {day_words(each.next_other)}"
    named = [f"{name} from {day_words(day)}" for name, day in each.next_named.items()]
    others = "; ".join([others, *filter(None, [", ".join(named)])])
    if each.next_same is not None:
        counted = ", counted from the rest" if each.rest_from is not None else ""
        same = _next_round(each.next_same, each.next_label)
        others = f"Next {material}: {same}{counted}. {others}"
    return [*lines, f"{others}."]


def _next_round(program: dt.date, label: dt.date | None) -> str:
    """The later of what the program and the label allow."""
    if label is None:
        return f"from {day_words(program)} (program; the label's days are not entered)"
    later, whose = (label, "label") if label > program else (program, "program and label")
    return f"from {day_words(later)} ({whose})"


ADVICE_WORDS: Words = {(RoundsAdvice, "cautions"): lambda _, __: [LABEL]}
"""What the JSON says in words."""

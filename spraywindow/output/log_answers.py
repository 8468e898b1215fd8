"""What ``spraywindow log`` says, as JSON values with stable keys."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pandas as pd

from spraywindow.errors import InputError, describe
from spraywindow.orchard.over_limits import over_limits
from spraywindow.orchard.receipts import hourless, read_receipt
from spraywindow.orchard.record_blocks import strange_names
from spraywindow.orchard.record_export import row_of
from spraywindow.orchard.record_fields import Entry
from spraywindow.orchard.record_file import Kept, Record
from spraywindow.orchard.record_history import current
from spraywindow.orchard.record_rules import cautions_for
from spraywindow.orchard.record_site import season_rounds, with_rounds
from spraywindow.orchard.round_advice import RoundAdvice
from spraywindow.orchard.site import Site
from spraywindow.orchard.spacing import in_season
from spraywindow.output.answers import number, source_answer, stamp
from spraywindow.output.mix_limits import entry_limit_lines
from spraywindow.output.notices import LABEL


def entry_cautions(rows: Sequence[Kept], site: Site, kept: Kept, now: pd.Timestamp) -> list[str]:
    """What to mind about an entry just made: its own, limits, maxima and gaps, names.

    `rows` are the site's entries that hold, the one just made among them.
    """
    done, over = with_rounds(site, season_rounds(rows, site, kept.entry.day))
    own = cautions_for(kept.entry, now.to_pydatetime())
    recorded = [row.entry for row in rows]
    today = now.tz_convert(site.place.timezone).date()
    limits = entry_limit_lines(over_limits(site, recorded, kept.entry, today), site.units)
    notes = in_season(done, kept.entry.day).program.notes()
    return [*own, *strange_names(site, kept.entry), *limits, *over, *notes]


def receipt_cautions(receipt: str, entry: Entry) -> list[str]:
    """Say where a receipt is of another site, material or time than the round."""
    if hourless(receipt) is not None:
        return ["the receipt advised no hours"]
    advised = read_receipt(receipt)
    lines = [
        f"the receipt is of {advised[key]}, not {mine}"
        for key, mine in (("site", entry.site), ("material", entry.material))
        if advised[key] != mine
    ]
    start, end = (dt.datetime.fromisoformat(advised[key]) for key in ("start", "end"))
    if entry.start < start or entry.finished > end:
        lines.append(f"outside the hours of the receipt ({start:%d %b %H:%M} to {end:%H:%M})")
    return lines


def added_answer(kept: Kept, path: Path, cautions: list[str]) -> dict[str, Any]:
    """An entry, or a correction, just made."""
    return {"id": kept.id, "record": str(path), "entry": row_of(kept), "cautions": cautions}


def rows_since(rows: Sequence[Kept], since: str | None, site: str | None) -> list[Kept]:
    """Keep the rows of a site (None: all) from a local day on, given as text."""
    first = dt.date.min
    if since is not None:
        try:
            first = dt.date.fromisoformat(since)
        except ValueError as error:
            raise InputError(
                describe("not a date", where="--since", expected="such as 2025-11-01", got=since)
            ) from error
    return [row for row in rows if row.entry.day >= first and site in (None, row.entry.site)]


def list_answer(
    record: Record, rows: Sequence[Kept], site: Site | None, now: pd.Timestamp
) -> dict[str, Any]:
    """The entries, the rounds of the site's program so far, and intervals still running."""
    program: list[dict[str, Any]] = []
    notes: list[str] = []
    if site is not None:
        today = now.tz_convert(site.place.timezone).date()
        done, over = with_rounds(site, season_rounds(current(record, site.name), site, today))
        program_now = in_season(done, today).program
        notes = [*over, *program_now.notes()]
        program = [
            {
                "material": entry.material,
                "done": number(entry.rounds_done, 3),
                "wanted": entry.rounds,
                "last": entry.days_done[-1].isoformat() if entry.days_done else None,
            }
            for entry in program_now.entries
        ]
    holding = [row for row in current(record) if row.id in {row.id for row in rows}]
    return {
        "site": None if site is None else site.name,
        "record": str(record.path),
        "now": stamp(now),
        "entries": [row_of(row) for row in rows],
        "program": program,
        "running": [each for row in holding for each in _running(row, now)],
        "cautions": notes,
    }


def _running(row: Kept, now: pd.Timestamp) -> list[dict[str, Any]]:
    """Intervals of an entry that are not over at `now`."""
    entry, out = row.entry, []
    today = now.tz_convert(entry.timezone).date()
    if entry.reentry_from is not None and entry.reentry_from > now:
        out.append(("reentry", entry.reentry_from.isoformat()))
    for name, day in (("next_round", entry.next_round_from), ("harvest", entry.harvest_from)):
        if day is not None and day > today:
            out.append((name, day.isoformat()))
    return [
        {"id": row.id, "site": entry.site, "product": entry.product, "interval": name,
         "until": until}
        for name, until in out
    ]  # fmt: skip


def advice_answer(
    site: Site, found: Sequence[RoundAdvice], now: pd.Timestamp, source: dict[str, Any]
) -> dict[str, Any]:
    """Keep, inspect or redo, a round each."""
    return {
        "site": site.name,
        "now": stamp(now.tz_convert(site.place.timezone)),
        "source": source_answer(source, now),
        "rounds": [_round_answer(each) for each in found],
        "cautions": [LABEL],
    }


def _round_answer(each: RoundAdvice) -> dict[str, Any]:
    entry = each.kept.entry
    times = {"start": stamp(entry.start), "end": stamp(entry.end)}
    about = {
        "id": each.kept.id,
        "material": entry.material,
        "product": entry.product,
        **times,
        "share": entry.share,
        "parts": list(each.parts),
        "open_share": each.open_share,
        "rest_from": _day(each.rest_from),
    }
    after = {
        "judged_until": stamp(each.until),
        "reentry_from": stamp(entry.reentry_from),
        "next_round_from_label": _day(each.next_label),
        "next_round_from_program": _day(each.next_same),
        "other_materials_from": _day(each.next_other),
    }
    return about | asdict(each.advice) | after


def _day(day: dt.date | None) -> str | None:
    return None if day is None else day.isoformat()

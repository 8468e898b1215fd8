"""What ``spraywindow log add``, ``correct`` and ``list`` answer."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

import pandas as pd

from spraywindow.errors import InputError
from spraywindow.jobs.log.shared import mix_gives
from spraywindow.jobs.mix import LimitCheck, over_limits
from spraywindow.jobs.slots import hourless, read_receipt
from spraywindow.program import Program
from spraywindow.record import (
    Application,
    Kept,
    Minded,
    Record,
    cautions_for,
    current,
    row_of,
    season_rounds,
    strange_names,
    with_rounds,
)
from spraywindow.show import amount_in, shown
from spraywindow.site import Site, in_season, short_gaps

STORM_MS = 10.0
"""No label allows spraying in more wind than this [m/s]; common practice, no source."""
FAR_OFF = 2.0
"""An amount so many times what `mix` gives, or a part of it, is asked about; common practice, no
source."""


@dataclass(frozen=True)
class EntryCheck:
    """What to mind about an entry: its own, names, limits passed with it, rounds and gaps."""

    own: Mapping[Minded, str]
    strange: tuple[str, ...]
    limits: LimitCheck
    rounds: tuple[str, ...]


@dataclass(frozen=True)
class Entered:
    """An entry, or a correction, just made; `beside` is what to mind about its receipt.

    `check` is None where its site is not named; `dropped` are fields whose estimates are gone.
    """

    json_keys: ClassVar = ("id=kept.id", "record=path", "entry:all", "cautions!")

    site: Site
    kept: Kept
    path: Path
    check: EntryCheck | None
    beside: tuple[str, ...] = ()
    dropped: tuple[str, ...] = ()

    @property
    def entry(self) -> dict[str, object]:
        """The row as plain values."""
        return row_of(self.kept)


@dataclass(frozen=True)
class RoundsSoFar:
    """How far the program has come with one material."""

    json_keys: ClassVar = ("material", "done:3", "wanted", "last")

    material: str
    done: float
    wanted: int
    last: dt.date | None


@dataclass(frozen=True)
class Running:
    """An interval of an entry that is not over: "reentry", "next_round" or "harvest"."""

    id: int
    site: str
    product: str
    interval: str
    until: dt.date


@dataclass(frozen=True)
class Listed:
    """Entries, the rounds of the site's program so far, and intervals still running.

    `site` is None for all sites of the record.
    """

    json_keys: ClassVar = (
        "site=site.name", "record=path", "now", "entries:all", "program", "running", "cautions",
    )  # fmt: skip

    site: Site | None
    path: Path
    now: pd.Timestamp
    rows: tuple[Kept, ...]
    program: tuple[RoundsSoFar, ...]
    running: tuple[Running, ...]
    cautions: tuple[str, ...]

    @property
    def entries(self) -> tuple[dict[str, object], ...]:
        """The rows as plain values."""
        return tuple(map(row_of, self.rows))


def check_entry(rows: Sequence[Kept], site: Site, kept: Kept, now: pd.Timestamp) -> EntryCheck:
    """Hold an entry just made against its site: limits, maxima and gaps, names.

    `rows` are the site's entries that hold, the one just made among them.
    """
    done, over = with_rounds(site, season_rounds(rows, site, kept.entry.day))
    recorded = [row.entry for row in rows]
    today = now.tz_convert(site.place.timezone).date()
    return EntryCheck(
        cautions_for(kept.entry, now.to_pydatetime()),
        tuple(strange_names(site, kept.entry)),
        over_limits(site, recorded, kept.entry, today),
        (
            *over,
            *in_season(done, kept.entry.day).program.notes(),
            *_doubts(site, kept, rows),
            *short_gaps(
                site,
                kept.entry.material,
                kept.entry.day,
                [(each.material, each.day) for each in recorded],
            ),
        ),
    )


def _doubts(site: Site, kept: Kept, rows: Sequence[Kept]) -> list[str]:
    """What can hardly be: two rounds at one time, a wind too strong to spray, a strange amount."""
    entry, lines = kept.entry, []
    for row in rows:
        other = row.entry
        shared = {*entry.blocks} & {*other.blocks} or not (entry.blocks and other.blocks)
        if row.id != kept.id and shared and other.start < entry.finished and entry.start < (
            other.finished
        ):  # fmt: skip
            lines.append(f"entry {row.id} ({other.material}) is of the same time")
    return [*lines, *_wind_doubt(site, entry), *_amount_doubts(site, entry)]


def _wind_doubt(site: Site, entry: Application) -> list[str]:
    """A wind measured on site that no label allows, or that is above the material's own limit."""
    wind = entry.wind_ms
    if wind is None or "wind_ms" in entry.estimated:
        return []
    said = f"a wind of {shown(wind, 'm/s', site.units)} is noted: "
    if wind > STORM_MS:
        return [f"{said}nobody sprays in it; is the unit right?"]
    limits = site.materials[entry.material].limits if entry.material in site.materials else ()
    most = [each.value for each in limits if each.quantity == "wind_at_top" and each.kind == "hard"
            and each.bound in ("at most", "below")]  # fmt: skip
    if not most or wind <= min(most):
        return []
    return [f"{said}{entry.material} asks for at most {shown(min(most), 'm/s', site.units)}"]


def _amount_doubts(site: Site, entry: Application) -> list[str]:
    """Spray or product of which `mix` gives far more or less for the same blocks."""
    try:
        spray_l, product, base = mix_gives(site, entry)
    except InputError:  # nothing to hold it against: `mix` itself says what it lacks
        return []
    own = entry.product_l if base == "L" else entry.product_kg
    return [
        f"{amount_in(noted, unit, site.units)} of {what} noted, `mix` gives "
        f"{amount_in(given, unit, site.units)} for it: is the unit right?"
        for what, noted, given, unit in (
            ("spray", entry.spray_volume_l, spray_l, "L"),
            ("product", own, product, base),
        )
        if noted is not None and not 1 / FAR_OFF <= noted / given <= FAR_OFF
    ]


def receipt_cautions(receipt: str, entry: Application) -> tuple[str, ...]:
    """Say where a receipt is of another site, material or time than the round."""
    if hourless(receipt) is not None:
        return ("the receipt advised no hours",)
    advised = read_receipt(receipt)
    lines = [
        f"the receipt is of {advised[key]}, not {mine}"
        for key, mine in (("site", entry.site), ("material", entry.material))
        if advised[key] != mine
    ]
    start, end = (dt.datetime.fromisoformat(advised[key]) for key in ("start", "end"))
    if entry.start < start or entry.finished > end:
        lines.append(f"outside the hours of the receipt ({start:%d %b %H:%M} to {end:%H:%M})")
    return tuple(lines)


def listed(record: Record, rows: Sequence[Kept], site: Site | None, now: pd.Timestamp) -> Listed:
    """List rows of a record, and of a site what they come to."""
    program: Program | None = None
    over: Sequence[str] = ()
    if site is not None:
        today = now.tz_convert(site.place.timezone).date()
        done, over = with_rounds(site, season_rounds(current(record, site.name), site, today))
        program = in_season(done, today).program
    numbers = {row.id for row in rows}
    holding = [row for row in current(record) if row.id in numbers]
    return Listed(
        site,
        record.path,
        now,
        tuple(rows),
        tuple(
            RoundsSoFar(
                each.material, each.rounds_done, each.rounds, max(each.days_done, default=None)
            )
            for each in (program.entries if program else ())
        ),
        tuple(each for row in holding for each in _running(row, now)),
        (*over, *(program.notes() if program else ())),
    )


def _running(row: Kept, now: pd.Timestamp) -> list[Running]:
    """Intervals of an entry that are not over at `now`."""
    entry, out = row.entry, []
    today = now.tz_convert(entry.timezone).date()
    reentry = entry.reentry_from
    if reentry is not None and reentry > now:
        out.append(Running(row.id, entry.site, entry.product, "reentry", reentry))
    for name, day in (("next_round", entry.next_round_from), ("harvest", entry.harvest_from)):
        if day is not None and day > today:
            out.append(Running(row.id, entry.site, entry.product, name, day))
    return out

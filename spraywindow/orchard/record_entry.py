"""An application as people write it down: quantities with units, local times, blocks by name."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from zoneinfo import ZoneInfo

from spraywindow.errors import InputError, describe
from spraywindow.orchard.record_blocks import refuse_slip, share_corrected, share_written
from spraywindow.orchard.record_fields import Entry
from spraywindow.orchard.records import AHEAD_H
from spraywindow.orchard.site import Site
from spraywindow.orchard.written import as_typed, fields_of

FRESH_STAGE_D = 7
"""A stage seen so many days before the round is still that of the round; P."""
_NOT_COPIED = (
    "start", "end", "share", "blocks", "bbch", "temp_c", "wind_ms", "wind_from_deg", "estimated",
    "weather_source", "note",
)  # fmt: skip


def one_amount(given: Mapping[str, object]) -> dict[str, object]:
    """The other of the two amounts, emptied, where one is given: it is by volume or by weight."""
    pair = ("product_l", "product_kg")
    one = [name for name in pair if given.get(name) is not None]
    return {name: None for name in pair if name not in given} if one else {}


def entry_from(
    site: Site,
    written: Mapping[str, object],
    *,
    like: Entry | None = None,
    where: str = "entry",
) -> Entry:
    """Make an entry of what is written, with what the site file knows of the rest.

    Parameters
    ----------
    site : Site
        Gives name, time zone, position, and crop and stage of the blocks done.
    written : mapping
        As for `fields_of`; it overrides the site.
    like : Entry, optional
        An earlier entry whose product, numbers, names and intervals stand in for what is not
        written; never its times, blocks, weather or note.

    Raises
    ------
    InputError
        All problems at once. A share is told by the blocks where it is not written; a block
        that the site does not have is then refused, as is a material that is a slip of another.
    """
    copied: dict[str, object] = {}
    if like is not None:
        copied = {
            name: value for name, value in like.model_dump().items() if name not in _NOT_COPIED
        }
    given = fields_of(written, site.place.timezone, where=where)
    refuse_slip(site, given.get("material"))
    material = given.get("material", copied.get("material"))
    given |= share_written(site, given, material)
    site_knows: dict[str, object] = {
        "site": site.name,
        "timezone": site.place.timezone,
        "location": site.name,
        "latitude": site.place.latitude,
        "longitude": site.place.longitude,
    }
    about = _about_blocks(site, given.get("blocks"), given.get("start"))
    values = site_knows | about | copied | one_amount(given) | given
    return Entry.read(values, where=where, typed=as_typed(written))


def changes_from(
    old: Entry, written: Mapping[str, object], *, site: Site | None, where: str
) -> dict[str, object]:
    """Turn the written fields of a correction into changes, checked beside the old entry.

    Parameters
    ----------
    old : Entry
    written : mapping
        As for `fields_of`.
    site : Site, optional
        That of the entry, where it is known: blocks done lead to their share of the round.

    Raises
    ------
    InputError
        All problems at once.
    """
    changes = fields_of(written, old.timezone, start=old.start, where=where)
    changes = one_amount(changes) | changes
    if site is not None:
        refuse_slip(site, changes.get("material"))
        changes |= share_corrected(site, old, changes)
    values = old.model_dump() | {"start": old.start, "end": old.end} | changes
    Entry.read(values, where=where, typed=as_typed(written))
    return changes


def refuse_ahead(entry: Entry, now: dt.datetime) -> None:
    """Raise `InputError` for a round that is not done yet, before a record is begun for it."""
    if entry.finished > now + dt.timedelta(hours=AHEAD_H):
        raise InputError(
            describe("lies in the future", where="application time", got=entry.finished.isoformat(),
                     expected=f"at most {AHEAD_H:g} h after now",
                     cure="enter a round once it is done; `log paper note` is for one to come")
        )  # fmt: skip


def _about_blocks(site: Site, names: object, start: object) -> dict[str, object]:
    """Crop of the blocks done, and their stage where all were seen alike just before."""
    wanted = names if isinstance(names, tuple) and names else None
    blocks = [block for block in site.blocks if wanted is None or block.name in wanted]
    out: dict[str, object] = {}
    if blocks:
        out["crop"] = ", ".join(dict.fromkeys(block.crop for block in blocks))
    stages = {block.stage for block in blocks}
    if isinstance(start, dt.datetime) and len(stages) == 1 and None not in stages:
        day = start.astimezone(ZoneInfo(site.place.timezone)).date()
        seen = [block.observed for block in blocks if block.observed is not None]
        if all(0 <= (day - each).days <= FRESH_STAGE_D for each in seen):
            out["bbch"] = stages.pop()
    return out

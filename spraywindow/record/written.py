"""An application as people write it down: quantities with units, local times, blocks by name.

What the names mean at its site: the blocks done, their share of the round.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

from spraywindow.errors import InputError, brief, describe, did_you_mean, one_line
from spraywindow.record.entry import Application
from spraywindow.record.record import AHEAD_H
from spraywindow.site import DAY_H, Block, MixFields, Site, season_start
from spraywindow.trees import parse_stage
from spraywindow.units import quantity, unit

UNITS: dict[str, str] = {
    "product_l": "L",
    "product_kg": "kg",
    "spray_volume_l": "L",
    "area_m2": "m2",
    "temp_c": "degC",
    "wind_ms": "m/s",
    "wind_from_deg": "deg",
    "reentry_h": "h",
    "rain_free_h": "h",
    "preharvest_days": "d",
    "next_round_days": "d",
    "share": "fraction",
    "failed_share": "fraction",
}
"""Unit of a field; its name carries it, so a bare number is understood."""
SHORT: dict[str, str] = {
    "spray_volume": "spray_volume_l",
    "area": "area_m2",
    "temp": "temp_c",
    "wind": "wind_ms",
    "wind_from": "wind_from_deg",
    "reentry": "reentry_h",
    "rain_free": "rain_free_h",
    "preharvest": "preharvest_days",
    "next_round": "next_round_days",
    "blocks_done": "blocks",
}
"""Names without a unit, for text such as ``area = "0.4 acre"``."""
AMOUNT = "amount"
"""Product used, by volume or by weight: "4 L", "5 lb"."""
NIGHT_H = 12.0
"""An end written as a clock time lies past midnight at most so long after the start [h]; P."""
_ONE_DIGIT = re.compile(r"(^|[ T])(\d:)")
"""An hour of the day without its zero, "8:00"."""
_AMOUNTS = ("product_l", "product_kg")
_TUPLES = ("blocks", "failed_blocks", "estimated")
_WHOLE = ("preharvest_days", "next_round_days")


def read_entry_file(path: Path) -> dict[str, object]:
    """Read a TOML or JSON file of fields; `InputError` if it is neither or holds no table."""
    try:
        text = path.read_bytes().decode("utf-8")
    except OSError as error:
        raise InputError(
            "cannot read the entry file", where=str(path), got=error.strerror
        ) from error
    except UnicodeDecodeError as error:
        raise InputError("not a text file", where=str(path)) from error
    try:
        found = json.loads(text) if path.suffix.lower() == ".json" else tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(
            "not an entry file",
            where=str(path),
            expected="TOML, or JSON in a .json file",
            got=str(error),
        ) from error
    if not isinstance(found, dict):
        raise InputError("no table of fields", where=str(path))
    return found


def fields_of(
    written: Mapping[str, object],
    timezone: str,
    *,
    start: dt.datetime | None = None,
    where: str = "entry",
) -> dict[str, object]:
    """Turn what people write into values for `Application.read`; all problems at once.

    Parameters
    ----------
    written : mapping
        Names of `Application`, of `SHORT`, or `AMOUNT`. Values as typed: "4 L", "50 %", "NW",
        "2026-01-12 10:00" (local), "12:00" for an end, "bud swell" for `bbch`.
    timezone : str
        Of the local times.
    start : datetime, optional
        The start that an end's clock time belongs to, where `written` has none.
    """
    out: dict[str, object] = {}
    problems: list[str] = []
    # the start first: an end may be a clock time on its day
    for name in sorted(written, key=lambda key: key != "start"):
        try:
            field, value = _field(name, written[name], timezone, out.get("start", start))
        except InputError as error:
            problems.append(str(error))
            continue
        if field in out:
            problems.append(describe(f"{field} is given twice", where=name))
        out[field] = value
    if problems:
        raise InputError(f"{where}: {one_line(problems)}")
    return out


def as_typed(written: Mapping[str, object]) -> dict[str, tuple[str, object]]:
    """Give, by the field of `Application`, the name and the value that somebody wrote."""
    return {
        field: (name, value)
        for name, value in written.items()
        for field in (_AMOUNTS if name == AMOUNT else (SHORT.get(name, name),))
    }


def _field(name: str, value: object, timezone: str, start: object) -> tuple[str, object]:
    if name == AMOUNT:
        return _amount(value)
    field = SHORT.get(name, name)
    if field not in Application.model_fields:
        known = [AMOUNT, *SHORT, *Application.model_fields]
        raise InputError(
            "unknown field",
            where=name,
            expected="one of " + ", ".join(known),
            cure=did_you_mean(name, known),
        )
    if field in UNITS:
        number = _number(name, field, value)
        if field == "share" and not 0 < number <= 1:
            raise InputError(
                "not a part of a round",
                where=name,
                got=value,
                expected='above 0 and up to 100 %, such as "60 %"',
            )
        return field, math.ceil(number - 1e-9) if field in _WHOLE else number
    if field in ("start", "end"):
        return field, _moment(name, value, timezone, start if field == "end" else None)
    if field in _TUPLES:
        parts = value.split(",") if isinstance(value, str) else value
        if not isinstance(parts, list | tuple):
            raise InputError("not a list of names", where=name, got=value)
        return field, tuple(part.strip() if isinstance(part, str) else part for part in parts)
    if field == "bbch" and isinstance(value, str | int):
        return field, parse_stage(value, where=name).bbch
    if field in ("latitude", "longitude") and isinstance(value, str):
        return field, _plain(name, value)
    return field, value


def _number(name: str, field: str, value: object) -> float:
    """A number in the field's unit: bare where the name carries the unit."""
    if isinstance(value, int | float) and not isinstance(value, bool) and name == field:
        return float(value)
    if isinstance(value, str) and name == field:
        try:
            return float(value)
        except ValueError:
            pass
    return quantity(value, UNITS[field], where=name)


def _plain(name: str, value: str) -> float:
    try:
        return float(value)
    except ValueError as error:
        raise InputError("not a number", where=name, got=value) from error


def _amount(value: object) -> tuple[str, float]:
    word = value.strip().lstrip("+-.0123456789 ") if isinstance(value, str) else ""
    by_mass = bool(word) and unit(word, where=AMOUNT).dimension == "mass"
    field = "product_kg" if by_mass else "product_l"
    return field, quantity(value, UNITS[field], where=AMOUNT)


def _moment(name: str, value: object, timezone: str, start: object) -> dt.datetime:
    """A tz-aware time; without an offset it is local."""
    zone = ZoneInfo(timezone)
    found: object = value
    if isinstance(value, str):
        text = _ONE_DIGIT.sub(r"\g<1>0\2", value.strip())
        try:
            found = dt.time.fromisoformat(text) if len(text) <= 8 else _iso(text)
        except ValueError:
            found = None
    if isinstance(found, dt.time) and isinstance(start, dt.datetime):
        day = start.astimezone(zone).date()
        moment = _local(name, dt.datetime.combine(day, found), zone)
        if moment < start:  # past midnight
            moment = _local(name, dt.datetime.combine(day + dt.timedelta(days=1), found), zone)
            if moment - start > dt.timedelta(hours=NIGHT_H):
                raise InputError(
                    "the end is before the start",
                    where=name,
                    got=str(value),
                    expected=f"a time after {start.astimezone(zone):%H:%M}",
                    cure="an end on another day needs its date",
                )
        return moment
    if not isinstance(found, dt.datetime):
        expected = '"2026-01-12 10:00", local or with its offset'
        expected += ', or a clock time "12:00"' if name == "end" else ""
        raise InputError("not a time", where=name, expected=expected, got=str(value))
    return found if found.utcoffset() is not None else _local(name, found, zone)


def _iso(text: str) -> dt.datetime | None:
    return dt.datetime.fromisoformat(text) if ":" in text else None  # a date alone is no time


def _local(name: str, naive: dt.datetime, zone: ZoneInfo) -> dt.datetime:
    one, other = (naive.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if one.utcoffset() != other.utcoffset():
        raise InputError(
            "this local time does not exist or comes twice",
            where=name,
            got=str(naive),
            cure="give it with its offset: 2026-03-29T03:30+03:00",
        )
    return one


def share_of_blocks(site: Site, names: Sequence[str], material: str, day: dt.date) -> float:
    """Give the share of a round that lies in some blocks of the site, by their trees.

    Parameters
    ----------
    site : Site
    names : sequence of str
        Blocks done; none: all of them.
    material : str
    day : date
        Local. Blocks whose buds were past the material's last stage by then have no part in
        the round, unless they are named.

    Raises
    ------
    InputError
        If the site has no block of a name; all of them at once.
    """
    known = [block.name for block in site.blocks]
    problems = [
        describe("no such block", where="blocks", expected="of " + ", ".join(known), got=name,
                 cure=did_you_mean(name, known) or 'for a part of a block give the share: "30 %"')
        for name in names
        if name not in known
    ]  # fmt: skip
    if problems:
        raise InputError(one_line(problems))
    trees = {
        block.name: block.trees
        for block in site.blocks
        if block.name in names or not _over(block, site, material, day)
    }
    return sum(trees[name] for name in set(names)) / sum(trees.values()) if names else 1.0


def _over(block: Block, site: Site, material: str, day: dt.date) -> bool:
    """Whether a block was seen past the last stage of a material, this season, by a day."""
    known, stage, seen = site.materials.get(material), block.stage, block.observed
    if known is None or stage is None or seen is None:
        return False
    return season_start(day, site) <= seen <= day and known.stops(stage)


def share_written(site: Site, given: Mapping[str, object], material: object) -> dict[str, object]:
    """The share that the blocks of an entry lead to, where nobody gave it by hand."""
    names, start = given.get("blocks"), given.get("start")
    if "share" in given or given.get("site", site.name) != site.name:
        return {}
    if not isinstance(names, tuple) or not isinstance(start, dt.datetime):
        return {}
    day = start.astimezone(ZoneInfo(site.place.timezone)).date()
    return {"share": share_of_blocks(site, names, str(material), day)}


def share_corrected(
    site: Site, old: Application, changes: Mapping[str, object]
) -> dict[str, object]:
    """The share that a correction of the blocks leads to; one that was given by hand stays."""
    if "blocks" not in changes or "share" in changes:
        return {}
    try:
        by_blocks = share_of_blocks(site, old.blocks, old.material, old.day)
    except InputError:  # rows that the site file does not name: the share was given beside them
        by_blocks = 1.0
    if old.share not in (1.0, by_blocks):
        return {}
    moved = {"start": old.start, **changes}
    return share_written(site, moved, changes.get("material", old.material))


def refuse_slip(site: Site, material: object) -> None:
    """Raise `InputError` for a material that is a slip of a known one; a new name may stand."""
    if not isinstance(material, str) or material in site.materials:
        return
    # a longer or shorter name may well be another material: sulfur, lime sulfur
    alike = [name for name in site.materials if abs(len(name) - len(material)) <= 1]
    hint = did_you_mean(material, alike)
    if hint:
        raise InputError(
            "unknown material, named almost as a known one",
            where="material",
            expected="one of " + ", ".join(site.materials),
            got=material,
            cure=f'{hint} or add a table [materials."{material}"] to the site file',
        )


def strange_names(site: Site, entry: Application) -> list[str]:
    """Say which names of an entry the site file does not know; they are recorded all the same."""
    known = [block.name for block in site.blocks]
    lines = []
    for name in entry.blocks:
        if name not in known:
            hint = did_you_mean(name, known)
            line = f"block {brief(name)} is not in the site file ({', '.join(known)})"
            lines.append(f"{line}; {hint}" if hint else line)
    if entry.material not in site.program.materials:
        lines.append(
            f"{entry.material} is not in the program: no round of it, but days apart are kept"
        )
    return lines


FRESH_STAGE_D = 7
"""A stage seen so many days before the round is still that of the round; P."""
_NOT_COPIED = (
    "start", "end", "share", "blocks", "failed_share", "failed_blocks", "bbch", "temp_c", "wind_ms",
    "wind_from_deg", "estimated", "weather_source", "note",
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
    like: Application | None = None,
    where: str = "entry",
) -> Application:
    """Make an entry of what is written, with what the site file knows of the rest.

    Parameters
    ----------
    site : Site
        Gives name, time zone, position, who sprays, the product and its label's intervals, and
        crop, stage and area of the blocks done.
    written : mapping
        As for `fields_of`; it overrides the site.
    like : Application, optional
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
    by_hand = given.get("share")
    given |= share_written(site, given, material)
    site_knows: dict[str, object] = {
        "site": site.name,
        "timezone": site.place.timezone,
        "location": site.name,
        "latitude": site.place.latitude,
        "longitude": site.place.longitude,
    }
    about = _about_blocks(site, given, material, by_hand) | _label_of(site, material)
    values = site_knows | about | copied | one_amount(given) | given
    return Application.read(values, where=where, typed=as_typed(written))


def changes_from(
    old: Application, written: Mapping[str, object], *, site: Site | None, where: str
) -> dict[str, object]:
    """Turn the written fields of a correction into changes, checked beside the old entry.

    Parameters
    ----------
    old : Application
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
    Application.read(values, where=where, typed=as_typed(written))
    return changes


def refuse_ahead(entry: Application, now: dt.datetime) -> None:
    """Raise `InputError` for a round that is not done yet, before a record is begun for it."""
    if entry.finished > now + dt.timedelta(hours=AHEAD_H):
        raise InputError(
            "lies in the future",
            where="application time",
            got=entry.finished.isoformat(),
            expected=f"at most {AHEAD_H:g} h after now",
            cure="enter a round once it is done; `log paper note` is for one to come",
        )


def _label_of(site: Site, material: object) -> dict[str, object]:
    """What the site file says of the product and of who sprays it."""
    fields = site.mix.get(str(material), MixFields())
    days = None if fields.preharvest is None else math.ceil(fields.preharvest / DAY_H - 1e-9)
    known = {
        "product": fields.product,
        "registration_number": fields.registration,
        "reentry_h": fields.reentry,
        "preharvest_days": days,
        "applicator": site.applicator,
        "certification_number": site.certification,
    }
    return {name: value for name, value in known.items() if value is not None}


def _about_blocks(
    site: Site, given: Mapping[str, object], material: object, by_hand: object
) -> dict[str, object]:
    """Crop and area of the blocks done, and their stage where all were seen alike just before.

    The area only where every block has one, and of a share that is given `by_hand` for the whole
    site so much of it; which part of a block that is named nobody knows.
    """
    names, start = given.get("blocks"), given.get("start")
    wanted = names if isinstance(names, tuple) and names else None
    blocks = [block for block in site.blocks if wanted is None or block.name in wanted]
    out: dict[str, object] = {}
    if isinstance(start, dt.datetime) and not (wanted and by_hand):
        on = start.astimezone(ZoneInfo(site.place.timezone)).date()
        areas = [b.area for b in blocks if wanted or not _over(b, site, str(material), on)]
        if areas and None not in areas:
            share = by_hand if isinstance(by_hand, float) else 1.0
            out["area_m2"] = sum(area or 0.0 for area in areas) * share
    if blocks:
        out["crop"] = ", ".join(dict.fromkeys(block.crop for block in blocks))
    stages = {block.stage for block in blocks}
    if isinstance(start, dt.datetime) and len(stages) == 1 and None not in stages:
        day = start.astimezone(ZoneInfo(site.place.timezone)).date()
        seen = [block.observed for block in blocks if block.observed is not None]
        if all(0 <= (day - each).days <= FRESH_STAGE_D for each in seen):
            out["bbch"] = stages.pop()
    return out

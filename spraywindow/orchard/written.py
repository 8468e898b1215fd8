"""Fields of an application as people write them: quantities with units, local times, lists."""

from __future__ import annotations

import datetime as dt
import json
import math
import re
import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from pathlib import Path
from zoneinfo import ZoneInfo

from spraywindow.errors import InputError, describe, one_line
from spraywindow.orchard.record_fields import Entry
from spraywindow.season.stages import parse_stage
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
_TUPLES = ("blocks", "estimated")
_WHOLE = ("preharvest_days", "next_round_days")


def read_entry_file(path: Path) -> dict[str, object]:
    """Read a TOML or JSON file of fields; `InputError` if it is neither or holds no table."""
    try:
        text = path.read_bytes().decode("utf-8")
    except OSError as error:
        raise InputError(
            describe("cannot read the entry file", where=str(path), got=error.strerror)
        ) from error
    except UnicodeDecodeError as error:
        raise InputError(describe("not a text file", where=str(path))) from error
    try:
        found = json.loads(text) if path.suffix.lower() == ".json" else tomllib.loads(text)
    except ValueError as error:
        raise InputError(
            describe("not an entry file", where=str(path), expected="TOML, or JSON in a .json file",
                     got=str(error))
        ) from error  # fmt: skip
    if not isinstance(found, dict):
        raise InputError(describe("no table of fields", where=str(path)))
    return found


def fields_of(
    written: Mapping[str, object],
    timezone: str,
    *,
    start: dt.datetime | None = None,
    where: str = "entry",
) -> dict[str, object]:
    """Turn what people write into values for `Entry.read`; all problems at once.

    Parameters
    ----------
    written : mapping
        Names of `Entry`, of `SHORT`, or `AMOUNT`. Values as typed: "4 L", "50 %", "NW",
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
    """Give, by the field of `Entry`, the name and the value that somebody wrote."""
    return {
        field: (name, value)
        for name, value in written.items()
        for field in (_AMOUNTS if name == AMOUNT else (SHORT.get(name, name),))
    }


def _field(name: str, value: object, timezone: str, start: object) -> tuple[str, object]:
    if name == AMOUNT:
        return _amount(value)
    field = SHORT.get(name, name)
    if field not in Entry.model_fields:
        known = [AMOUNT, *SHORT, *Entry.model_fields]
        near = get_close_matches(name, known, 1)
        raise InputError(
            describe("unknown field", where=name, expected="one of " + ", ".join(known),
                     cure=f"do you mean {near[0]}?" if near else "")
        )  # fmt: skip
    if field in UNITS:
        number = _number(name, field, value)
        if field == "share" and not 0 < number <= 1:
            raise InputError(
                describe("not a part of a round", where=name, got=value,
                         expected='above 0 and up to 100 %, such as "60 %"')
            )  # fmt: skip
        return field, math.ceil(number - 1e-9) if field in _WHOLE else number
    if field in ("start", "end"):
        return field, _moment(name, value, timezone, start if field == "end" else None)
    if field in _TUPLES:
        parts = value.split(",") if isinstance(value, str) else value
        if not isinstance(parts, list | tuple):
            raise InputError(describe("not a list of names", where=name, got=value))
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
        raise InputError(describe("not a number", where=name, got=value)) from error


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
                    describe("the end is before the start", where=name, got=str(value),
                             expected=f"a time after {start.astimezone(zone):%H:%M}",
                             cure="an end on another day needs its date")
                )  # fmt: skip
        return moment
    if not isinstance(found, dt.datetime):
        expected = '"2026-01-12 10:00", local or with its offset'
        expected += ', or a clock time "12:00"' if name == "end" else ""
        raise InputError(describe("not a time", where=name, expected=expected, got=str(value)))
    return found if found.utcoffset() is not None else _local(name, found, zone)


def _iso(text: str) -> dt.datetime | None:
    return dt.datetime.fromisoformat(text) if ":" in text else None  # a date alone is no time


def _local(name: str, naive: dt.datetime, zone: ZoneInfo) -> dt.datetime:
    one, other = (naive.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if one.utcoffset() != other.utcoffset():
        raise InputError(
            describe("this local time does not exist or comes twice", where=name, got=str(naive),
                     cure="give it with its offset: 2026-03-29T03:30+03:00")
        )  # fmt: skip
    return one

"""The receipt of an answer, by which it is judged later: made, and read again."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from datetime import datetime
from typing import Any, ClassVar

import numpy as np
import pandas as pd

from spraywindow.call import Call
from spraywindow.errors import InputError, RecordError, check_texts, describe, one_line
from spraywindow.jobs.slots.answer import Evening, HourScore
from spraywindow.record import keep_receipt, open_record
from spraywindow.show import to_json
from spraywindow.site import Site
from spraywindow.spray import BOUNDS, CATALOGUE, KINDS, QUANTITIES, Limit, Setting, general_material
from spraywindow.weather import COLUMNS, forecasts_of, weather_source

_SETTING = {
    "tree_height_m": (0.5, 100.0), "frost_hollow_c": (0.0, 50.0), "dew_off_h": (-24.0, 24.0),
    "store_mm": (1e-3, 100.0), "shelter": (1e-3, 1.0),
}  # fmt: skip
"""Bounds within which a site of a receipt can be judged; a site file has closer ones."""
_TEXTS = ("site", "material", "verdict")
KEYS = ("site", "material", "now", "start", "end", "verdict", "limits")
"""What a receipt must carry; more is kept and passed over."""


@dataclass(frozen=True)
class ReceiptHour:
    """An hour that decided, with the weather as it was forecast, by column of the table."""

    json_keys: ClassVar = ("score*", "weather:3*")

    score: HourScore
    weather: dict[str, float]


@dataclass(frozen=True)
class SaidChance:
    """The chance of one job to hold, as said and before what the site's own answers teach."""

    json_keys: ClassVar = ("start", "end", "chance:3", "general:6")

    start: pd.Timestamp
    end: pd.Timestamp
    chance: float
    general: float


@dataclass(frozen=True)
class Input:
    """One of two forecasts that the answer stands on."""

    name: str | None
    issued: pd.Timestamp | None
    sha256: str


@dataclass(frozen=True)
class Receipt:
    """What was advised, from what: limits with values and sources, and the hours of its day.

    `input_sha256` is of the weather table, of two forecasts of both; `inputs` are of
    each of two. `start` and `end` are None without a slot. `chances`
    are of the likeliest job of each day ahead, go or not, `chance` is that of the first.
    """

    json_keys: ClassVar = (
        "site=evening.site.name", "material=evening.material.name", "now=evening.now",
        "verdict=evening.first.verdict", "start=evening.first.slot.start",
        "end=evening.first.slot.end", "date=evening.first.date", "known_until=evening.known_until",
        "source=evening.source", "input_sha256", "inputs", "setting=evening.site.setting:all",
        "limits=evening.material.limits:all"
        "(name quantity bound value width unit kind hours source)",
        "chance=evening.first.chance:3", "chances", "hours",
    )  # fmt: skip

    evening: Evening
    input_sha256: str
    inputs: tuple[Input, ...]
    hours: tuple[ReceiptHour, ...]

    @property
    def chances(self) -> tuple[SaidChance, ...]:
        """What was said of the days that have a figure."""
        job = pd.Timedelta(hours=math.ceil(self.evening.site.job_h))
        return tuple(
            SaidChance(day.best_start, day.best_start + job, day.chance, day.general)
            for day in self.evening.answers
            if day.best_start is not None and day.chance is not None and day.general is not None
        )


def make_receipt(evening: Evening, weather: pd.DataFrame) -> Receipt:
    """Make the receipt of an answer and the table that it was made from."""
    names = [name for name in COLUMNS if name in weather.columns]
    scores = [score for score in evening.hour_scores if score.time.date() == evening.first.date]
    rows = weather[names].reindex([score.time.tz_convert("UTC") for score in scores])
    hours = zip(scores, rows.to_dict("records"), strict=True)
    return Receipt(
        evening,
        weather_hash(weather),
        tuple(
            Input(source.name, source.issued, weather_hash(each))
            for each in forecasts_of(weather)
            for source in [weather_source(each, evening.now)]
        ),
        tuple(ReceiptHour(score, {str(k): v for k, v in row.items()}) for score, row in hours),
    )


def keep_advised(call: Call, evening: Evening, weather: pd.DataFrame) -> None:
    """Keep the receipt of an evening in the record, where there is one and a service was asked."""
    path = call.record_path
    if path is None or not path.exists() or not call.by_service:
        return
    text = to_json(make_receipt(evening, weather))
    try:
        with open_record(path) as opened:
            keep_receipt(opened, text)
    except RecordError as error:  # the answer stands all the same
        call.tell(f"The receipt is not kept: {error}")


def weather_hash(weather: pd.DataFrame) -> str:
    """SHA-256 of the table's stamps and contract columns; of two forecasts, of both hashes."""
    if told := forecasts_of(weather):
        return hashlib.sha256("".join(map(weather_hash, told)).encode()).hexdigest()
    digest = hashlib.sha256(pd.DatetimeIndex(weather.index).asi8.tobytes())
    for name in COLUMNS:
        if name in weather.columns:
            digest.update(name.encode())
            digest.update(np.ascontiguousarray(weather[name].to_numpy(dtype=float)).tobytes())
    return digest.hexdigest()


def read_receipt(receipt: str | Mapping[str, Any]) -> dict[str, Any]:
    """Read a receipt and check what the judge needs; raises `InputError`, all problems at once."""
    try:
        values = json.loads(receipt) if isinstance(receipt, str) else dict(receipt)
    except (ValueError, RecursionError) as error:
        raise InputError(f"not JSON ({error})", where="receipt") from error
    if not isinstance(values, dict):
        raise InputError("not a JSON object", where="receipt", got=type(values).__name__)
    check_texts(values, where="receipt")
    problems = [describe("is missing", where=key) for key in KEYS if key not in values]
    problems += [
        describe("not a time with its offset", where=key, expected="ISO 8601", got=values[key])
        for key in ("now", "start", "end")
        if key in values and not _is_time(values[key])
    ]
    if not problems and _time(values["end"]) <= _time(values["start"]):
        expected = f"after the start, {values['start']}"
        problems.append(
            describe("before the start", where="end", expected=expected, got=values["end"])
        )
    if not _are_tables(values.get("limits") or [], "name", str):
        problems.append(describe("not a list of limits with their name", where="limits"))
    hours = values.get("hours") or []
    told = _are_tables(hours, "time", str) and all(_is_time(hour["time"]) for hour in hours)
    if not told:
        problems.append(describe("not a list of hours with their time", where="hours"))
    problems += [
        describe("not a text", where=key, got=values[key])
        for key in _TEXTS
        if not isinstance(values.get(key, ""), str)
    ]
    odd = next((found for hour in hours for found in _odd_weather(hour)), None) if told else None
    if odd is not None:
        problems.append(describe("not a number", where=f"hours, {odd[0]}", got=odd[1]))
    if not _is_setting(values.get("setting") or {}):
        problems.append(describe("not a table of usable numbers", where="setting"))
    if problems:
        raise InputError(f"receipt: {one_line(problems)}")
    return values


def _odd_weather(hour: Mapping[str, Any]) -> list[tuple[str, Any]]:
    """What of an hour's weather is no number."""
    told = [(name, hour.get(name)) for name in COLUMNS]
    return [(name, value) for name, value in told if value is not None and not _is_number(value)]


def hourless(text: str) -> dict[str, Any] | None:
    """What a readable receipt without hours says; None for any other."""
    try:
        values = json.loads(text)
    except (ValueError, RecursionError):
        return None
    stays = isinstance(values, dict) and values.get("verdict") in ("no-go", "unknown")
    if not stays or values.get("start") is not None:
        return None
    check_texts(values, where="receipt")
    about = {key: values.get(key) for key in ("site", "material", "now", "verdict", "date")}
    return about if all(isinstance(value, str | None) for value in about.values()) else None


def said_jobs(text: str) -> list[dict[str, Any]]:
    """A readable receipt for each job that it gives a chance of, with the job's hours as advised.

    Each has ``chance`` and ``general``; a receipt of before gave none.

    Raises
    ------
    InputError
        If a chance cannot be judged; all problems of a job at once.
    """
    values = json.loads(text)
    jobs = values.get("chances") or []
    if not _are_tables(jobs, "start", str):
        raise InputError("not a list of jobs with their start", where="receipt: chances")
    for job in jobs:
        said = job.get("chance"), job.get("general")
        if not all(_is_number(each) and 0.0 <= each <= 1.0 for each in said):
            raise InputError("not a chance", where="receipt: chances", expected="0 to 1", got=said)
    names = ("start", "end", "chance", "general")
    return [read_receipt(values | {name: job.get(name) for name in names}) for job in jobs]


def refuse_other_site(text: str, site: str, *, where: str) -> None:
    """Raise `InputError` for a receipt that is of another site, or cannot be read."""
    values = hourless(text) or _named(text, where)
    if values["site"] != site:
        raise InputError(
            "the receipt is of another site",
            where=where,
            expected=site,
            got=values["site"],
            cure="give the file of that site as --site",
        )


def limits_of(values: Mapping[str, Any], site: Site) -> tuple[list[Limit], list[str]]:
    """Build the limits that a receipt carries.

    Parameters
    ----------
    values : mapping
        From `read_receipt`. What a limit looks at is its ``quantity``, or that of the limit of
        this name at the site or in the catalogue.
    site : Site

    Returns
    -------
    list of Limit
    list of str
        Names of the hard limits that cannot be judged: what they look at is not known.
    """
    name = str(values["material"])
    own = site.materials.get(name)
    base = CATALOGUE.get(own.based_on or name) if own else None
    materials = [general_material(name), base, own]
    known = {limit.name: limit for each in materials if each for limit in each.limits}
    built, dark = [], []
    for each in values["limits"] or []:
        like = known.get(each["name"])
        limit = _limit(each, like)
        if limit is not None:
            built.append(limit)
        elif each.get("kind", "hard") == "hard":
            dark.append(each["name"])
    return built, dark


def setting_of(values: Mapping[str, Any], site: Site) -> Setting:
    """The site as it was judged: from the receipt, else from the site file."""
    given = values.get("setting") or {}
    known: dict[str, Any] = {
        field.name: tuple(value) if isinstance(value, list) else value
        for field in fields(Setting)
        if (value := given.get(field.name)) is not None
    }
    return replace(site.setting, **known)


def _limit(each: Mapping[str, Any], like: Limit | None) -> Limit | None:
    looks_at = each.get("quantity", like.quantity if like else None)
    quantity = QUANTITIES.get(looks_at) if isinstance(looks_at, str) else None
    unit = each.get("unit", like.unit if like else None)
    width = each.get("width", like.width if like else 1.0)
    hours = each.get("hours")
    numbers = [each.get("value"), width, 1.0 if hours is None else hours]
    if (
        quantity is None
        or unit != quantity.unit
        or each.get("bound") not in BOUNDS
        or each.get("kind") not in KINDS
        or not all(map(_is_number, numbers))
    ):
        return None
    try:
        return Limit(
            each["name"],
            str(looks_at),
            each["bound"],
            each["value"],
            width,
            quantity.unit,
            each["kind"],
            like.words if like else each["name"],
            "",
            str(each.get("source", "")),
            hours,
        )
    except InputError:  # a value out of its range
        return None


def _named(text: str, where: str) -> dict[str, Any]:
    try:
        return read_receipt(text)
    except InputError as error:
        raise InputError(f"{where}: {error}") from error


def _is_time(text: object) -> bool:
    try:
        return isinstance(text, str) and _time(text).utcoffset() is not None
    except ValueError:
        return False


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text)


def _is_number(value: object) -> bool:
    """A number that a receipt of ours may hold; an endless one is none."""
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e12


def _are_tables(values: object, key: str, kind: type) -> bool:
    return isinstance(values, list) and all(
        isinstance(each, dict) and isinstance(each.get(key), kind) for each in values
    )


def _is_setting(values: object) -> bool:
    if not isinstance(values, dict):
        return False
    for name, value in values.items():
        numbers = value if isinstance(value, list) and name == "neighbours_deg" else [value]
        low, high = _SETTING.get(name, (-math.inf, math.inf))
        if not all(_is_number(each) and low <= each <= high for each in numbers):
            return False
    return True

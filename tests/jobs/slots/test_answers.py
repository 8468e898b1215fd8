"""JSON, CSV and receipts: stable keys, ISO 8601 times with offset, null for unknown."""

from __future__ import annotations

import datetime as dt
import io
import json
import math
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
import pandas as pd
import pytest

from spraywindow.jobs.slots.answer import Evening
from spraywindow.jobs.slots.command import hours_csv, slots_csv
from spraywindow.jobs.slots.receipt import KEYS as READ_KEYS
from spraywindow.jobs.slots.receipt import Receipt, make_receipt, weather_hash
from spraywindow.jobs.slots.words import EVENING_WORDS
from spraywindow.show.json import keys_of, number, plain, to_json
from tests.jobs.slots.test_evening import answer, site
from tests.site_files import steady

KEYS = {"site", "material", "now", "known_until", "source", "not_judged", "tomorrow", "slots",
        "days", "blocks", "cautions"}  # fmt: skip
SLOT_KEYS = {"start", "end", "best_start", "duration_h", "margin", "opens", "closes",
             "dry_h_after"}  # fmt: skip


def holed() -> pd.DataFrame:
    weather = steady()
    weather.iloc[60:62, weather.columns.get_loc("rain_mm")] = np.nan
    weather.iloc[100:103, weather.columns.get_loc("temp_c")] = np.nan
    return weather


def strict(text: str) -> Any:
    def refuse(token: str) -> None:
        raise AssertionError(f"{token} is no JSON")

    return json.loads(text, parse_constant=refuse)


def said(evening: Evening) -> Any:
    """The JSON of an evening with its hours, read again."""
    out = plain(evening, EVENING_WORDS)
    return strict(to_json(out | {"hours": evening.hour_scores}))


@pytest.mark.parametrize("now", ["2026-01-12 18:00", "2026-01-12 08:00"])
def test_keys_of_the_contract(now: str) -> None:
    out = said(answer(site(), now=now))
    morning = "08:00" in now
    assert set(out) >= KEYS
    assert ("today" in out) == morning
    assert set(out["source"]) >= {"name", "issued", "age_h", "credit"}
    for day in [out["tomorrow"], *([out["today"]] if morning else [])]:
        assert set(day) >= {"date", "verdict", "start", "end", "margin", "reason"}
    assert set(out["slots"][0]) >= SLOT_KEYS
    assert all(set(day) >= {"date", "verdict", "held_by", "reason"} for day in out["days"])
    assert set(out["blocks"][0]) >= {"name", "stage", "stage_date", "open"}
    assert set(out["hours"][0]) >= {"time", "verdict", "margin", "held_by", "limits"}


def test_unknown_is_null_and_times_carry_an_offset() -> None:
    out = said(answer(site(), holed()))
    unknown = [hour for hour in out["hours"] if hour["verdict"] == "unknown"]
    assert unknown
    assert all(hour["margin"] is None for hour in unknown)
    assert out["tomorrow"]["margin"] is None
    assert out["tomorrow"]["start"] is None
    times = [out["now"], out["known_until"], *(hour["time"] for hour in out["hours"])]
    times += [slot[key] for slot in out["slots"] for key in ("start", "end", "best_start")]
    assert all(dt.datetime.fromisoformat(time).utcoffset() is not None for time in times)


def test_hours_days_and_slots_tell_one_story() -> None:
    out = said(answer(site()))
    verdicts = {hour["time"]: hour for hour in out["hours"]}
    for slot in out["slots"]:
        assert verdicts[slot["start"]]["verdict"] == "go"
    for hour in out["hours"]:
        if hour["verdict"] == "go":
            assert hour["margin"] >= 0
        if hour["verdict"] == "no-go":
            assert hour["margin"] < 0
    days = {day["date"]: day["verdict"] for day in out["days"]}
    assert {slot["start"][:10] for slot in out["slots"]} == {
        date for date, verdict in days.items() if verdict == "go"
    }


def test_numbers() -> None:
    assert number(math.nan) is None
    assert number(-math.inf) is None
    assert number(0.123456) == 0.1235
    tiny = number(-1e-9)
    assert tiny is not None
    assert tiny < 0  # just outside a limit stays outside
    assert plain({"margin": np.float64(math.nan), "n": np.int64(3)}) == {"margin": None, "n": 3}
    with pytest.raises(TypeError, match="no JSON is known for object"):
        to_json({"margin": object()})


def test_csv_of_slots_and_of_hours() -> None:
    said = answer(site(), holed())
    slots = pd.read_csv(io.StringIO(slots_csv(said)))
    assert list(slots.columns[:3]) == ["start", "end", "best_start"]
    assert len(slots) == len(said.slots)
    hours = pd.read_csv(io.StringIO(hours_csv(said)))
    assert list(hours.columns[:4]) == ["time", "verdict", "margin", "held_by"]
    assert hours["time"][0] == "2026-01-12T18:00:00-08:00"
    assert (hours["margin"][hours["verdict"] == "no-go"] < 0).all()
    assert hours["margin"][hours["verdict"] == "unknown"].isna().all()


def test_csv_without_slots_has_its_header() -> None:
    text = slots_csv(answer(site("", ('"dormant"', '"full bloom"'))))
    assert text.splitlines() == [
        "start,end,best_start,duration_h,margin,chance,chance_dry,opens,closes,dry_h_after,material"
    ]


def test_a_receipt_tells_input_limits_and_the_hours_that_decided() -> None:
    weather = steady()
    out = strict(to_json(make_receipt(answer(site(), weather), weather)))
    assert out["verdict"] == "go"
    assert out["input_sha256"] == weather_hash(weather)
    assert {hour["time"][:10] for hour in out["hours"]} == {"2026-01-13"}
    cold = next(limit for limit in out["limits"] if limit["name"] == "cold")
    assert cold["source"].startswith("Kansas State")
    changed = weather.copy()
    changed.iloc[5, 0] += 0.1
    assert weather_hash(changed) != weather_hash(weather)


@dataclass(frozen=True)
class Tree:
    json_keys: ClassVar = ("name", "height:1", "why~", "seen?", "sort!")

    name: str
    height: float
    why: str
    seen: dt.date | None


@dataclass(frozen=True)
class Row:
    json_keys: ClassVar = (
        "first=trees.first", "trees", "names=trees(name)", "size:all", "size_2=size:2",
        "about=.(rows size=size:0)", "more*",
    )  # fmt: skip

    trees: tuple[Tree, ...] | None
    size: float
    rows: int
    more: dict[str, float]


def test_a_class_says_its_keys() -> None:
    seen = dt.date(2026, 1, 9)
    words = {(Tree, "sort"): lambda tree, every: f"{tree.name} of {len(every)}"}
    trees = (Tree("a", 2.345, "", seen), Tree("b", math.nan, "in flower", None))
    assert plain(Row(None, 1 / 3, 2, {"x": 1 / 3})) == {
        "first": None, "trees": None, "names": None, "size": 1 / 3, "size_2": 0.33,
        "about": {"rows": 2, "size": 0.0}, "x": 0.3333,
    }  # fmt: skip
    assert plain(trees, words) == [
        {"name": "a", "height": 2.3, "why": None, "seen": "2026-01-09", "sort": "a of 2"},
        {"name": "b", "height": None, "why": "in flower", "sort": "b of 2"},
    ]
    with pytest.raises(ValueError, match="not a JSON key: 'a b'"):
        plain(Wrong())


@dataclass(frozen=True)
class Wrong:
    json_keys: ClassVar = ("a b",)


def test_the_reader_of_receipts_asks_for_what_the_writer_gives() -> None:
    assert {*READ_KEYS, "hours", "setting"} <= {key.name for key in keys_of(Receipt) or ()}

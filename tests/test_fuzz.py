"""Nothing breaks it: whatever is damaged is refused in one line, and less knowledge is no new go.

Damage is tagged: what *removes* knowledge, or puts in a number's place what tells nothing, must
never make an hour go; what *garbles* must never end in a traceback; what *reorders* must not change
the answer. See `tests.fuzzing` for trying more.
"""

from __future__ import annotations

import io
import json
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from spraywindow.errors import SourceError
from spraywindow.jobs.log.judge import judge_all, judge_text
from spraywindow.jobs.slots.answer import evening
from spraywindow.jobs.slots.receipt import make_receipt
from spraywindow.place import Place
from spraywindow.record.export import check_record, export_json, import_json, receipts_of
from spraywindow.record.file import open_record
from spraywindow.record.record import add, correct, current, history
from spraywindow.show.json import to_json
from spraywindow.site.site import read_site, site_of
from spraywindow.sources.files.column_map import load_map
from spraywindow.sources.files.read_file import read_weather
from spraywindow.sources.http.fetch import get_json
from spraywindow.sources.http.reply import document
from spraywindow.sources.http.session import polite_session
from spraywindow.sources.services import metnorway, nws, openmeteo
from spraywindow.spray.catalogue import COPPER, OIL
from spraywindow.spray.hours import score_hours
from spraywindow.weather.table import check_hourly
from tests.command import command
from tests.conftest import ROOT, SHARED, needs_records
from tests.fuzzing import (
    NO_NUMBERS,
    ODD,
    Tally,
    at,
    chances,
    garbled,
    put,
    removed,
    shuffled,
    ways,
)
from tests.loopback import Loopback, Reply
from tests.record_values import NOW as ENTERED
from tests.record_values import entry
from tests.site_files import NOW, OSSA, SITE, write_site

SAMPLES = ROOT / "data" / "samples"
HARD = [limit.name for each in (OIL, COPPER) for limit in each.limits if limit.kind == "hard"]
FRESH = {"Cache-Control": "max-age=3600"}


def met(table: pd.DataFrame, place: Place) -> dict[tuple[str, str], pd.Series]:
    """By material and hard limit, and the verdict: whether each hour surely meets it."""
    out = {}
    for material in (OIL, COPPER):
        hours = score_hours(table, place, material)
        out[material.name, "go"] = hours["go"]
        for name in HARD:
            if name in hours:
                out[material.name, name] = hours[name] >= 0.0
    return out


def more(
    less: dict[tuple[str, str], pd.Series], whole: dict[tuple[str, str], pd.Series]
) -> list[str]:
    """Limits that are met in an hour in which, knowing more, they are not.

    A limit whose column went is not judged, and the advice says so: a go is held by the others.
    """
    lost = {material for material, name in whole.keys() - less.keys()}
    out = []
    for (material, name), hours in less.items():
        if name == "go" and material in lost:
            continue
        gained = hours & ~whole[material, name].reindex(hours.index, fill_value=False)
        if gained.any():
            out.append(f"{material} {name} at {hours.index[gained][0]} ({gained.sum()} hours)")
    return out


PLACES = {
    "nws": Place(30.44, -84.3, 50.0, "America/New_York"),
    "met-norway": Place(59.9, 10.7, 100.0, "Europe/Oslo"),
    "open-meteo": Place(40.7, -74.0, 10.0, "America/New_York"),
}
PARSERS: dict[str, Callable[[Any], pd.DataFrame]] = {
    "nws": nws.parse,
    "met-norway": metnorway.parse,
    "open-meteo": openmeteo.parse,
}
REPLIES = [
    ("nws", "pynws_gridpoint_TAE_58_65_2022-02-04.json"),
    ("met-norway", "rorysullivan_complete_london_2020-07-20_with_headers.json"),
    ("met-norway", "metno_complete_nordic_59N10E_2022-05-18.json"),
    ("open-meteo", "magicmirror_forecast_7d_iso8601_2026-02-06.json"),
]


@pytest.fixture
def end(capsys: pytest.CaptureFixture[str]) -> Callable[[Tally], None]:
    """Ends a tally, its counts on the screen."""

    def told(tally: Tally) -> None:
        with capsys.disabled():
            tally.end()

    return told


def recorded(service: str, name: str) -> Any:
    whole = json.loads((SHARED / "payloads" / service / name).read_text("utf-8"))
    payload = whole["data"] if "headers" in whole else whole
    if service == "open-meteo":
        payload["utc_offset_seconds"] = 0  # we ask for UTC
    return payload


def some(found: list[tuple[Any, ...]], chance: random.Random) -> list[tuple[Any, ...]]:
    """Some of the ways through a document, short and long ones alike, none in another."""
    depth = chance.choice(sorted({len(way) for way in found}))
    alike = [way for way in found if len(way) == depth]
    return chance.sample(alike, min(len(alike), chance.choice((1, 1, 2, 20, 200))))


def numbers_in(payload: Any) -> list[tuple[Any, ...]]:
    found = ways(payload)
    return [way for way in found if type(at(payload, way)) in (int, float)]


@needs_records
@pytest.mark.parametrize(("service", "name"), REPLIES)
def test_a_damaged_reply(service: str, name: str, end: Callable[[Tally], None]) -> None:
    tally, payload, place = Tally(name), recorded(service, name), PLACES[service]
    parse, everything, numbers = PARSERS[service], ways(payload), numbers_in(payload)
    content = json.dumps(payload).encode()
    whole_table = check_hourly(parse(payload))
    whole = met(whole_table, place)

    def judged(payload: Any) -> dict[tuple[str, str], pd.Series]:
        return met(check_hourly(parse(payload)), place)

    def read(content: bytes) -> dict[tuple[str, str], pd.Series]:
        try:
            found = document(content)
        except ValueError as error:
            raise SourceError("not JSON") from error  # refused before it is kept
        return judged(found)

    for chance in chances(name, 60):
        how = chance.choice(("remove", "remove", "no number", "odd", "bytes", "keys", "order"))
        if how == "remove":
            chosen = some(everything, chance)
            less = removed(payload, *chosen)
            tag, told = "removes", f"without {chosen[:3]} ({len(chosen)})"
        elif how == "no number":
            chosen, value = some(numbers, chance), chance.choice(NO_NUMBERS)
            less = put(payload, value, *chosen)
            tag, told = "removes", f"{value!r:.40} at {chosen[:3]} ({len(chosen)})"
        elif how == "odd":
            way, value = chance.choice(some(everything, chance)), chance.choice(ODD)
            tally.tried("garbles", f"odd {ODD.index(value)} at {way}",
                        lambda way=way, value=value: judged(put(payload, value, way)))  # fmt: skip
            continue
        elif how == "bytes":
            damaged = garbled(content, chance)
            tally.tried("garbles", f"bytes, {len(damaged)}", lambda damaged=damaged: read(damaged))
            continue
        else:
            tag, told, less = "reorders", how, shuffled(payload, chance)
            if how == "order":
                lists = [way for way in everything if isinstance(at(payload, way), list)]
                values = list(at(payload, way := chance.choice(lists)))
                chance.shuffle(values)
                less, told = put(payload, values, way), f"order of {way}"
                if service == "open-meteo":  # its columns belong together: this garbles
                    tally.tried("garbles", told, lambda less=less: judged(less))
                    continue
        found = tally.tried(tag, told, lambda less=less: judged(less))
        if found is not None:
            gained = more(found, whole)
            tally.hold(not gained, f"{told}: less knowledge, and yet met: {gained[:3]}")
            if tag == "reorders":
                tally.hold(not more(whole, found), f"{told}: another order, another answer")
    end(tally)


def sample() -> pd.DataFrame:
    return pd.read_csv(SAMPLES / "forecast.csv", dtype="str")


UNIT = {"temp_c": "degC", "dew_point_c": "degC", "wind_ms": "m/s", "rain_mm": "mm",
        "gust_ms": "m/s", "wind_from_deg": "deg", "cloud": "fraction", "solar_wm2": "W/m2",
        "rain_chance": "fraction"}  # fmt: skip
COLUMN_MAP: dict[str, Any] = {"time": {"column": "time", "timezone": "UTC"}} | {
    name: {"column": name, "unit": unit} for name, unit in UNIT.items()
}


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_a_damaged_weather_file(kind: str, tmp_path: Path, end: Callable[[Tally], None]) -> None:
    if kind == "parquet":
        pytest.importorskip("pyarrow")
    tally, frame, place = Tally(kind), sample(), read_site(SAMPLES / "orchard.toml").place
    path = tmp_path / f"w.{kind}"

    def written(frame: pd.DataFrame) -> bytes:
        if kind == "csv":
            return frame.to_csv(index=False).encode()
        columns = {
            name: pd.to_numeric(frame[name], errors="coerce") for name in UNIT if name in frame
        }
        out = io.BytesIO()
        frame.assign(**columns).to_parquet(out)
        return out.getvalue()

    def judged(content: bytes, layout: dict[str, Any]) -> dict[tuple[str, str], pd.Series]:
        path.write_bytes(content)
        return met(read_weather(path, layout), place)

    sound = written(frame)
    whole = judged(sound, COLUMN_MAP)
    required = ("temp_c", "dew_point_c", "wind_ms", "rain_mm")
    for chance in chances(kind, 90):
        how = chance.choice(("cells", "rows", "end", "column", "text", "columns", "bytes", "map"))
        less, layout = frame.copy(), dict(COLUMN_MAP)
        names = chance.sample(list(UNIT), chance.choice((1, 1, 3, len(UNIT))))
        rows = chance.sample(range(len(frame)), chance.choice((1, 3, 20)))
        block = range(rows[0], min(rows[0] + chance.choice((1, 3, 20)), len(frame)))
        told, tag = f"{how} {names} {rows[:3]}", "removes"
        if how == "cells":
            less.loc[rows, names] = None
        elif how == "text":
            less[names] = less[names].astype(object)
            values = [value for value in NO_NUMBERS if isinstance(value, str | bool)]
            less.loc[rows, names] = str(chance.choice(values[2:]))
            if less.loc[rows[0], names[0]] == "0":
                tag = "garbles"
        elif how == "rows":
            less = less.drop(index=block)  # one by one they would make a coarser file
            told = f"{how} {block}"
        elif how == "end":
            less = less.iloc[: chance.randrange(1, len(less))]
        elif how == "column":
            for name in names:
                layout.pop(name)
                if name in required:
                    layout[name] = "unknown"
        elif how == "columns":
            order = list(less.columns)
            chance.shuffle(order)
            less, tag = less[order], "reorders"
        elif how == "bytes":
            damaged = garbled(sound, chance)
            tally.tried("garbles", f"bytes, {len(damaged)}",
                        lambda damaged=damaged: judged(damaged, COLUMN_MAP))  # fmt: skip
            continue
        else:
            way, value = chance.choice(ways(COLUMN_MAP)), chance.choice(ODD)
            tally.tried("garbles", f"map: odd {ODD.index(value)} at {way}",
                        lambda way=way, value=value: judged(
                            sound, load_map(put(COLUMN_MAP, value, way))))  # fmt: skip
            continue
        found = tally.tried(
            tag, told, lambda less=less, layout=layout: judged(written(less), layout)
        )
        if found is not None and tag != "garbles":
            gained = more(found, whole)
            tally.hold(not gained, f"{told}: less knowledge, and yet met: {gained[:3]}")
            if tag == "reorders":
                tally.hold(not more(whole, found), f"{told}: another order, another answer")
    end(tally)


def test_a_damaged_site_file(tmp_path: Path, end: Callable[[Tally], None]) -> None:
    import tomllib

    tally, path = Tally("site file"), tmp_path / "site.toml"
    demo = (SAMPLES / "orchard.toml").read_text("utf-8")
    ossa = OSSA.format(units="us", latitude=37.8, longitude=21.4)
    weather = read_weather(SAMPLES / "forecast.csv")
    now = pd.Timestamp("2026-01-12 18:00", tz="UTC")

    def answered(site: Any, ask: bool) -> None:
        if ask:
            evening(site, weather, now, "oil")

    for chance in chances("site", 120):
        text = chance.choice((demo, ossa, SITE))
        ask = chance.random() < 0.25
        if chance.random() < 0.5:
            content = garbled(text.encode(), chance)
            path.write_bytes(content)
            tally.tried("garbles", f"bytes {content[-60:]!r}",
                        lambda ask=ask: answered(read_site(path), ask))  # fmt: skip
            continue
        tables = tomllib.loads(text)
        way, value = chance.choice(some(ways(tables), chance)), chance.choice(ODD)
        gone = chance.random() < 0.3
        damaged = removed(tables, way) if gone else put(tables, value, way)
        how = f"without {way}" if gone else f"odd {ODD.index(value)} at {way}"
        tally.tried("removes" if gone else "garbles", how,
                    lambda damaged=damaged, ask=ask: answered(site_of(damaged), ask))  # fmt: skip
    end(tally)


def test_a_damaged_receipt(tmp_path: Path, end: Callable[[Tally], None]) -> None:
    site = read_site(write_site(tmp_path / "ossa.toml"))
    index = pd.date_range("2026-01-01", periods=24 * 31, freq="h", tz="UTC", name="time")
    plain = {"temp_c": 12.0, "dew_point_c": 3.0, "wind_ms": 2.0, "rain_mm": 0.0, "cloud": 0.9}
    weather = pd.DataFrame(plain, index=index)
    issued = pd.Timestamp("2026-01-12 18:00", tz="Europe/Athens")
    text = to_json(make_receipt(evening(site, weather, issued, "oil"), weather))
    tally, receipt = Tally("receipt"), json.loads(text)
    found = ways(receipt)

    def judged(text: str) -> str:
        later = pd.Timestamp("2026-01-25 12:00", tz="UTC")
        answer = judge_all([("1", text)], site, weather, now=later.to_pydatetime())
        return to_json(answer) + judge_text(answer)

    for chance in chances("receipt", 60):
        way, value = chance.choice(some(found, chance)), chance.choice(ODD)
        how = chance.randrange(3)
        if how == 0:
            tally.tried("removes", f"without {way}",
                        lambda way=way: judged(json.dumps(removed(receipt, way))))  # fmt: skip
        elif how == 1:
            tally.tried("garbles", f"odd {ODD.index(value)} at {way}",
                        lambda way=way, value=value: judged(
                            json.dumps(put(receipt, value, way))))  # fmt: skip
        else:
            damaged = garbled(text.encode(), chance).decode("utf-8", "replace")
            tally.tried("garbles", f"bytes {damaged[-40:]!r}",
                        lambda damaged=damaged: judged(damaged))  # fmt: skip
    end(tally)


def test_a_damaged_record(tmp_path: Path, end: Callable[[Tally], None]) -> None:
    path, damaged, again = (tmp_path / name for name in ("log.db", "damaged.db", "again.db"))
    with open_record(path, create=True) as record:
        for number in range(12):
            note = f"{number} " + "n" * 1500
            add(record, entry(note=note), now=ENTERED, receipt=f'{{"go": {number}}}')
        correct(record, 3, {"share": 0.5}, why="half", now=ENTERED)
        rows = history(record)
        export = export_json(rows, receipts_of(record, rows))
    sound, tally = path.read_bytes(), Tally("record")

    def opened() -> tuple[Any, Any]:
        with open_record(damaged) as record:
            found = history(record)
            current(record)
            before = damaged.read_bytes()
            number = add(record, entry(note="later"), now=ENTERED)
            return found, (number, before)

    for chance in chances("record", 120):
        if chance.random() < 0.7:
            damaged.write_bytes(garbled(sound, chance))
            for beside in tmp_path.glob("damaged.db-*"):
                beside.unlink()
            tally.tried("checks", "check", lambda: check_record(damaged))
            found = tally.tried("garbles", "record bytes", opened)
            if found is not None:
                tally.hold(found[0] == rows, "a damaged record is read, and is another")
                tally.hold(found[1][0] == len(rows) + 1, "a number is given twice")
            continue
        text = garbled(export.encode(), chance).decode("utf-8", "replace")
        again.unlink(missing_ok=True)
        count = tally.tried("garbles", "export", lambda text=text: import_json(again, text))
        if count is not None:
            with open_record(again) as record:
                tally.hold(history(record) == rows, "a damaged export makes another record")
        else:
            tally.hold(not again.exists(), "a refused export leaves a record")
    end(tally)


def test_a_damaged_cache(tmp_path: Path, end: Callable[[Tally], None]) -> None:
    tally, folder = Tally("cache"), tmp_path / "cache"
    kept, fresh = {"rain": [0.5] * 400}, {"rain": [1.5] * 400}
    now = pd.Timestamp.now("UTC")
    with Loopback(Reply(kept, headers=FRESH), Reply(fresh, headers=FRESH)) as server:
        with polite_session(folder) as http:
            get_json(http, server.url + "/a", now=now)
        sound = (folder / "http.sqlite").read_bytes()
        for number, chance in enumerate(chances("cache", 60)):
            here = tmp_path / f"cache{number}"
            here.mkdir()
            (here / "http.sqlite").write_bytes(garbled(sound, chance))

            def ask(here: Path = here) -> Any:
                with polite_session(here) as http:
                    return get_json(http, server.url + "/a", now=now)[0]

            found = tally.tried("garbles", "cache bytes", ask)
            tally.hold(found in (kept, fresh), f"neither kept nor fresh: {str(found)[:80]}")
    end(tally)


def test_a_whole_command_on_damaged_files(tmp_path: Path, end: Callable[[Tally], None]) -> None:
    tally = Tally("slots")
    site, weather = tmp_path / "site.toml", tmp_path / "w.csv"
    texts = {site: (SAMPLES / "orchard.toml").read_bytes(),
             weather: (SAMPLES / "forecast.csv").read_bytes()}  # fmt: skip
    for chance in chances("slots", 16):
        for path, content in texts.items():
            path.write_bytes(content if chance.random() < 0.7 else garbled(content, chance))
        said = command("slots", "--site", site, "--weather", weather, "--now", NOW, "--exit-code")
        tally.counts["garbles"] += 1
        tally.counts["refused" if said.code == 2 else "answered"] += 1
        tally.hold(said.code in (0, 1, 2, 3), f"exit code {said.code}: {said.err[-600:]}")
        tally.hold(said.code != 2 or len(said.refusal) < 20_000, "a long line")
    end(tally)

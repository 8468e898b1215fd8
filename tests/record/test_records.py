"""The application record: adding, correcting, withdrawing, listing, exporting."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
from collections.abc import Iterator
from datetime import UTC, date, timedelta
from pathlib import Path

import pytest

from spraywindow.errors import InputError, RecordError
from spraywindow.record.entry import Application
from spraywindow.record.export import export_csv, export_json
from spraywindow.record.file import Record, open_record
from spraywindow.record.record import (
    Round,
    add,
    correct,
    current,
    history,
    receipt_of,
    rounds_done,
    withdraw,
)
from spraywindow.record.rules import RULES
from tests.record_values import FULL, NOW, START, entry


@pytest.fixture
def record(tmp_path: Path) -> Iterator[Record]:
    with open_record(tmp_path / "log.db", create=True) as opened:
        yield opened


def test_what_goes_in_comes_out(record: Record) -> None:
    full = Application.read(
        FULL | {"blocks": ("A", "B, lower"), "note": 'wind "rose"\nafter 19:30 ß'}
    )
    assert add(record, full, now=NOW) == 1
    (kept,) = current(record)
    assert kept.entry == full
    assert (kept.kind, kept.entered, kept.corrects) == ("application", NOW, None)


def test_a_correction_points_at_the_old_entry_and_keeps_it(record: Record) -> None:
    add(record, entry(product_l=4.0), now=NOW)
    assert correct(record, 1, {"product_l": 3.0}, why="read the jug again", now=NOW) == 2
    assert [row.entry.product_l for row in history(record)] == [4.0, 3.0]
    (holding,) = current(record)
    assert (holding.id, holding.corrects, holding.why) == (2, 1, "read the jug again")
    assert holding.entry.start == START


def test_only_what_holds_can_be_corrected(record: Record) -> None:
    add(record, entry(), now=NOW)
    correct(record, 1, {"share": 0.5}, why="rain came", now=NOW)
    with pytest.raises(RecordError, match="entry 1 was corrected by entry 2"):
        correct(record, 1, {"share": 0.6}, why="again", now=NOW)
    with pytest.raises(RecordError, match="no entry 9"):
        correct(record, 9, {"share": 0.6}, why="again", now=NOW)
    with pytest.raises(InputError, match="nothing changes"):
        correct(record, 2, {"share": 0.5}, why="again", now=NOW)
    with pytest.raises(InputError, match="no reason"):
        correct(record, 2, {"share": 0.7}, why=" ", now=NOW)
    with pytest.raises(InputError, match="unknown field"):
        correct(record, 2, {"wether": 1}, why="typing", now=NOW)
    assert len(history(record)) == 2


def test_a_measured_value_ends_the_estimate(record: Record) -> None:
    guessed = entry(
        temp_c=12.0, wind_ms=2.0, estimated=("temp_c", "wind_ms"), weather_source="demo"
    )
    add(record, guessed, now=NOW)
    correct(record, 1, {"temp_c": 12.0}, why="thermometer agrees", now=NOW)
    assert current(record)[0].entry.estimated == ("wind_ms",)


def test_a_withdrawn_entry_counts_no_more_but_stays(record: Record) -> None:
    add(record, entry(), now=NOW)
    withdraw(record, 1, why="entered at the wrong site", now=NOW)
    assert current(record) == []
    assert [row.kind for row in history(record)] == ["application", "withdrawal"]
    with pytest.raises(RecordError, match="entry 1 was withdrawn by entry 2"):
        correct(record, 1, {"share": 0.5}, why="late", now=NOW)
    with pytest.raises(RecordError, match="no entry 2"):
        correct(record, 2, {"share": 0.5}, why="late", now=NOW)
    assert add(record, entry(), now=NOW) == 3


def test_the_same_application_is_not_taken_twice(record: Record) -> None:
    add(record, entry(), now=NOW)
    with pytest.raises(RecordError, match="the same application is entry 1 already"):
        add(record, entry(), now=NOW + timedelta(hours=1))


@pytest.mark.parametrize("table", ["entries", "receipts"])
def test_rows_can_be_neither_changed_nor_removed(record: Record, table: str) -> None:
    add(record, entry(), now=NOW, receipt="{}")
    column = "why" if table == "entries" else "text"
    for statement in (f"UPDATE {table} SET {column} = 'x'", f"DELETE FROM {table}"):
        with pytest.raises(sqlite3.IntegrityError, match="only added to"):
            record.connection.execute(statement)


def test_a_receipt_is_kept_to_the_letter_and_found_through_corrections(record: Record) -> None:
    text = '{"verdict":  "go"}'
    add(record, entry(), now=NOW, receipt=text)
    correct(record, 1, {"share": 0.5}, why="rain came", now=NOW)
    assert receipt_of(record, 2) == text
    add(record, entry(material="copper", product="Copper B"), now=NOW)
    assert receipt_of(record, 3) is None
    with pytest.raises(InputError, match="receipt: not JSON"):
        add(record, entry(share=0.1), now=NOW, receipt="go")
    with pytest.raises(InputError, match="receipt: not a JSON object"):
        add(record, entry(share=0.1), now=NOW, receipt="[]")


def test_rounds_done_are_local_days_with_shares_added(record: Record) -> None:
    # 18:30 local is the next day in UTC
    add(record, entry(share=0.6, start=START.astimezone(UTC)), now=NOW)
    add(record, entry(share=0.6, start=START + timedelta(hours=3), end=None), now=NOW)
    add(record, entry(share=0.3, material="copper", product="Copper B"), now=NOW)
    add(record, entry(site="Elsewhere"), now=NOW)
    day = date(2031, 1, 11)
    assert rounds_done(current(record, "Hill garden"), day, day) == [
        Round(day, "copper", 0.3),
        Round(day, "oil", 1.0),
    ]
    assert rounds_done(current(record, "Hill garden"), date(2031, 1, 12), date(2031, 2, 1)) == []
    assert entry(start=START.astimezone(UTC)).day == day


def test_exports_carry_the_same_rows(record: Record) -> None:
    add(record, Application.read(FULL | {"blocks": ("A", "B")}), now=NOW)
    add(record, entry(material="copper", product="Copper; B"), now=NOW)
    told = json.loads(export_json(current(record)))
    assert told["schema"] == 3
    assert [row["id"] for row in told["entries"]] == [1, 2]
    assert told["entries"][0]["start"] == "2031-01-11T18:30:00-08:00"
    assert told["entries"][0]["missing"] == {rule: [] for rule in RULES}
    assert "location" in told["entries"][1]["missing"]["us-federal"]
    rows = list(csv.DictReader(io.StringIO(export_csv(current(record)), newline="")))
    assert [row["product"] for row in rows] == ["Orchard oil A", "Copper; B"]
    assert (rows[0]["blocks"], rows[1]["temp_c"]) == ("A; B", "")
    assert set(rows[0]) | {"missing", "unsaid", "digest"} == set(told["entries"][0])


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t"])
def test_a_text_never_runs_as_a_formula_of_a_spreadsheet(record: Record, start: str) -> None:
    # OWASP, CSV Injection: cells that begin with = + - @ tab or return
    south = {"latitude": -38.3, "longitude": -122.3}
    line = "=1+1" if start == "\t" else f"{start}1+1"  # a line has no tab, a note may
    texts = {"product": line, "blocks": (line, "B"), "note": f"{start}1+1"}
    add(record, Application.read(FULL | south | texts), now=NOW)
    correct(record, 1, {"share": 0.5}, why=f"{start}cmd", now=NOW)
    (row,) = csv.DictReader(io.StringIO(export_csv(current(record)), newline=""))
    assert (row["product"], row["blocks"]) == (f"'{line}", f"'{line}; B")
    assert (row["note"], row["why"]) == (f"'{start}1+1", f"'{start}cmd")
    assert (row["latitude"], row["latitude_longitude"]) == ("-38.3", "-38.3, -122.3")
    assert json.loads(export_json(current(record)))["entries"][0]["product"] == line


def test_an_empty_record_exports_a_header(record: Record) -> None:
    assert export_csv(current(record)).startswith("id,entered,kind")


def test_a_time_in_the_future_is_refused(record: Record) -> None:
    with pytest.raises(InputError, match="lies in the future"):
        add(record, entry(), now=START + timedelta(minutes=59))  # it ends two hours after START
    with pytest.raises(InputError, match="lies in the future"):
        add(record, entry(end=None), now=START - timedelta(minutes=61))
    add(record, entry(end=None), now=START - timedelta(minutes=59))
    with pytest.raises(InputError, match="lies in the future"):
        correct(record, 1, {"start": NOW + timedelta(days=1)}, why="typing", now=NOW)
    assert len(history(record)) == 1

"""The record as CSV and JSON, and the check of the whole file."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import ClassVar

from spraywindow.errors import SprayWindowError
from spraywindow.record.entry import Application
from spraywindow.record.file import SCHEMA_VERSION, Kept, Record, open_record, schema_of, statements
from spraywindow.record.outcomes import OUTCOMES_SINCE, outcomes
from spraywindow.record.record import history, last_number
from spraywindow.record.rules import DERIVED, RULES, derived, missing_for
from spraywindow.record.seen import SEEN_SINCE, sightings

_ABOUT = ("id", "entered", "kind", "corrects", "why", "receipt_hash")
COLUMNS = (*_ABOUT, *Application.model_fields, *DERIVED)
"""Columns of the CSV file, and keys of an entry in the JSON file."""
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""What a text begins with that a spreadsheet takes for a formula."""


@dataclass(frozen=True)
class Check:
    """What a check found: number of rows, and problems (none: the file is sound)."""

    json_keys: ClassVar = ("record=path", "sound", "entries", "problems")

    path: Path
    entries: int
    problems: tuple[str, ...]

    @property
    def sound(self) -> bool:
        """Whether there is no problem."""
        return not self.problems


def row_of(kept: Kept) -> dict[str, object]:
    """One row as plain values: about the entry, its fields, what follows from them."""
    values = (kept.id, kept.entered.isoformat(), kept.kind, kept.corrects, kept.why)
    about = dict(zip(_ABOUT, (*values, kept.receipt_hash), strict=True))
    return about | kept.entry.model_dump(mode="json") | derived(kept.entry)


def export_json(rows: Sequence[Kept]) -> str:
    """Give rows as JSON: ``{"schema": 3, "entries": [{..., "missing": {rule: [names]}}]}``."""
    entries = [
        row_of(kept) | {"missing": {rule: missing_for(kept.entry, rule) for rule in RULES}}
        for kept in rows
    ]
    return json.dumps(
        {"schema": SCHEMA_VERSION, "entries": entries},
        indent=2,
        ensure_ascii=False,
        allow_nan=False,
    )


def export_csv(rows: Sequence[Kept]) -> str:
    """Give rows as CSV (RFC 4180), one a line; lists are joined by semicolons, unknown is empty.

    A text that a spreadsheet would run as a formula gets an apostrophe in front; numbers, and
    what follows from the fields, are as in the JSON.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for kept in rows:
        row = row_of(kept)
        writer.writerow([_cell(name, row[name]) for name in COLUMNS])
    return out.getvalue()


def _cell(name: str, value: object) -> object:
    text = "; ".join(value) if isinstance(value, list) else value
    if isinstance(text, str) and text.startswith(_FORMULA) and name not in DERIVED:
        return f"'{text}"
    return text


def check_record(path: str | os.PathLike[str]) -> Check:
    """Verify the file, its schema, every digest, every correction; the record is not written.

    Raises
    ------
    RecordError
        If the file cannot be opened as a record at all.
    """
    with open_record(path, read_only=True) as record:
        problems: list[str] = []
        try:
            problems += _file_problems(record)
            problems += _gone(record.connection, "entries", "entry")
            if schema_of(record) >= OUTCOMES_SINCE:
                problems += _gone(record.connection, "outcomes", "outcome")
            if schema_of(record) >= SEEN_SINCE:
                problems += _gone(record.connection, "seen", "sighting")
            rows = history(record)
            outcomes(record)  # each is held to its digest
            sightings(record)
            problems += _receipt_problems(record.connection)
            count = len(rows)
        except (sqlite3.Error, SprayWindowError) as error:
            problems.append(str(error).removeprefix(f"{record.path}: "))
            count = 0
        return Check(Path(path), count, tuple(problems))


def _file_problems(record: Record) -> list[str]:
    connection = record.connection
    problems = [
        f"file: {row[0]}"
        for row in connection.execute("PRAGMA integrity_check(20)")
        if row[0] != "ok"
    ]
    found = {
        name: " ".join(text.split())
        for name, text in connection.execute(
            "SELECT name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite\\_%' ESCAPE '\\'"
        )
    }
    wanted = {name: " ".join(text.split()) for name, text in statements(schema_of(record)).items()}
    problems += [
        f"schema: {name} is {'changed' if name in found and name in wanted else 'gone or added'}"
        for name in sorted(found.keys() | wanted.keys())
        if found.get(name) != wanted.get(name)
    ]
    problems += [
        f"entry {row[1]}: points at {row[2]}, which is not there"
        for row in connection.execute(
            "SELECT 0, entries.rowid, entries.corrects FROM pragma_foreign_key_check AS broken"
            " JOIN entries ON entries.rowid = broken.rowid WHERE broken.\"table\" = 'entries'"
        )
    ]
    problems += [
        f"outcome {row[0]}: its receipt is gone"
        for row in connection.execute(
            "SELECT rowid FROM pragma_foreign_key_check WHERE \"table\" = 'outcomes'"
        )
    ]
    return problems


def _gone(connection: sqlite3.Connection, table: str, one_of_them: str) -> list[str]:
    """Rows that were made and are not there: numbers are given in order, and never again."""
    there = [number for (number,) in connection.execute(f"SELECT id FROM {table} ORDER BY id")]
    made = last_number(connection, table)
    gaps = [(one + 1, other - 1) for one, other in pairwise([0, *there, made + 1])]
    return [
        f"{one_of_them} {first} is gone" if first == last else f"{table} {first} to {last} are gone"
        for first, last in gaps
        if first <= last
    ]


def _receipt_problems(connection: sqlite3.Connection) -> list[str]:
    return [
        f"receipt {key[:12]}: does not agree with its hash"
        for key, text in connection.execute("SELECT hash, text FROM receipts")
        if hashlib.sha256(text.encode()).hexdigest() != key
    ]

"""The record as CSV and JSON, a record made of that JSON again, and the check of the whole file."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, ClassVar

from spraywindow.errors import InputError, RecordError, SprayWindowError
from spraywindow.record.entry import Application
from spraywindow.record.file import (
    SCHEMA_VERSION,
    Kept,
    Record,
    begin,
    open_record,
    schema_of,
    statements,
    transaction,
)
from spraywindow.record.outcomes import INSERT_OUTCOME, OUTCOMES_SINCE, outcome_rows, outcomes
from spraywindow.record.record import (
    INSERT_ROW,
    digest_of,
    history,
    last_number,
    receipt_of,
    receipt_text,
)
from spraywindow.record.rules import DERIVED, RULES, derived, missing_for
from spraywindow.record.seen import INSERT_SEEN, SEEN_SINCE, seen_rows, sightings

_ABOUT = ("id", "entered", "kind", "corrects", "why", "receipt_hash")
_FIELDS = tuple(Application.model_fields)
COLUMNS = (*_ABOUT, *_FIELDS, *DERIVED)
"""Columns of the CSV file, and keys of an entry in the JSON file."""
_JUDGED = ("id", "judged", "receipt", "outcome", "digest")
_SEEN = ("id", "noted", "undoes", "seen", "digest")
_WHOLE = "give what `log export --format json --history` wrote"
_FORMULA = ("=", "+", "-", "@", "＝", "＋", "－", "＠", "\t", "\r", "\n")
"""What a text begins with that a spreadsheet takes for a formula, full width too."""


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


def export_json(
    rows: Sequence[Kept],
    receipts: Mapping[str, str] | None = None,
    judged: Sequence[Mapping[str, object]] = (),
    seen: Sequence[Mapping[str, object]] = (),
) -> str:
    """Give rows as JSON, which `import_json` reads if it is the whole record.

    ``{"schema": 3, "entries": [{..., "missing": {rule: [names]}, "unsaid": [names], "digest":
    "..."}], "receipts": {hash: text}, "outcomes": [...], "seen": [...]}``; unsaid are fields that
    the version which wrote the entry did not know.
    """
    entries = [
        row_of(kept)
        | {"missing": {rule: missing_for(kept.entry, rule) for rule in RULES}}
        | {"unsaid": [name for name in _FIELDS if name not in kept.entry.model_fields_set]}
        | {"digest": kept.digest}
        for kept in rows
    ]
    told = {"entries": entries, "receipts": dict(receipts or {}), "outcomes": list(judged)}
    told["seen"] = list(seen)
    return json.dumps(
        {"schema": SCHEMA_VERSION} | told, indent=2, ensure_ascii=False, allow_nan=False
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
    return text if name in DERIVED else csv_cell(text)


def csv_cell(value: Any) -> Any:
    """A value for a cell of CSV: an apostrophe before what a spreadsheet would run (OWASP)."""
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value


def judged_of(record: Record, site: str | None = None) -> list[dict[str, Any]]:
    """What came of the chances said, row for row (``log judge``); with `site` those of it."""
    rows = [
        dict(zip(_JUDGED, (*about, json.loads(body), digest), strict=True))
        for *about, body, digest in outcome_rows(record)
    ]
    return [row for row in rows if site in (None, row["outcome"]["site"])]


def seen_of(record: Record, site: str | None = None) -> list[dict[str, Any]]:
    """What was seen, row for row, what was undone too; with `site` that of it."""
    rows: list[dict[str, Any]] = [
        dict(zip(_SEEN, (*about, json.loads(body) if body else None, digest), strict=True))
        for *about, body, digest in seen_rows(record)
    ]
    ours = {row["id"] for row in rows if row["seen"] and site in (None, row["seen"]["site"])}
    return [row for row in rows if {row["id"], row["undoes"]} & ours]


def every_receipt(record: Record) -> dict[str, str]:
    """All receipts, by their hash: those of entries, of what was judged, and kept by themselves."""
    keys = record.connection.execute("SELECT hash FROM receipts ORDER BY rowid").fetchall()
    return {key: receipt_text(record, key) for (key,) in keys}


def receipts_of(
    record: Record, rows: Sequence[Kept], judged: Sequence[Mapping[str, object]] = ()
) -> dict[str, str]:
    """The receipts of rows, by their hash; `RecordError` where one is changed or gone."""
    kept = {row.receipt_hash: receipt_of(record, row.id) for row in rows if row.receipt_hash}
    kept |= {str(row["receipt"]): receipt_text(record, str(row["receipt"])) for row in judged}
    return {str(key): str(text) for key, text in kept.items()}


def import_json(path: Path, text: str, *, where: str = "export") -> int:
    """Make a new record of a whole one's JSON, row for row and digest for digest.

    Parameters
    ----------
    path : Path
        Of the new record.
    text : str
        As `export_json` gives it, of the whole history with its receipts and outcomes.
    where : str
        What the text is called in messages.

    Returns
    -------
    int
        How many entries it has.

    Raises
    ------
    InputError
        If the text is no such export, a row does not agree with its digest, or one is missing.
    RecordError
        If a file is there already, or the record cannot be written; then there is none.
    """
    try:
        whole = json.loads(text)
        schema, receipts = int(whole["schema"]), dict(whole["receipts"])
        if not OUTCOMES_SINCE <= schema <= SCHEMA_VERSION:
            what = "written by another version"
            raise InputError(what, where=where, expected=f"schema {SCHEMA_VERSION}", got=schema)
        rows = [_row_in(values) for values in whole["entries"]]
        judged = [_judged_in(values) for values in whole["outcomes"]]
        _check_chain("entry", rows, where)
        _check_chain("outcome", judged, where)
        seen = [_seen_in(values) for values in whole.get("seen", ())]
        _check_chain("sighting", seen, where)
        keys = {row[6] for row in rows if row[6] is not None} | {row[2] for row in judged}
        for key in keys | receipts.keys():
            if _hash(receipts.get(key)) != key:
                raise InputError(f"the receipt {str(key)[:12]} is changed or missing", where=where)
    except (KeyError, TypeError, ValueError, RecursionError) as error:
        if isinstance(error, SprayWindowError):
            raise
        raise InputError("not an export of a record", where=where, cure=_WHOLE) from error

    def fill(record: Record) -> None:
        with transaction(record, "written") as connection:
            connection.executemany("INSERT INTO receipts VALUES (?, ?)", list(receipts.items()))
            connection.executemany(INSERT_ROW, rows)
            connection.executemany(INSERT_OUTCOME, judged)
            connection.executemany(INSERT_SEEN, seen)
        history(record)  # what could not be read again is not made
        outcomes(record)
        sightings(record)

    if os.path.lexists(path):
        raise RecordError("there is a file already", where=str(path), cure="give another file name")
    if not begin(path, fill):
        raise RecordError(
            "cannot be made there", where=str(path), cure="choose a folder on another disk"
        )
    return len(rows)


def _row_in(values: Mapping[str, Any]) -> tuple[Any, ...]:
    """A row of the entries, as the JSON tells it; the entry's text is the same that it was."""
    unsaid = set(values["unsaid"])
    fields = {name: values[name] for name in _FIELDS if name not in unsaid}
    entry = Application.read_json(json.dumps(fields), where=f"entry {values['id']}")
    about = [values[name] for name in ("id", "entered", "kind", "corrects", "why")]
    body = entry.model_dump_json(exclude_unset=True)
    return (*about, body, values["receipt_hash"], values["digest"])


def _judged_in(values: Mapping[str, Any]) -> tuple[Any, ...]:
    row = [values[name] for name in _JUDGED]
    row[3] = json.dumps(row[3], ensure_ascii=False)
    return tuple(row)


def _seen_in(values: Mapping[str, Any]) -> tuple[Any, ...]:
    row = [values[name] for name in _SEEN]
    row[3] = "" if row[3] is None else json.dumps(row[3], ensure_ascii=False)
    return tuple(row)


def _check_chain(what: str, rows: Sequence[tuple[Any, ...]], where: str) -> None:
    before = ""
    for row in rows:
        if digest_of(before, *row[:-1]) != row[-1]:
            changed = f"{what} {row[0]} was changed, or one before it is missing"
            raise InputError(changed, where=where, cure=_WHOLE)
        before = row[-1]


def _hash(text: object) -> str | None:
    """SHA-256 of a receipt's text; None for what is no text."""
    return hashlib.sha256(text.encode()).hexdigest() if isinstance(text, str) else None


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
        f"receipt {str(key)[:12] or 'without a name'}: does not agree with its hash"
        for key, text in connection.execute("SELECT hash, text FROM receipts")
        if key is None or _hash(text) != key
    ]

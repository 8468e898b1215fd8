"""The application record: add, correct, withdraw; nothing is ever changed in place.

A correction is a new entry that points at the one it corrects. `current` shows what holds,
`history` everything that was ever entered.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

from spraywindow.errors import InputError, RecordError, describe
from spraywindow.orchard.record_fields import WEATHER_FIELDS, Entry
from spraywindow.orchard.record_file import Kept, Record, open_record, transaction
from spraywindow.orchard.record_history import (
    LAST_NUMBER,
    ROW_COLUMNS,
    Round,
    current,
    digest_of,
    history,
    receipt_of,
    rounds_done,
)

__all__ = [
    "Kept",
    "Record",
    "Round",
    "add",
    "correct",
    "current",
    "history",
    "open_record",
    "receipt_of",
    "rounds_done",
    "withdraw",
]

AHEAD_H = 1.0
"""How far a time may lie after now [h]: clocks differ."""


def add(record: Record, entry: Entry, *, now: datetime, receipt: str | None = None) -> int:
    """Add one application and give its number.

    Parameters
    ----------
    record : Record
    entry : Entry
    now : datetime
        tz-aware; kept as the time of entering.
    receipt : str, optional
        JSON text of the advice that sent the crew out; kept beside the entry with its hash.

    Raises
    ------
    InputError
        If it starts or ends more than an hour after `now` (a planned round is no record), or
        the receipt is no JSON object.
    RecordError
        If the very same entry is there already, or the file cannot be written; then nothing is.
    """
    _not_ahead(entry, now)
    _check_receipt(receipt)
    body = entry.model_dump_json()
    with transaction(record, "written") as connection:
        twin = connection.execute(
            "SELECT id FROM entries WHERE body = ? AND kind != 'withdrawal'"
            " AND id NOT IN (SELECT corrects FROM entries WHERE corrects IS NOT NULL)",
            (body,),
        ).fetchone()
        if twin:
            raise RecordError(
                describe(f"the same application is entry {twin[0]} already",
                         where=str(record.path), cure="correct that one, or note what differs")
            )  # fmt: skip
        return _insert(connection, now, "application", None, "", body, receipt)


def correct(
    record: Record,
    entry_id: int,
    changes: Mapping[str, object],
    *,
    why: str,
    now: datetime,
) -> int:
    """Add a correction of an entry and give the number of the correction.

    Parameters
    ----------
    record : Record
    entry_id : int
        The entry that holds today; one that is corrected already is refused.
    changes : mapping
        New values by field name. A weather value given here counts as measured. Weather that was
        estimated for another time than the corrected one is dropped (`stale_estimates`).
    why : str
        The reason, kept with the correction.
    now : datetime
        tz-aware.

    Raises
    ------
    InputError
        If a field is unknown, a value does not fit, nothing changes, or no reason is given.
    RecordError
        If there is no such entry, or it does not hold any more.
    """
    with transaction(record, "written") as connection:
        kept = _holding(record, entry_id)
        changes = stale_estimates(kept.entry, changes) | dict(changes)
        values = kept.entry.model_dump()
        measured = [name for name in WEATHER_FIELDS if name in changes]
        estimated = tuple(name for name in kept.entry.estimated if name not in measured)
        # instants, not their texts: validation wants times as times
        values |= {"start": kept.entry.start, "end": kept.entry.end, "estimated": estimated}
        entry = Entry.read(values | changes, where=f"correction of entry {entry_id}")
        _not_ahead(entry, now)
        if entry == kept.entry or not why.strip():
            what = "no reason is given" if not why.strip() else "nothing changes"
            raise InputError(describe(what, where=f"correction of entry {entry_id}"))
        body = entry.model_dump_json()
        return _insert(connection, now, "correction", entry_id, why, body, None)


def stale_estimates(entry: Entry, changes: Mapping[str, object]) -> dict[str, object]:
    """Weather of an entry, emptied, that was estimated for hours which a correction changes."""
    moved = any(
        name in changes and changes[name] != getattr(entry, name) for name in ("start", "end")
    )
    stale = [name for name in entry.estimated if name not in changes] if moved else []
    if not stale:
        return {}
    return {**dict.fromkeys(stale), "estimated": (), "weather_source": ""}


def withdraw(record: Record, entry_id: int, *, why: str, now: datetime) -> int:
    """Take an entry back that never should have been made; it stays in the history."""
    if not why.strip():
        raise InputError(describe("no reason is given", where=f"withdrawal of entry {entry_id}"))
    with transaction(record, "written") as connection:
        body = _holding(record, entry_id).entry.model_dump_json()
        return _insert(connection, now, "withdrawal", entry_id, why, body, None)


def _not_ahead(entry: Entry, now: datetime) -> None:
    if now.utcoffset() is None:
        raise ValueError("now needs its offset from UTC")
    if entry.finished > now + timedelta(hours=AHEAD_H):
        raise InputError(
            describe("lies in the future", where="application time",
                     expected=f"at most {AHEAD_H:g} h after now", got=entry.finished.isoformat(),
                     cure="a planned round is entered once it is done")
        )  # fmt: skip


def _check_receipt(receipt: str | None) -> None:
    if receipt is None:
        return
    try:
        found = json.loads(receipt)
    except ValueError as error:
        raise InputError(describe(f"not JSON ({error})", where="receipt")) from error
    if not isinstance(found, dict):
        raise InputError(describe("not a JSON object", where="receipt", got=type(found).__name__))


def _holding(record: Record, entry_id: int) -> Kept:
    """The entry, if it still holds."""
    rows = history(record)
    later = [row for row in rows if row.corrects == entry_id]
    if later:
        verb = "withdrawn" if later[0].kind == "withdrawal" else "corrected"
        raise RecordError(
            describe(f"entry {entry_id} was {verb} by entry {later[0].id}", where=str(record.path))
        )
    found = [row for row in rows if row.id == entry_id and row.kind != "withdrawal"]
    if not found:
        raise RecordError(describe(f"no entry {entry_id}", where=str(record.path)))
    return found[0]


def _insert(
    connection: sqlite3.Connection,
    now: datetime,
    kind: str,
    corrects: int | None,
    why: str,
    body: str,
    receipt: str | None,
) -> int:
    key = None
    if receipt is not None:
        key = hashlib.sha256(receipt.encode()).hexdigest()
        connection.execute("INSERT OR IGNORE INTO receipts VALUES (?, ?)", (key, receipt))
    last = connection.execute("SELECT digest FROM entries ORDER BY id DESC LIMIT 1").fetchone()
    before = last[0] if last else ""
    number = connection.execute(LAST_NUMBER).fetchone()[0] + 1  # a removed row leaves its gap
    entered = now.astimezone(UTC).isoformat(timespec="seconds")
    values = (number, entered, kind, corrects, why, body, key)
    connection.execute(
        f"INSERT INTO entries ({ROW_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (*values, digest_of(before, *values)),
    )
    return int(number)

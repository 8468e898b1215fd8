"""The application record: add, correct, withdraw; nothing is ever changed in place.

A correction is a new entry that points at the one it corrects. `current` shows what holds,
`history` everything that was ever entered, `rounds_done` what the program has had.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any, NamedTuple

from spraywindow.errors import InputError, RecordError
from spraywindow.record.entry import WEATHER_FIELDS, Application
from spraywindow.record.file import (
    Kept,
    Record,
    begin,
    bring_up,
    open_record,
    schema_of,
    told,
    transaction,
)

EXACT = 6
"""Decimals of a share of a round: three thirds make a whole."""
ROW_COLUMNS = "id, entered, kind, corrects, why, body, receipt, digest"
INSERT_ROW = f"INSERT INTO entries ({ROW_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?)"


class Round(NamedTuple):
    """What was done of a material on one local day, and what of it failed; both capped at 1."""

    date: date
    material: str
    share: float
    failed: float = 0.0


def history(record: Record) -> list[Kept]:
    """Give every row ever entered, oldest first.

    A row is read and held to its digest once while the record is open; what was added since,
    by this program or another, is read to it.

    Raises
    ------
    RecordError
        If a row does not agree with its digest or cannot be read.
    """
    with told(record.path, "read"):
        rows = record.connection.execute(
            f"SELECT {ROW_COLUMNS} FROM entries ORDER BY id LIMIT -1 OFFSET ?",
            (len(record.rows),),
        ).fetchall()
    for row in rows:
        before = record.rows[-1].digest if record.rows else ""
        if digest_of(before, *row[:-1]) != row[-1]:
            raise RecordError(
                f"damaged: entry {row[0]} was changed, or one before it is gone",
                where=str(record.path),
                cure="keep the file and go back to a copy",
            )
        try:
            entry = Application.read_json(row[5], where=f"{record.path}, entry {row[0]}")
            entered = datetime.fromisoformat(row[1])
        except InputError as error:  # sound but not understood: no fault of what was typed now
            raise RecordError(str(error)) from error
        except (TypeError, ValueError) as error:
            raise RecordError(
                f"damaged: entry {row[0]} has no time", where=str(record.path)
            ) from error
        record.rows.append(Kept(row[0], entered, row[2], row[3], row[4], entry, row[6], row[7]))
    return list(record.rows)


def current(record: Record, site: str | None = None) -> list[Kept]:
    """Give the entries that hold after corrections and withdrawals, by time of application."""
    rows = history(record)
    replaced = {row.corrects for row in rows}
    holding = [row for row in rows if row.id not in replaced and row.kind != "withdrawal"]
    wanted = [row for row in holding if site is None or row.entry.site == site]
    return sorted(wanted, key=lambda row: (row.entry.start, row.id))


def rounds_done(rows: Sequence[Kept], first: date, last: date) -> list[Round]:
    """Give what a season's program has behind it, by local date.

    Parameters
    ----------
    rows : sequence of Kept
        The entries of one site that hold.
    first, last : date
        Of the season, both included.

    Returns
    -------
    list of Round
        One for each day and material; shares of the same day are added, up to 1, and kept to
        `EXACT` decimals, each so that the sum up to it is exact too.
    """
    shares: dict[tuple[date, str], float] = {}
    failed: dict[tuple[date, str], float] = {}
    for row in rows:
        if first <= row.entry.day <= last:
            key = (row.entry.day, row.entry.material)
            shares[key] = min(1.0, shares.get(key, 0.0) + row.entry.share)
            failed[key] = min(1.0, failed.get(key, 0.0) + (row.entry.failed_share or 0.0))
    sums: dict[str, float] = {}
    rounds = []
    for (day, material), share in sorted(shares.items()):
        before = sums.get(material, 0.0)
        sums[material] = before + share
        share = round(round(sums[material], EXACT) - round(before, EXACT), EXACT)
        if share:
            rounds.append(Round(day, material, share, round(failed[day, material], EXACT)))
    return rounds


def receipt_of(record: Record, entry_id: int) -> str | None:
    """Give the receipt kept with an entry or with the one it corrects; None if there is none."""
    rows = {row.id: row for row in history(record)}
    row = rows.get(entry_id)
    if row is None:
        raise RecordError(f"no entry {entry_id}", where=str(record.path))
    while row.receipt_hash is None and row.corrects is not None:
        row = rows[row.corrects]
    if row.receipt_hash is None:
        return None
    return receipt_text(record, row.receipt_hash, f"the receipt of entry {row.id}")


def receipt_text(record: Record, key: str, called: str = "a receipt") -> str:
    """Give a receipt by its hash; `RecordError` where it is changed or gone."""
    with told(record.path, "read"):
        found = record.connection.execute(
            "SELECT text FROM receipts WHERE hash = ?", (key,)
        ).fetchone()
    if found is None or hashlib.sha256(str(found[0]).encode()).hexdigest() != key:
        raise RecordError(f"damaged: {called} is changed or gone", where=str(record.path))
    return str(found[0])


def rows_beside(
    record: Record, table: str, columns: str, *, since: int, one_of_them: str
) -> list[tuple[Any, ...]]:
    """The rows of a table beside the entries, each held to its digest, which is the last column.

    Parameters
    ----------
    record : Record
    table, columns : str
    since : int
        Schema version that it came with; an older file has none.
    one_of_them : str
        What a row is called.

    Raises
    ------
    RecordError
        If a row does not agree with its digest.
    """
    if schema_of(record) < since:
        return []
    with told(record.path, "read"):
        rows = record.connection.execute(f"SELECT {columns} FROM {table} ORDER BY id").fetchall()
    before = ""
    for row in rows:
        if digest_of(before, *row[:-1]) != row[-1]:
            raise RecordError(
                f"damaged: {one_of_them} {row[0]} was changed, or one before it is gone",
                where=str(record.path),
                cure="keep the file and go back to a copy",
            )
        before = row[-1]
    return rows


def last_number(connection: sqlite3.Connection, table: str) -> int:
    """The greatest number that a row of a table was ever given; it outlives the row."""
    found = connection.execute(
        f"""SELECT max(coalesce((SELECT max(id) FROM {table}), 0),
            coalesce((SELECT seq FROM sqlite_sequence WHERE name = '{table}'), 0))"""
    ).fetchone()
    return int(found[0])


def digest_of(before: str, *parts: object) -> str:
    """SHA-256 over a row and the digest of the row before it."""
    joined = "\x1f".join("" if part is None else str(part) for part in (before, *parts))
    return hashlib.sha256(joined.encode()).hexdigest()


__all__ = [
    "Kept",
    "Record",
    "Round",
    "add",
    "begin",
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


def add(record: Record, entry: Application, *, now: datetime, receipt: str | None = None) -> int:
    """Add one application and give its number.

    Parameters
    ----------
    record : Record
    entry : Application
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
        If the very same entry is there already, or the file is damaged or cannot be written; then
        nothing is.
    """
    _not_ahead(entry, now)
    _check_receipt(receipt)
    body = _body(entry)
    with transaction(record, "written") as connection:
        history(record)  # nothing is added to a damaged record
        twin = connection.execute(
            "SELECT id FROM entries WHERE body = ? AND kind != 'withdrawal'"
            " AND id NOT IN (SELECT corrects FROM entries WHERE corrects IS NOT NULL)",
            (body,),
        ).fetchone()
        if twin:
            raise RecordError(
                f"the same application is entry {twin[0]} already",
                where=str(record.path),
                cure="correct that one, or note what differs",
            )
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
        entry = Application.read(values | changes, where=f"correction of entry {entry_id}")
        _not_ahead(entry, now)
        if entry == kept.entry or not why.strip():
            what = "no reason is given" if not why.strip() else "nothing changes"
            raise InputError(what, where=f"correction of entry {entry_id}")
        if entry.failed_share is not None:  # older versions do not know it, and say so
            bring_up(record)
        return _insert(connection, now, "correction", entry_id, why, _body(entry), None)


def stale_estimates(entry: Application, changes: Mapping[str, object]) -> dict[str, object]:
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
        raise InputError("no reason is given", where=f"withdrawal of entry {entry_id}")
    with transaction(record, "written") as connection:
        body = _body(_holding(record, entry_id).entry)
        return _insert(connection, now, "withdrawal", entry_id, why, body, None)


def _body(entry: Application) -> str:
    """An entry as it is kept; one of which nothing is said to have failed as it always was."""
    silent = None if entry.failed_share is not None else {"failed_share", "failed_blocks"}
    return entry.model_dump_json(exclude=silent)


def _not_ahead(entry: Application, now: datetime) -> None:
    if now.utcoffset() is None:
        raise ValueError("now needs its offset from UTC")
    if entry.finished > now + timedelta(hours=AHEAD_H):
        raise InputError(
            "lies in the future",
            where="application time",
            expected=f"at most {AHEAD_H:g} h after now",
            got=entry.finished.isoformat(),
            cure="a planned round is entered once it is done",
        )


def _check_receipt(receipt: str | None) -> None:
    if receipt is None:
        return
    try:
        found = json.loads(receipt)
    except (ValueError, RecursionError) as error:
        raise InputError(f"not JSON ({error})", where="receipt") from error
    if not isinstance(found, dict):
        raise InputError("not a JSON object", where="receipt", got=type(found).__name__)


def _holding(record: Record, entry_id: int) -> Kept:
    """The entry, if it still holds."""
    rows = history(record)
    later = [row for row in rows if row.corrects == entry_id]
    if later:
        verb = "withdrawn" if later[0].kind == "withdrawal" else "corrected"
        raise RecordError(
            f"entry {entry_id} was {verb} by entry {later[0].id}", where=str(record.path)
        )
    found = [row for row in rows if row.id == entry_id and row.kind != "withdrawal"]
    if not found:
        raise RecordError(f"no entry {entry_id}", where=str(record.path))
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
    number = last_number(connection, "entries") + 1  # a removed row leaves its gap
    entered = now.astimezone(UTC).isoformat(timespec="seconds")
    values = (number, entered, kind, corrects, why, body, key)
    connection.execute(INSERT_ROW, (*values, digest_of(before, *values)))
    return number

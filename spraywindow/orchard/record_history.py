"""What the application record says: everything ever entered, what holds today, rounds done."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import date, datetime
from typing import NamedTuple

from spraywindow.errors import InputError, RecordError, describe
from spraywindow.orchard.record_fields import Entry
from spraywindow.orchard.record_file import Kept, Record, told

EXACT = 6
"""Decimals of a share of a round: three thirds make a whole."""
ROW_COLUMNS = "id, entered, kind, corrects, why, body, receipt, digest"
LAST_NUMBER = """SELECT max(coalesce((SELECT max(id) FROM entries), 0),
    coalesce((SELECT seq FROM sqlite_sequence WHERE name = 'entries'), 0))"""
"""The greatest number that an entry was ever given; it outlives the entry."""


class Round(NamedTuple):
    """What was done of a material on one local day; `share` is capped at 1."""

    date: date
    material: str
    share: float


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
                describe(f"damaged: entry {row[0]} was changed, or one before it is gone",
                         where=str(record.path), cure="keep the file and go back to a copy")
            )  # fmt: skip
        try:
            entry = Entry.read_json(row[5], where=f"{record.path}, entry {row[0]}")
        except InputError as error:  # sound but not understood: no fault of what was typed now
            raise RecordError(str(error)) from error
        entered = datetime.fromisoformat(row[1])
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
    for row in rows:
        if first <= row.entry.day <= last:
            key = (row.entry.day, row.entry.material)
            shares[key] = min(1.0, shares.get(key, 0.0) + row.entry.share)
    sums: dict[str, float] = {}
    rounds = []
    for (day, material), share in sorted(shares.items()):
        before = sums.get(material, 0.0)
        sums[material] = before + share
        share = round(round(sums[material], EXACT) - round(before, EXACT), EXACT)
        if share:
            rounds.append(Round(day, material, share))
    return rounds


def receipt_of(record: Record, entry_id: int) -> str | None:
    """Give the receipt kept with an entry or with the one it corrects; None if there is none."""
    rows = {row.id: row for row in history(record)}
    row = rows.get(entry_id)
    if row is None:
        raise RecordError(describe(f"no entry {entry_id}", where=str(record.path)))
    while row.receipt_hash is None and row.corrects is not None:
        row = rows[row.corrects]
    if row.receipt_hash is None:
        return None
    with told(record.path, "read"):
        found = record.connection.execute(
            "SELECT text FROM receipts WHERE hash = ?", (row.receipt_hash,)
        ).fetchone()
    if found is None or hashlib.sha256(found[0].encode()).hexdigest() != row.receipt_hash:
        raise RecordError(
            describe(f"damaged: the receipt of entry {row.id} is changed or gone",
                     where=str(record.path))
        )  # fmt: skip
    return str(found[0])


def digest_of(before: str, *parts: object) -> str:
    """SHA-256 over a row and the digest of the row before it."""
    joined = "\x1f".join("" if part is None else str(part) for part in (before, *parts))
    return hashlib.sha256(joined.encode()).hexdigest()

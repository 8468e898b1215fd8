"""Receipts that are kept by themselves, whether or not a round followed the advice."""

from __future__ import annotations

import json

from spraywindow.record.file import Record, told, transaction
from spraywindow.record.outcomes import receipt_hash

_SAME = ("site", "material", "date", "input_sha256")


def keep_receipt(record: Record, text: str) -> bool:
    """Keep a receipt; False where one of the same site, material, day and weather is kept already.

    Raises
    ------
    RecordError
        If the file cannot be written; then nothing is.
    """
    wanted = _about(text)
    with transaction(record, "written") as connection:
        if any(_about(each) == wanted for each in _texts(record, str(wanted[-1]))):
            return False
        connection.execute("INSERT INTO receipts VALUES (?, ?)", (receipt_hash(text), text))
    return True


def kept_receipts(record: Record, site: str) -> list[str]:
    """Every receipt of a site, in the order of what they answer."""
    texts = [text for text in _texts(record, "") if _about(text)[0] == site]
    return sorted(texts, key=lambda text: str(json.loads(text).get("now")))


def _texts(record: Record, holding: str) -> list[str]:
    with told(record.path, "read"):
        rows = record.connection.execute(
            "SELECT text FROM receipts WHERE instr(text, ?) ORDER BY rowid", (holding,)
        )
        return [str(text) for (text,) in rows]


def _about(text: str) -> tuple[object, ...]:
    values = json.loads(text)
    return tuple(values.get(name) for name in _SAME)

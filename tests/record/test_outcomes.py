"""What came of the chances said: kept once, only added to, read by old and new files alike."""

from __future__ import annotations

import datetime as dt
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from spraywindow.errors import RecordError
from spraywindow.record import file as record_file
from spraywindow.record.export import check_record
from spraywindow.record.file import open_record, schema_of, statements
from spraywindow.record.outcomes import (
    Outcome,
    keep_outcomes,
    learned_at,
    outcomes,
    receipt_hash,
)
from spraywindow.record.record import add, history
from spraywindow.spray.learned import learn
from tests.record_values import NOW, START, entry

DAY = dt.timedelta(days=1)
LATER = NOW + 60 * DAY


def told(number: int, held: bool, general: float = 0.7) -> tuple[Outcome, str]:
    text = f'{{"number": {number}}}'
    start = START + number * DAY
    said = general / 2
    return Outcome(
        receipt_hash(text), "Hill garden", "oil", start - DAY, start, said, general, held
    ), text


def made(path: Path, count: int) -> list[tuple[Outcome, str]]:
    found = [told(number, number % 4 != 0) for number in range(count)]
    with open_record(path, create=True) as opened:
        keep_outcomes(opened, found, now=LATER)
    return found


def test_what_is_kept_is_read_again_and_kept_once(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    found = made(path, 3)
    with open_record(path) as opened:
        assert outcomes(opened) == [each for each, _ in found]
        assert outcomes(opened, "Elsewhere") == []
        assert keep_outcomes(opened, found, now=LATER) == []
        assert outcomes(opened)[0].days_ahead == 1
        # judged anew by better weather: another row, and the last one holds
        again = replace(found[1][0], held=not found[1][0].held)
        assert keep_outcomes(opened, [(again, found[1][1])], now=LATER) == [again]
        assert outcomes(opened)[1] == again
        count = opened.connection.execute("SELECT count(*) FROM outcomes").fetchone()[0]
        assert count == 4
    assert check_record(path).problems == ()


def test_a_file_of_the_first_schema_is_read_and_brought_up_when_it_must_be(tmp_path: Path) -> None:
    path = tmp_path / "old.db"
    old = sqlite3.connect(path, isolation_level=None)
    for statement in statements(1).values():
        old.execute(statement)
    old.execute(f"PRAGMA application_id = {record_file.APPLICATION_ID}")
    old.execute("PRAGMA user_version = 1")
    old.close()
    with open_record(path) as opened:
        add(opened, entry(), now=NOW, receipt='{"go": 1}')
        assert (schema_of(opened), outcomes(opened)) == (1, [])
        assert learned_at(opened, "Hill garden", LATER.date()).cases == 0
    assert check_record(path).problems == ()
    with open_record(path) as opened:
        found = told(1, True)
        assert keep_outcomes(opened, [found], now=LATER) == [found[0]]
        assert (schema_of(opened), len(history(opened))) == (record_file.SCHEMA_VERSION, 1)
    assert check_record(path).problems == ()


@pytest.mark.parametrize(
    ("hand", "problem"),
    [
        (["UPDATE outcomes SET body = replace(body, 'true', 'false')"], "outcome 2 was changed"),
        (["DELETE FROM outcomes WHERE id = 1"], "outcome 1 is gone"),
        (["DELETE FROM outcomes WHERE id = 3"], "outcome 3 is gone"),
        (["DROP TRIGGER receipts_no_delete", "DELETE FROM receipts"], "its receipt is gone"),
    ],
)
def test_what_was_tampered_with_is_found(tmp_path: Path, hand: list[str], problem: str) -> None:
    path = tmp_path / "log.db"
    made(path, 3)
    with sqlite3.connect(path) as other:
        with pytest.raises(sqlite3.IntegrityError, match="only added to"):
            other.execute("DELETE FROM outcomes")
        for name in ("update", "delete"):
            other.execute(f"DROP TRIGGER outcomes_no_{name}")
        for statement in hand:
            other.execute(statement)
    other.close()
    assert problem in " | ".join(check_record(path).problems)


def test_a_file_that_cannot_be_written_keeps_nothing(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    made(path, 1)
    with open_record(path, read_only=True) as opened:
        with pytest.raises(RecordError, match="cannot be written"):
            keep_outcomes(opened, [told(2, True)], now=LATER)
        assert len(outcomes(opened)) == 1


def test_a_site_learns_from_its_own_past_general_chances(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    found = [each for each, _ in made(path, 50)]
    with open_record(path) as opened:
        everything = learned_at(opened, "Hill garden", (START + 50 * DAY).date())
        assert everything == learn([0.7] * 50, [each.held for each in found])
        assert everything.in_use == "own"
        # an answer of before, as asked with --now, knows only what had come by then
        assert learned_at(opened, "Hill garden", (START + 20 * DAY).date()).cases == 20
        assert learned_at(opened, "Elsewhere", LATER.date()).cases == 0
        # what was said of the same mornings an evening before is no case of its own
        before = [
            replace(each, receipt=receipt_hash(f"[{number}]"), issued=each.issued - DAY,
                    held=not each.held)
            for number, each in enumerate(found)
        ]  # fmt: skip
        keep_outcomes(opened, [(each, f"[{n}]") for n, each in enumerate(before)], now=LATER)
        assert learned_at(opened, "Hill garden", (START + 50 * DAY).date()) == everything

"""Files that must be left alone, and the check of the record."""

from __future__ import annotations

import os
import sqlite3
import stat
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from spraywindow.errors import InputError, RecordError
from spraywindow.record import file as record_file
from spraywindow.record.export import (
    check_record,
    every_receipt,
    export_json,
    import_json,
    judged_of,
    receipts_of,
    seen_of,
)
from spraywindow.record.file import Record, open_record
from spraywindow.record.outcomes import keep_outcomes, outcomes
from spraywindow.record.receipts import keep_receipt
from spraywindow.record.record import add, correct, current, history, receipt_of, withdraw
from spraywindow.record.seen import Sighting, keep_seen, sightings, undo_seen
from tests.record.test_outcomes import LATER, told
from tests.record_values import NOW, entry


@pytest.fixture
def record(tmp_path: Path) -> Iterator[Record]:
    with open_record(tmp_path / "log.db", create=True) as opened:
        yield opened


def made(path: Path, count: int = 3) -> Path:
    with open_record(path, create=True) as opened:
        for number in range(count):
            add(opened, entry(note=f"{number} " + "n" * 5000), now=NOW, receipt='{"go": 1}')
    return path


def test_there_is_no_record_unless_it_is_created(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="no record there; `spraywindow log add` begins one"):
        open_record(tmp_path / "log.db")
    with pytest.raises(RecordError, match="make its folder first"):
        open_record(tmp_path / "no" / "log.db", create=True)
    with pytest.raises(RecordError, match="a folder where"):
        open_record(tmp_path, create=True)
    assert list(tmp_path.iterdir()) == []


def test_an_empty_file_becomes_a_record_only_when_asked(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    path.touch()
    with pytest.raises(RecordError, match="an empty file"):
        open_record(path)
    open_record(path, create=True).close()
    open_record(path).close()


@pytest.mark.parametrize("content", [b"x", b"site,date\nA,2031\n" * 500, b"SQLite format 3\x00"])
@pytest.mark.parametrize("create", [False, True])
def test_a_file_that_is_no_record_is_left_as_it_is(
    tmp_path: Path, content: bytes, create: bool
) -> None:
    path = tmp_path / "notes.txt"
    path.write_bytes(content)
    with pytest.raises(RecordError, match="left as it is") as caught:
        open_record(path, create=create)
    assert "\n" not in str(caught.value)
    assert path.read_bytes() == content


def test_the_database_of_another_program_is_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE entries (id)")
    other.close()
    before = path.read_bytes()
    with pytest.raises(RecordError, match="a database of another program"):
        open_record(path, create=True)
    assert path.read_bytes() == before


def test_a_file_from_a_newer_version_is_left_as_it_is(tmp_path: Path) -> None:
    path = made(tmp_path / "log.db")
    newer = sqlite3.connect(path)
    newer.execute(f"PRAGMA user_version = {record_file.SCHEMA_VERSION + 1}")
    newer.close()
    before = path.read_bytes()
    with pytest.raises(RecordError, match=r"newer version.*expected schema 3; got 4"):
        open_record(path, create=True)
    with pytest.raises(RecordError, match="newer version"):
        check_record(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize("damage", ["cut", "zeroed page", "half a header", "no text"])
def test_a_damaged_file_is_refused_and_left_as_it_is(tmp_path: Path, damage: str) -> None:
    path = made(tmp_path / "log.db", 10)
    sound = path.read_bytes()
    hurt = {
        "cut": sound[: len(sound) // 2],
        "zeroed page": sound[:8192] + bytes(4096) + sound[12288:],
        "half a header": sound[:50] + b"\xff" * 50 + sound[100:],
        "no text": sound.replace(b"CREATE TABLE", b"CREATE\xdfTABLE"),  # SQLite quotes it
    }[damage]
    path.write_bytes(hurt)
    with pytest.raises(RecordError, match="left as it is") as caught:
        open_record(path, create=True)
    assert "\n" not in str(caught.value)
    assert path.read_bytes() == hurt


def test_a_changed_letter_is_found(tmp_path: Path) -> None:
    path = made(tmp_path / "log.db")
    sound = path.read_bytes()
    path.write_bytes(sound.replace(b"Orchard oil A", b"Orchard oil B", 1))
    with open_record(path) as opened, pytest.raises(RecordError, match="damaged: entry"):
        history(opened)
    assert "damaged: entry" in check_record(path).problems[0]


@pytest.mark.parametrize(
    ("statements", "problem"),
    [
        (["DROP TRIGGER entries_no_delete"], "schema: entries_no_delete is gone"),
        (
            ["DROP TRIGGER entries_no_delete", "DELETE FROM entries WHERE id = 1"],
            "entry 2 was changed, or one before it is gone",
        ),
        (["DROP TRIGGER entries_no_delete", "DELETE FROM entries WHERE id = 3"], "entry 3 is gone"),
        (["DROP TRIGGER entries_no_delete", "DELETE FROM entries"], "entries 1 to 3 are gone"),
        (
            ["DROP TRIGGER receipts_no_update", "UPDATE receipts SET text = '{}'"],
            "does not agree with its hash",
        ),
        (
            [
                "INSERT INTO entries VALUES (9, 't', 'correction', 8, '', '{}', NULL, '')",
            ],
            "points at 8, which is not there",
        ),
    ],
)
def test_check_names_what_was_tampered_with(
    tmp_path: Path, statements: list[str], problem: str
) -> None:
    path = made(tmp_path / "log.db")
    hand = sqlite3.connect(path, isolation_level=None)
    for statement in statements:
        hand.execute(statement)
    hand.close()
    assert problem in " | ".join(check_record(path).problems)


def test_what_follows_a_removed_entry_does_not_hide_it(tmp_path: Path) -> None:
    path = made(tmp_path / "log.db")
    hand = sqlite3.connect(path, isolation_level=None)
    trigger = record_file.STATEMENTS["entries_no_delete"]
    for statement in (
        "DROP TRIGGER entries_no_delete",
        "DELETE FROM entries WHERE id = 3",
        trigger,
    ):
        hand.execute(statement)
    hand.close()
    with open_record(path) as opened:
        assert add(opened, entry(note="later"), now=NOW) == 4
    assert check_record(path).problems == ("entry 3 is gone",)


def test_check_of_a_sound_file_finds_nothing_and_writes_nothing(tmp_path: Path) -> None:
    path = made(tmp_path / "log.db")
    before, stamp = path.read_bytes(), path.stat().st_mtime_ns
    assert (check_record(path).entries, check_record(path).problems) == (3, ())
    assert (path.read_bytes(), path.stat().st_mtime_ns) == (before, stamp)


def test_a_read_only_record_takes_nothing(tmp_path: Path) -> None:
    path = made(tmp_path / "log.db")
    with open_record(path, read_only=True) as opened:
        assert len(history(opened)) == 3
        with pytest.raises(RecordError, match="cannot be written"):
            add(opened, entry(), now=NOW)


def test_a_record_in_a_folder_without_write_access_is_read_without_company(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = made(tmp_path / "log.db")
    monkeypatch.setattr("os.access", lambda *_: False)
    assert check_record(path).entries == 3
    assert list(tmp_path.iterdir()) == [path]


def test_every_write_goes_through_to_the_disk(record: Record) -> None:
    read = [
        record.connection.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("synchronous", "journal_mode", "foreign_keys")
    ]
    assert read == [2, "delete", 1]  # 2 is FULL


def test_the_second_to_create_changes_nothing(record: Record) -> None:
    add(record, entry(), now=NOW)
    record_file._create(record)
    assert len(history(record)) == 1


def test_nothing_is_added_to_a_damaged_record(tmp_path: Path) -> None:
    path = made(tmp_path / "log.db")
    sound = path.read_bytes()
    path.write_bytes(sound.replace(b"Orchard oil A", b"Orchard oil B", 1))
    before = path.read_bytes()
    for _ in range(3):
        with open_record(path) as opened, pytest.raises(RecordError, match="damaged: entry"):
            add(opened, entry(note="later"), now=NOW)
    assert path.read_bytes() == before


@pytest.mark.skipif(sys.platform == "win32", reason="modes and pipes are POSIX")
def test_a_record_is_its_owner_s_alone(tmp_path: Path) -> None:
    assert stat.S_IMODE(made(tmp_path / "log.db").stat().st_mode) == 0o600
    assert [path.name for path in tmp_path.iterdir()] == ["log.db"]


@pytest.mark.skipif(sys.platform == "win32", reason="modes and pipes are POSIX")
@pytest.mark.parametrize("create", [False, True])
def test_a_pipe_is_no_record(tmp_path: Path, create: bool) -> None:
    os.mkfifo(tmp_path / "log.db")
    with pytest.raises(RecordError, match="not a plain file"):
        open_record(tmp_path / "log.db", create=create)


def test_a_write_that_was_cut_off_is_taken_back_by_who_only_reads(tmp_path: Path) -> None:
    """As a kill leaves them: new pages in the file, the old ones in its journal."""
    path, killed = made(tmp_path / "log.db"), tmp_path / "killed.db"
    with open_record(path) as opened:
        opened.connection.execute("PRAGMA cache_size = 1")  # pages go to the file before the end
        opened.connection.execute("BEGIN IMMEDIATE")
        for number in range(50):
            row = (f"{number}", "n" * 9000)
            opened.connection.execute("INSERT INTO receipts VALUES (?, ?)", row)
        killed.write_bytes(path.read_bytes())
        journal = path.with_name("log.db-journal").read_bytes()
        opened.connection.execute("ROLLBACK")
    killed.with_name("killed.db-journal").write_bytes(journal)
    assert killed.stat().st_size > path.stat().st_size
    with open_record(killed, read_only=True) as opened:
        assert len(history(opened)) == 3
    assert check_record(killed).problems == ()
    assert not killed.with_name("killed.db-journal").exists()


@pytest.mark.parametrize(
    "change",
    [
        "INSERT INTO receipts VALUES (NULL, '{}')",
        "INSERT INTO receipts VALUES ('', '{}')",
        "INSERT INTO receipts VALUES ('a', x'ff00')",
        "INSERT INTO receipts VALUES ('a', CAST(x'7bff7d' AS TEXT))",
        "INSERT INTO receipts VALUES (CAST(x'ff' AS TEXT), '{}')",
        "UPDATE entries SET why = CAST(x'ff' AS TEXT) WHERE id = 2",
        "UPDATE entries SET body = CAST(x'ff' AS TEXT) WHERE id = 2",
        "UPDATE entries SET body = x'ff' WHERE id = 2",
        "UPDATE entries SET entered = CAST(x'ff' AS TEXT) WHERE id = 2",
        "UPDATE entries SET digest = CAST(x'ff' AS TEXT) WHERE id = 3",
        "UPDATE receipts SET text = CAST(x'ff' AS TEXT)",
    ],
)
def test_what_is_no_text_in_a_record_is_told(tmp_path: Path, change: str) -> None:
    path = made(tmp_path / "log.db")
    hand = sqlite3.connect(path, isolation_level=None)
    for name in record_file.STATEMENTS:
        if "_no_update" in name:
            hand.execute(f"DROP TRIGGER {name}")
    hand.execute(change)
    hand.close()
    assert check_record(path).problems
    with open_record(path) as opened:
        before = path.read_bytes()
        for ask in (
            lambda: current(opened),
            lambda: receipt_of(opened, 1),
            lambda: add(opened, entry(note="later"), now=NOW),
        ):
            with suppress(RecordError):  # or it bears on nothing that is asked for
                ask()
        if "entries" in change:
            assert path.read_bytes() == before


def test_a_whole_export_makes_the_same_record(tmp_path: Path) -> None:
    path, again = made(tmp_path / "log.db"), tmp_path / "again.db"
    with open_record(path) as opened:
        correct(opened, 2, {"share": 0.5}, why="half", now=NOW)
        withdraw(opened, 3, why="never", now=NOW)
        keep_outcomes(opened, [told(number, number == 1) for number in (1, 2)], now=LATER)
        night, stage = keep_seen(
            opened,
            [Sighting("Orchard", "lowest", NOW.date(), temp_c=-1.5),
             Sighting("Orchard", "stage", NOW.date(), block="rows", stage=1)],
            now=NOW,
        )  # fmt: skip
        undo_seen(opened, night.id, "Orchard", now=NOW)
        keep_receipt(opened, '{"kept": "by itself"}')
        rows, judged, seen = history(opened), judged_of(opened), seen_of(opened)
        text = export_json(rows, every_receipt(opened), judged, seen)
        part = export_json(current(opened), receipts_of(opened, rows))
    assert import_json(again, text) == 5
    assert check_record(again).problems == ()
    with open_record(again) as opened:
        assert history(opened) == rows
        assert receipt_of(opened, 4) == '{"go": 1}'
        assert outcomes(opened) == [told(1, True)[0], told(2, False)[0]]
        assert sightings(opened) == [stage]
        assert '{"kept": "by itself"}' in every_receipt(opened).values()
        assert add(opened, entry(note="later"), now=NOW) == 6
    before = again.read_bytes()
    with pytest.raises(RecordError, match="there is a file already"):
        import_json(again, text)
    assert again.read_bytes() == before
    other = tmp_path / "other.db"
    for bad, said in (
        (part, "one before it is missing"),
        (text.replace("Orchard oil A", "Orchard oil B", 1), "was changed"),
        (text.replace('\\"go\\": 1', '\\"go\\": 2'), "receipt .* is changed"),
        (text.replace('"schema": 3', '"schema": 9'), "another version"),
        (text.replace('"held": false', '"held": true'), "outcome 2 was changed"),
        (text.replace('"temp_c": -1.5', '"temp_c": 1.5'), "sighting 1 was changed"),
        (text.replace("Orchard oil A", "Orchard oil \\ud800", 1), "entry 1: "),
        (text.replace('"number\\": 2', '"number\\": 3'), "receipt .* is changed"),
        (text[:-20], "not an export"),
        ("[" * 100_000, "not an export"),
        ("[]", "not an export"),
    ):
        assert bad != text
        with pytest.raises(InputError, match=said):
            import_json(other, bad)
    assert {each.name for each in tmp_path.iterdir()} == {"log.db", "again.db"}

"""The record under hard treatment: killed writers, two at once, a full disk."""

from __future__ import annotations

import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from spraywindow.errors import RecordError
from spraywindow.record import file as record_file
from spraywindow.record.entry import Application
from spraywindow.record.export import check_record
from spraywindow.record.file import open_record
from spraywindow.record.record import add, history
from tests.fuzzing import MANY
from tests.site_files import write_site

START = datetime(2031, 1, 11, 18, tzinfo=UTC)
KILLS = round(25 * max(1, MANY))
WRITER = """
import sys, itertools
from datetime import UTC, datetime
from spraywindow.record.entry import Application
from spraywindow.record.record import add, open_record

path, name, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
start = datetime(2031, 1, 11, 18, tzinfo=UTC)
sys.stdin.readline()
with open_record(path, create=True) as record:
    print("ready", flush=True)
    for number in itertools.islice(itertools.count(), count or None):
        entry = Application(site="Hill", timezone="UTC", start=start, material="oil",
                      product="Orchard oil A", note=f"{name} {number} " + "n" * 9000)
        add(record, entry, now=start, receipt='{"go": "%s %d"}' % (name, number))
        print(f"{name} {number}", flush=True)
"""
FULL_DISK = """
import resource, sys
from datetime import UTC, datetime
from pathlib import Path
from spraywindow.errors import RecordError
from spraywindow.record.entry import Application
from spraywindow.record.record import add, history, open_record

path = Path(sys.argv[1])
start = datetime(2031, 1, 11, 18, tzinfo=UTC)
with open_record(path) as record:
    resource.setrlimit(resource.RLIMIT_FSIZE, (120_000, 120_000))
    written = 0
    try:
        for number in range(1000):
            add(record, Application(site="Hill", timezone="UTC", start=start, material="oil",
                              product="Orchard oil A", note=f"{number} " + "n" * 9000), now=start)
            written += 1
    except RecordError as error:
        print(written, len(history(record)), error, sep="\\t")
"""


def entry(note: str) -> Application:
    return Application(
        site="Hill",
        timezone="UTC",
        start=START,
        material="oil",
        product="Orchard oil A",
        note=note,
    )


def written(path: Path) -> list[str]:
    with open_record(path) as record:
        return [" ".join(row.entry.note.split()[:2]) for row in history(record)]


def start_writer(path: Path, name: str, count: int = 0) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), name, str(count)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def let_go(writer: subprocess.Popen[str]) -> None:
    assert writer.stdin is not None
    writer.stdin.write("\n")
    writer.stdin.flush()


def test_kill_loses_no_finished_entry(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    chance = random.Random(1)
    finished: list[str] = []
    for number in range(KILLS):
        with start_writer(path, f"w{number}") as writer:
            assert writer.stdout is not None
            let_go(writer)
            assert writer.stdout.readline() == "ready\n"
            if number % 2:  # on a busy machine the time below may end before the first write
                finished.append(writer.stdout.readline().strip())
            time.sleep(chance.uniform(0.0, 0.03))  # a write takes a few ms: some die inside one
            writer.send_signal(signal.SIGKILL)
            told = writer.stdout.read()
        assert writer.returncode == -signal.SIGKILL
        # the last line may be cut short by the kill
        finished += told[: told.rfind("\n") + 1].splitlines()
        found = written(path)
        assert set(finished) <= set(found)
        assert len(found) == len(set(found))
    assert len(finished) >= KILLS // 2
    assert check_record(path).problems == ()


def test_a_kill_while_the_file_is_made_can_be_mended(tmp_path: Path) -> None:
    for number in range(5):
        path = tmp_path / f"log{number}.db"
        writer = start_writer(path, "w")
        let_go(writer)
        while not path.exists() and writer.poll() is None:
            time.sleep(0.0005)
        writer.kill()
        writer.communicate()
        with open_record(path, create=True) as record:
            add(record, entry("after"), now=START)
        assert check_record(path).problems == ()


def test_two_writers_at_once_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    writers = [start_writer(path, name, 40) for name in ("a", "b")]
    time.sleep(0.5)  # both have loaded, and make the file and write at the same time
    for writer in writers:
        let_go(writer)
    for writer in writers:
        _, errors = writer.communicate(timeout=60)
        assert writer.returncode == 0, errors
    assert sorted(written(path)) == sorted(f"{n} {i}" for n in ("a", "b") for i in range(40))
    assert check_record(path).problems == ()


def test_a_writer_that_never_ends_is_told(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    with open_record(path, create=True) as first, open_record(path) as second:
        second.connection.execute("PRAGMA busy_timeout = 50")
        with (
            record_file.transaction(first, "written"),
            pytest.raises(RecordError, match=r"another program keeps writing.*try again"),
        ):
            add(second, entry("late"), now=START)
        assert add(second, entry("late"), now=START) == 1


def test_a_record_with_a_write_ahead_log_leaves_it_once_it_is_free(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As records once were kept."""
    path = tmp_path / "log.db"
    open_record(path, create=True).close()
    monkeypatch.setattr(record_file, "BUSY_MS", 50)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("PRAGMA journal_mode = WAL")
    other.execute("BEGIN IMMEDIATE")
    with open_record(path) as record:
        assert history(record) == []
        other.execute("ROLLBACK")
        assert add(record, entry("first"), now=START) == 1
        assert [row.entry.note for row in history(record)] == ["first"]
    other.close()
    with open_record(path) as record:
        assert record.connection.execute("PRAGMA journal_mode").fetchone()[0] == "delete"
        assert len(history(record)) == 1
    assert [each.name for each in tmp_path.iterdir()] == ["log.db"]


def test_a_copy_of_the_file_alone_holds_what_a_killed_writer_was_told(tmp_path: Path) -> None:
    path, copy = tmp_path / "log.db", tmp_path / "copy.db"
    with start_writer(path, "w", 3) as writer:
        assert writer.stdout is not None
        let_go(writer)
        told = [writer.stdout.readline().strip() for _ in range(4)]
        writer.send_signal(signal.SIGKILL)
    shutil.copy(path, copy)
    assert written(copy) == told[1:] == ["w 0", "w 1", "w 2"]


def test_a_full_file_keeps_what_it_has(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    with open_record(path, create=True) as record:
        add(record, entry("first"), now=START)
        pages = record.connection.execute("PRAGMA page_count").fetchone()[0]
        record.connection.execute(f"PRAGMA max_page_count = {pages + 1}")
        with pytest.raises(RecordError, match=r"the disk is full.*nothing was written"):
            add(record, entry("n" * 19_000), now=START)
        assert len(history(record)) == 1
        add(record, entry("small"), now=START)
    assert check_record(path).problems == ()


@pytest.mark.skipif(sys.platform == "win32", reason="limits of a process are POSIX")
def test_a_full_disk_keeps_what_it_has(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    open_record(path, create=True).close()
    done = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(path)], capture_output=True, text=True, check=False
    )
    count, read, message = done.stdout.strip().split("\t")
    assert 0 < int(count) < 1000
    assert int(read) == int(count)
    assert "the disk is full or failing" in message
    assert len(written(path)) == int(count)
    assert check_record(path).problems == ()


FIRST_ENTRY = """
import resource, sys
from spraywindow.main import run
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]),) * 2)
sys.argv = ["spraywindow", *sys.argv[2:]]
run()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="limits of a process are POSIX")
@pytest.mark.parametrize("room", [0, 12_000, 24_000, 30_000])
def test_a_full_disk_at_the_first_entry_leaves_no_record(tmp_path: Path, room: int) -> None:
    path, site = tmp_path / "log.db", write_site(tmp_path / "site.toml")
    words = [
        "log", "add", "--site", site, "--record", path, "--material", "oil", "--product",
        "Orchard oil A", "--start", "2026-01-13 10:00", "--end", "12:00", "--no-fetch", "--now",
        "2026-01-14 08:00", "--set", f"note={'n' * 9000}",
    ]  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", FIRST_ENTRY, str(room), *map(str, words)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (2, "")
    assert "the disk is full or failing" in done.stderr
    assert [each.name for each in tmp_path.iterdir()] == ["site.toml"]

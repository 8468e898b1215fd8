"""The file of the application record: an SQLite database that is only ever added to.

Every writer takes one short transaction (`BEGIN IMMEDIATE`, rollback journal, full
synchronisation): what is acknowledged stands in the file itself, so that a copy of it alone lacks
nothing, also after a kill. Triggers refuse changes and deletions; each row carries a digest over
itself and the digest of the row before, so that a changed or removed row shows. One schema version
number lives in the file's header.

References
----------
.. [1] SQLite: Atomic Commit In SQLite, https://www.sqlite.org/atomiccommit.html
.. [2] SQLite: Database File Format, section 1.3 (write version, application id, user version).
"""

from __future__ import annotations

import errno
import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from spraywindow.errors import RecordError
from spraywindow.record.entry import Application

SCHEMA_VERSION = 3
"""From 2 on: outcomes, and entries that say what of them failed; from 3 on what was seen."""
APPLICATION_ID = 0x53505257  # "SPRW"
BUSY_MS = 15_000
_MAGIC = b"SQLite format 3\x00"
_WRITE_VERSION = 18
"""Where the header says that a file is written through a write-ahead log (2), as once here."""
_NO_LINKS = (errno.EPERM, errno.ENOSYS, errno.EOPNOTSUPP, errno.EMLINK)
_MAKE = "`spraywindow log add` begins one"

STATEMENTS: dict[str, str] = {
    "receipts": "CREATE TABLE receipts (hash TEXT PRIMARY KEY, text TEXT NOT NULL)",
    "entries": """CREATE TABLE entries (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        entered TEXT NOT NULL,
        kind TEXT NOT NULL CHECK (kind IN ('application', 'correction', 'withdrawal')),
        corrects INTEGER UNIQUE REFERENCES entries (id),
        why TEXT NOT NULL,
        body TEXT NOT NULL,
        receipt TEXT REFERENCES receipts (hash),
        digest TEXT NOT NULL,
        CHECK ((kind = 'application') = (corrects IS NULL)),
        CHECK (corrects IS NULL OR corrects < id))""",
    "outcomes": """CREATE TABLE outcomes (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        judged TEXT NOT NULL,
        receipt TEXT NOT NULL REFERENCES receipts (hash),
        body TEXT NOT NULL,
        digest TEXT NOT NULL)""",
    "seen": """CREATE TABLE seen (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        noted TEXT NOT NULL,
        undoes INTEGER UNIQUE REFERENCES seen (id),
        body TEXT NOT NULL,
        digest TEXT NOT NULL,
        CHECK ((undoes IS NULL) = (body != '')),
        CHECK (undoes IS NULL OR undoes < id))""",
} | {
    f"{table}_no_{action}": f"""CREATE TRIGGER {table}_no_{action} BEFORE {action.upper()}
        ON {table} BEGIN SELECT RAISE(ABORT, 'the record is only added to'); END"""
    for table in ("entries", "receipts", "outcomes", "seen")
    for action in ("update", "delete")
}
_ADDED = {"outcomes": 2, "seen": 3}
"""Tables by the schema version that they came with, where it is not the first."""


def statements(version: int) -> dict[str, str]:
    """What makes a file of a schema version, by the name of what is made."""
    return {
        name: text
        for name, text in STATEMENTS.items()
        if _ADDED.get(name.partition("_")[0], 1) <= version
    }


@dataclass(frozen=True)
class Kept:
    """A row of the record: the entry, when it was entered, and what it corrects and why."""

    id: int
    entered: datetime
    kind: str
    corrects: int | None
    why: str
    entry: Application
    receipt_hash: str | None
    digest: str


@dataclass(frozen=True)
class Record:
    """An open record; close it, or use it in a ``with`` statement."""

    path: Path
    connection: sqlite3.Connection
    rows: list[Kept] = field(default_factory=list)
    """What has been read and verified so far (`record_history.history`)."""

    def close(self) -> None:
        """Close the file."""
        self.connection.close()

    def __enter__(self) -> Self:
        """Give the record itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the file."""
        self.close()


def open_record(
    path: str | os.PathLike[str], create: bool = False, *, read_only: bool = False
) -> Record:
    """Open the application record.

    Parameters
    ----------
    path : path
        The file; on a disk of this machine (locks over a network often hold nothing).
    create : bool
        Make the file when there is none. A file that is there is never replaced.
    read_only : bool
        Open without any right to write.

    Raises
    ------
    RecordError
        If the file is absent, is no record, is damaged, or comes from a newer version. It is
        left as it is.
    """
    path = Path(path)
    create = create and not read_only
    logged = _look_at(path, create)
    if create and not path.exists():
        begin(path, lambda record: None)
    connection = None
    with told(path, "opened"):
        try:
            connection = sqlite3.connect(
                f"{path.absolute().as_uri()}?{_mode(path, create, read_only, logged)}",
                uri=True,
                isolation_level=None,
                timeout=BUSY_MS / 1000,
            )
            record = Record(path, connection)
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA trusted_schema = OFF")
            if read_only:
                connection.execute("PRAGMA query_only = ON")
            if create and _is_empty(connection):
                _create(record)
            _refuse_foreign(record)
            found = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
            if found != "ok":
                raise sqlite3.DatabaseError(found)
            if logged and not read_only:
                _leave_log(connection)
        except BaseException:
            if connection is not None:
                connection.close()
            raise
    return record


def begin(path: Path, fill: Callable[[Record], object]) -> bool:
    """Make a record beside its place, fill it, and give it its name once it is whole.

    So no half of a record ever stands there, whatever fails. Only its owner may read it: it holds
    names and addresses.

    Returns
    -------
    bool
        False where nothing was made: another program was first, or the disk knows no links.
    """
    beside = path.with_name(f".{path.name[:100]}.{os.getpid()}")
    with told(path, "created"):
        try:
            os.close(os.open(beside, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
            with closing(sqlite3.connect(beside, isolation_level=None)) as connection:
                connection.execute("PRAGMA foreign_keys = ON")
                connection.execute("PRAGMA synchronous = FULL")
                record = Record(path, connection)
                _create(record)
                fill(record)
            try:
                os.link(beside, path)
            except OSError as error:
                if isinstance(error, FileExistsError) or error.errno in _NO_LINKS:
                    return False
                raise
        finally:
            beside.unlink(missing_ok=True)
    return True


def _look_at(path: Path, create: bool) -> bool:
    """Refuse what is plainly no record before SQLite touches it; tell whether it has a log."""
    if path.is_dir():
        raise RecordError("a folder where the record should be", where=str(path))
    if not path.exists():
        if create and path.parent.is_dir():
            return False
        cure = _MAKE if path.parent.is_dir() else "make its folder first"
        raise RecordError("no record there", where=str(path), cure=cure)
    if not path.is_file():  # opening a pipe waits for whoever writes to it
        raise RecordError("not a plain file", where=str(path), cure="give another file name")
    with told(path, "opened"), path.open("rb") as file:
        head = file.read(_WRITE_VERSION + 1)
    if head and not head.startswith(_MAGIC):
        raise RecordError(
            "not an application record; left as it is",
            where=str(path),
            expected="an SQLite file",
            cure="give another file name",
        )
    return head[_WRITE_VERSION:] == b"\x02"


def _mode(path: Path, create: bool, read_only: bool, logged: bool) -> str:
    if not read_only:
        return "mode=rwc" if create else "mode=rw"
    if os.access(path, os.W_OK) and os.access(path.parent, os.W_OK):
        return "mode=rw"  # what a kill left undone is taken back first; no query may write
    # the shared index of a write-ahead log cannot be made in a folder without write access
    alone = logged and not path.with_name(path.name + "-wal").exists()
    return "mode=ro&immutable=1" if alone else "mode=ro"


def _header(connection: sqlite3.Connection) -> tuple[int, int, int]:
    """Application id, schema version, number of things in the file."""
    read = [
        connection.execute(query).fetchone()[0]
        for query in (
            "PRAGMA application_id",
            "PRAGMA user_version",
            "SELECT count(*) FROM sqlite_master",
        )
    ]
    return read[0], read[1], read[2]


def schema_of(record: Record) -> int:
    """The schema version of the file."""
    with told(record.path, "read"):
        return _header(record.connection)[1]


def bring_up(record: Record) -> None:
    """Add what a file of an older schema lacks, within the transaction that needs it."""
    there = statements(_header(record.connection)[1])
    for name, statement in STATEMENTS.items():
        if name not in there:
            record.connection.execute(statement)
    record.connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")


def _is_empty(connection: sqlite3.Connection) -> bool:
    return _header(connection) == (0, 0, 0)


def _create(record: Record) -> None:
    with transaction(record, "created"):
        if _is_empty(record.connection):  # another program may have been first
            bring_up(record)
            record.connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")


def _leave_log(connection: sqlite3.Connection) -> None:
    """Take a file out of the write-ahead log; while another program has it open it stays there."""
    try:
        connection.execute("PRAGMA journal_mode = DELETE")
    except sqlite3.OperationalError as error:
        if not error.sqlite_errorname.startswith("SQLITE_BUSY"):
            raise


def _refuse_foreign(record: Record) -> None:
    application, version, things = _header(record.connection)
    if (application, version, things) == (0, 0, 0):
        raise RecordError("an empty file", where=str(record.path), cure=_MAKE)
    if application != APPLICATION_ID:
        raise RecordError("a database of another program; left as it is", where=str(record.path))
    if version > SCHEMA_VERSION:
        raise RecordError(
            "written by a newer version; left as it is",
            where=str(record.path),
            expected=f"schema {SCHEMA_VERSION}",
            got=version,
            cure="update spraywindow",
        )
    if version < 1:
        raise RecordError("damaged: no schema version", where=str(record.path), got=version)


@contextmanager
def transaction(record: Record, action: str) -> Iterator[sqlite3.Connection]:
    """One short write: all of it or nothing, waiting its turn behind other writers."""
    with told(record.path, action):
        record.connection.execute("BEGIN IMMEDIATE")
        try:
            yield record.connection
            record.connection.execute("COMMIT")
        except BaseException:
            if record.connection.in_transaction:  # a full disk may have rolled back already
                record.connection.execute("ROLLBACK")
            raise


@contextmanager
def told(path: Path, action: str) -> Iterator[None]:
    """Turn what SQLite or the disk says into one line."""
    try:
        yield
    except (sqlite3.Error, OSError, OverflowError, UnicodeDecodeError) as error:
        # SQLite quotes a damaged schema in its message, which then may be no text
        name = getattr(error, "sqlite_errorname", "") or ""
        text = str(error)
        if name.startswith(("SQLITE_FULL", "SQLITE_IOERR")):
            what, cure = "the disk is full or failing", "nothing was written; make room"
        elif name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
            what, cure = "another program keeps writing to it", "nothing was written; try again"
        elif name.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN")) or isinstance(error, OSError):
            what, cure = f"cannot be {action}", "may this user read and write file and folder?"
        else:
            what, cure = "damaged; left as it is", "keep the file and go back to a copy"
        raise RecordError(
            f"{what} ({' '.join(text.split())})", where=str(path), cure=cure
        ) from error

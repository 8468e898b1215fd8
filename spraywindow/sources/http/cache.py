"""The kept replies: a digest over each, and no failure of theirs in the way of a reply that comes.

What is damaged, half or another program's is set aside and begun anew; a folder that is full, read
only or locked is done without. Both are said, once.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from requests_cache.backends.base import BaseCache, BaseStorage

from spraywindow.sources.http.folder import cache_trouble

BUSY_S = 2.0
"""Longest wait for another program that writes [s]; then it is done without."""
_TABLES = ("replies", "redirects_of")
_AROUND = tuple(
    f"SQLITE_{name}"
    for name in ("BUSY", "LOCKED", "FULL", "IOERR", "READONLY", "CANTOPEN", "PERM", "AUTH", "NOMEM")
)
"""Errors of the disk, the folder or other programs; all others are of the file itself."""


class KeptReplies(BaseCache):
    """The file of kept replies, as a backend of requests-cache."""

    def __init__(self, folder: Path) -> None:
        """Begin; the file is opened, and its folder made, when it is first used."""
        super().__init__(cache_name=str(folder / "http.sqlite"))
        self.path = folder / "http.sqlite"
        self._words: list[str] = []
        self._connection: sqlite3.Connection | None = None
        self._off = False
        self._lock = threading.RLock()
        # a pickle in a shared folder could run code
        self.responses = _Table(self, _TABLES[0], serializer="json")
        self.redirects = _Table(self, _TABLES[1])

    def save_response(self, response: Any, *words: Any, **more: Any) -> None:
        """Keep a reply without the way to it, whose addresses may carry a key."""
        way, response.history = response.history, []
        try:
            super().save_response(response, *words, **more)
        finally:
            response.history = way

    def said(self) -> tuple[str, ...]:
        """What there is to say of the file, told once."""
        with self._lock:
            words, self._words = self._words, []
        return tuple(words)

    def run(self, query: str, *values: object) -> list[Any]:
        """Rows of a query; none where the file cannot be used."""
        with self._lock:
            for first in (True, False):
                if self._off:
                    break
                try:
                    return self._opened().execute(query, values).fetchall()
                except (sqlite3.Error, OSError, UnicodeDecodeError) as error:
                    # SQLite quotes a damaged schema in its message, which then may be no text
                    name = getattr(error, "sqlite_errorname", "")
                    if isinstance(error, OSError) or name.startswith(_AROUND) or not first:
                        self._do_without(error)
                    else:
                        self.set_aside(str(error))
        return []

    def set_aside(self, why: str) -> None:
        """Move the file away, and begin anew."""
        with self._lock:
            self.close()
            aside = self.path.with_name(f"{self.path.name}.damaged")
            try:
                os.replace(self.path, aside)
                # an unfinished write of the old file would be taken for one of the new
                self.path.with_name(f"{self.path.name}-journal").unlink(missing_ok=True)
            except OSError as error:
                self._do_without(error)
            else:
                why = " ".join(why.split())
                self._words.append(
                    f"the kept replies were damaged ({why}), now {aside}: asked anew"
                )

    def close(self) -> None:
        """Close the file."""
        with self._lock:
            if self._connection is not None:
                self._connection.close()
                self._connection = None

    def _opened(self) -> sqlite3.Connection:
        if self._connection is None:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._connection = sqlite3.connect(
                self.path, timeout=BUSY_S, isolation_level=None, check_same_thread=False
            )
            for table in _TABLES:
                self._connection.execute(
                    f"CREATE TABLE IF NOT EXISTS {table}"
                    " (key TEXT PRIMARY KEY, value TEXT NOT NULL, digest TEXT NOT NULL)"
                )
        return self._connection

    def _do_without(self, error: Exception) -> None:
        self.close()
        self._off = True
        self._words.append(f"{cache_trouble(self.path.parent, error)}; gone on without it")


class _Table(BaseStorage[str, Any]):
    """A table of the file: texts by key, each with a digest over both."""

    def __init__(self, kept: KeptReplies, name: str, serializer: str | None = None) -> None:
        super().__init__(serializer=serializer)
        self.kept = kept
        self.name = name

    def __getitem__(self, key: str) -> Any:
        rows = self.kept.run(f"SELECT value, digest FROM {self.name} WHERE key = ?", key)
        if not rows:
            raise KeyError(key)
        value, digest = rows[0]
        if _digest(key, value) != digest:
            self.kept.set_aside("a reply is not what was kept")
            raise KeyError(key)
        return self.deserialize(key, value)

    def __setitem__(self, key: str, value: Any) -> None:
        text = self.serialize(value)
        query = f"INSERT OR REPLACE INTO {self.name} VALUES (?, ?, ?)"
        self.kept.run(query, key, text, _digest(key, text))

    def __delitem__(self, key: str) -> None:
        if not self.kept.run(f"DELETE FROM {self.name} WHERE key = ? RETURNING key", key):
            raise KeyError(key)

    def __iter__(self) -> Iterator[str]:
        return iter([key for (key,) in self.kept.run(f"SELECT key FROM {self.name}")])

    def __len__(self) -> int:
        return len(list(iter(self)))

    def clear(self) -> None:
        self.kept.run(f"DELETE FROM {self.name}")


def _digest(key: str, value: object) -> str:
    return hashlib.sha256(f"{key}\n{value}".encode("utf-8", "surrogatepass")).hexdigest()

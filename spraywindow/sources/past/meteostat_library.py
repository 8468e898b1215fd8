"""The library `meteostat` on a short leash: its settings, its cache and what it only logs."""

from __future__ import annotations

import logging
import os
import socket
import urllib.error
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from spraywindow.errors import SourceError
from spraywindow.sources.http import cache_trouble


@contextmanager
def careful(folder: Path, timeout_s: float) -> Iterator[Any]:
    """The library, set for the time of the block: our folder, our patience, no forecasts.

    Raises
    ------
    SourceError
        If the folder cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SourceError(cache_trouble(folder, error)) from error
    import meteostat

    wanted: dict[str, Any] = {
        "include_model_data": False,  # no forecasts in the gaps of observations
        "cache_ttl": 0,  # else a month is the least that anything is kept
        "cache_autoclean": False,  # else everything older than the line above goes
        "cache_directory": str(folder),
        "network_timeout": timeout_s,
        "network_max_retries": 1,
    }
    if "MS_STATIONS_DB_FILE" not in os.environ:
        wanted["stations_db_file"] = str(folder / "stations.db")
    config = meteostat.config
    before = {key: getattr(config, key) for key in wanted}
    # The library reads its tables through urllib, which knows only the global time-out.
    waited = socket.getdefaulttimeout()
    try:
        for key, value in wanted.items():
            setattr(config, key, value)
        socket.setdefaulttimeout(timeout_s)
        yield meteostat
    finally:
        socket.setdefaulttimeout(waited)
        for key, value in before.items():
            setattr(config, key, value)


@contextmanager
def uncached(library: Any) -> Iterator[None]:
    """For the time of the block the library neither reads nor writes what it keeps."""
    before = library.config.cache_enable
    library.config.cache_enable = False
    try:
        yield
    finally:
        library.config.cache_enable = before


_QUIET = logging.NullHandler()
"""Stays: work that is left behind at its limit still logs, and Python would print that."""


class Complaint(NamedTuple):
    """What the library logs instead of raising it."""

    text: str
    grave: bool
    """Not of the archive's answer, but around it: what is kept of it is damaged, or cannot be
    written."""


@contextmanager
def heard() -> Iterator[list[Complaint]]:
    """Collect the complaints of the block; without a handler, Python prints the traceback."""
    complaints: list[Complaint] = []

    class Ear(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            error = record.exc_info[1] if record.exc_info else None
            said = _no_connection(error) or str(error or record.getMessage())
            text = " ".join(said.split())[:160]
            complaints.append(Complaint(text, record.levelno >= logging.ERROR))

    logger, ear = logging.getLogger("meteostat"), Ear(logging.WARNING)
    logger.addHandler(_QUIET)
    logger.addHandler(ear)
    try:
        yield complaints
    finally:
        logger.removeHandler(ear)


def _no_connection(error: BaseException | None) -> str:
    """Say so where an error is the network's; its own text is an address and a trace."""
    import requests

    if isinstance(error, urllib.error.HTTPError):
        return ""  # the server did answer
    lost = (requests.ConnectionError, requests.Timeout, urllib.error.URLError, TimeoutError)
    return "no connection" if isinstance(error, lost) else ""

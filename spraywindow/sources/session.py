"""One polite HTTP session for every weather service: cached, bounded in time, patient.

A broken reply is refused in a hook, before the cache sees it: requests-cache's own ``filter_fn``
was seen (1.3.3) to *delete* the good copy that is held when it refuses a reply, and that copy is
what stands in while a service fails.
"""

from __future__ import annotations

import os
from importlib.metadata import version
from pathlib import Path
from sqlite3 import Error as SqliteError
from typing import TYPE_CHECKING, Any, Self

import requests
from requests.adapters import HTTPAdapter
from urllib3.exceptions import MaxRetryError, ResponseError
from urllib3.util.retry import Retry

from spraywindow.errors import SourceError, describe
from spraywindow.sources.reply import refuse_broken

if TYPE_CHECKING:
    from requests_cache import CachedSession

TIMEOUT_S = (5.0, 15.0)
"""Longest wait for a connection and between two pieces of the reply [s]."""
RETRIES = 2
LONGEST_WAIT_S = 20.0
"""A service that asks for a longer pause (Retry-After) is left alone at once [s]."""
KEEP_MIN = 45
"""How long a reply is kept where the service does not say [min]."""
DEPRECATED = 203


class PatientRetry(Retry):
    """Back-off from the first retry on; a Retry-After is kept, or the request is given up."""

    def increment(self, *args: Any, **kwargs: Any) -> Self:
        """Give up where the service asks for more patience than there is."""
        response = kwargs.get("response")
        if response is not None and (self.get_retry_after(response) or 0) > LONGEST_WAIT_S:
            raise MaxRetryError(kwargs["_pool"], "", ResponseError("asked to wait"))
        return super().increment(*args, **kwargs)

    def get_backoff_time(self) -> float:
        """Seconds before the next try: 1, 2, 4 ... times the factor."""
        return float(min(self.backoff_max, self.backoff_factor * 2 ** (len(self.history) - 1)))


class BoundedAdapter(HTTPAdapter):
    """An adapter that never waits without an end."""

    def __init__(self, timeout_s: tuple[float, float], retries: Retry) -> None:
        """Keep the time-outs [s] (connect, read)."""
        self.timeout_s = timeout_s
        super().__init__(max_retries=retries)

    def send(self, request: requests.PreparedRequest, **kwargs: Any) -> requests.Response:  # type: ignore[override]  # the parent's keywords, passed through
        """Send with the session's time-outs where the caller gives none."""
        kwargs["timeout"] = kwargs.get("timeout") or self.timeout_s
        return super().send(request, **kwargs)


def user_agent() -> str:
    """Name the project, with the contact of ``SPRAYWINDOW_CONTACT`` (an address or a page)."""
    contact = os.environ.get("SPRAYWINDOW_CONTACT", "").encode("ascii", "ignore").decode()
    contact = " ".join(contact.replace("(", " ").replace(")", " ").split())
    return f"spraywindow/{version('spraywindow')} ({contact or 'orchard weather, no contact set'})"


def cache_folder(cache_dir: Path | None = None) -> Path:
    """Where replies are kept: the argument, else ``SPRAYWINDOW_CACHE``, else the user's cache."""
    if cache_dir is not None:
        return Path(cache_dir)
    if os.environ.get("SPRAYWINDOW_CACHE"):
        return Path(os.environ["SPRAYWINDOW_CACHE"])
    from platformdirs import user_cache_path

    return user_cache_path("spraywindow", appauthor=False)


def polite_session(
    cache_dir: Path | None = None,
    *,
    timeout_s: tuple[float, float] = TIMEOUT_S,
    backoff_s: float = 1.0,
    keep_min: float = KEEP_MIN,
) -> CachedSession:
    """Open the one session that all services share; use it as a context manager.

    Parameters
    ----------
    cache_dir : pathlib.Path, optional
        Folder of the SQLite cache; see `cache_folder`.
    timeout_s : tuple of float
        Connect and read time-outs [s].
    backoff_s : float
        Wait before the first retry [s], doubled for each further one.
    keep_min : float
        How long a reply without Expires or max-age is kept [min].

    Raises
    ------
    SourceError
        If the cache folder cannot be written.
    """
    from requests_cache import DEFAULT_IGNORED_PARAMS, CachedSession

    folder = cache_folder(cache_dir)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        session = CachedSession(
            folder / "http.sqlite",
            backend="sqlite",
            serializer="json",  # a pickle in a shared folder could run code
            cache_control=True,
            expire_after=keep_min * 60,
            allowable_codes=(200, DEPRECATED),
            ignored_parameters=(*DEFAULT_IGNORED_PARAMS, "apikey"),
        )
    except (OSError, SqliteError) as error:
        raise SourceError(cache_trouble(folder, error)) from error
    retry = PatientRetry(
        total=RETRIES,
        connect=1,
        read=1,
        status_forcelist=(429, 500, 502, 503, 504),
        backoff_factor=backoff_s,
        raise_on_status=False,
    )
    for scheme in ("https://", "http://"):
        session.mount(scheme, BoundedAdapter(timeout_s, retry))
    session.headers["User-Agent"] = user_agent()
    session.max_redirects = 5
    session.hooks["response"].append(refuse_broken)
    return session


def cache_trouble(folder: Path, error: Exception) -> str:
    """Say that the cache fails, and the cure."""
    return describe(
        f"the cache cannot be used ({error})",
        where=str(folder),
        cure="free or delete it, or set SPRAYWINDOW_CACHE to a folder that can be written",
    )

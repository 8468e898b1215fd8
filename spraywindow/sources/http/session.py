"""One polite HTTP session for every weather service: cached, bounded in time, patient.

The bound holds for the whole of a piece of work, however slowly a server lets it go on.
A broken reply is refused in a hook, before the cache sees it: requests-cache's own ``filter_fn``
was seen (1.3.3) to *delete* the good copy that is held when it refuses a reply, and that copy is
what stands in while a service fails.
"""

from __future__ import annotations

import os
import queue
import threading
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from sqlite3 import Error as SqliteError
from typing import TYPE_CHECKING, Any, Self, TypeVar

import requests
from requests.adapters import HTTPAdapter
from urllib3.exceptions import MaxRetryError, ResponseError
from urllib3.response import BaseHTTPResponse
from urllib3.util.retry import Retry

from spraywindow.errors import SourceError, describe
from spraywindow.sources.http.headers import mend_expiry, wait_asked_s
from spraywindow.sources.http.reply import refuse_broken

if TYPE_CHECKING:
    from requests_cache import CachedSession

Result = TypeVar("Result")


def within(limit_s: float, work: Callable[[], Result]) -> Result:
    """Do the work in a thread of its own, which is left behind where the limit [s] passes.

    A time-out of a socket bounds only the wait for the next piece: a server that sends a byte a
    second would be listened to without an end.

    Raises
    ------
    TimeoutError
        If the work takes longer; whatever the work raises is raised here.
    """
    done: queue.SimpleQueue[tuple[Result | None, BaseException | None]] = queue.SimpleQueue()

    def run() -> None:
        try:
            done.put((work(), None))
        except BaseException as error:  # handed on to the caller below
            done.put((None, error))

    threading.Thread(target=run, daemon=True).start()
    try:
        result, error = done.get(timeout=limit_s)
    except queue.Empty:
        raise TimeoutError(f"longer than {limit_s:g} s") from None
    if error is not None:
        raise error
    return result  # type: ignore[return-value]  # there is one where there is no error


TIMEOUT_S = (5.0, 15.0)
"""Longest wait for a connection and between two pieces of the reply [s]."""
DEADLINE_S = 60.0
"""Longest wait for a whole reply, retries and their pauses with it [s]."""
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

    def get_retry_after(self, response: BaseHTTPResponse) -> float | None:
        """Seconds that the service asks for; an odd Retry-After counts as absent."""
        return wait_asked_s(response.headers.get("Retry-After"))

    def get_backoff_time(self) -> float:
        """Seconds before the next try: 1, 2, 4 ... times the factor."""
        return float(min(self.backoff_max, self.backoff_factor * 2 ** (len(self.history) - 1)))


class BoundedAdapter(HTTPAdapter):
    """An adapter that never waits without an end, not even for a server that drips."""

    def __init__(self, timeout_s: tuple[float, float], deadline_s: float, retries: Retry) -> None:
        """Keep the time-outs [s] (connect, next piece) and the deadline of the whole [s]."""
        self.timeout_s = timeout_s
        self.deadline_s = deadline_s
        super().__init__(max_retries=retries)

    def send(self, request: requests.PreparedRequest, **kwargs: Any) -> requests.Response:  # type: ignore[override]  # the parent's keywords, passed through
        """Send and read the whole reply, with the session's time-outs where none are given."""
        kwargs["timeout"] = kwargs.get("timeout") or self.timeout_s
        ask = super().send

        def whole() -> requests.Response:
            response = ask(request, **kwargs)
            _ = response.content  # read here, where the deadline holds
            return response

        try:
            return within(self.deadline_s, whole)
        except TimeoutError as error:
            raise requests.ReadTimeout(str(error), request=request) from error


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
    deadline_s: float = DEADLINE_S,
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
    deadline_s : float
        Longest wait for a whole reply, with its retries [s].
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
    make_polite(session, timeout_s, deadline_s, backoff_s)
    return session


def make_polite(
    session: requests.Session, timeout_s: tuple[float, float], deadline_s: float, backoff_s: float
) -> None:
    """Give a session the patience, the name and the check of replies that all services share."""
    retry = PatientRetry(
        total=RETRIES,
        connect=1,
        read=1,
        status_forcelist=(429, 500, 502, 503, 504),
        backoff_factor=backoff_s,
        raise_on_status=False,
    )
    for scheme in ("https://", "http://"):
        session.mount(scheme, BoundedAdapter(timeout_s, deadline_s, retry))
    session.headers["User-Agent"] = user_agent()
    session.max_redirects = 5
    session.hooks["response"] += [mend_expiry, refuse_broken]


def cache_trouble(folder: Path, error: Exception) -> str:
    """Say that the cache fails, and the cure."""
    return describe(
        f"the cache cannot be used ({error})",
        where=str(folder),
        cure="free or delete it, or set SPRAYWINDOW_CACHE to a folder that can be written",
    )

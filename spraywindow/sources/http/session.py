"""One polite HTTP session for every weather service: cached, bounded in time, patient.

The bound holds for the whole of a piece of work, however slowly a server lets it go on.
A broken reply is refused in a hook, before the cache sees it: requests-cache's own ``filter_fn``
was seen (1.3.3) to *delete* the good copy that is held when it refuses a reply, and that copy is
what stands in while a service fails.
"""

from __future__ import annotations

import math
import os
import queue
import threading
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self, TypeVar
from urllib.parse import parse_qsl, quote_plus, urljoin, urlsplit

import requests
from requests.adapters import HTTPAdapter
from urllib3.exceptions import MaxRetryError, ResponseError
from urllib3.response import BaseHTTPResponse
from urllib3.util.retry import Retry

from spraywindow.errors import SourceError
from spraywindow.sources.http.folder import cache_folder
from spraywindow.sources.http.headers import mend_expiry, wait_asked_s
from spraywindow.sources.http.reply import CURE, refuse_broken

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
MOST_BYTES = 64_000_000
"""A reply that is longer, unpacked, is refused; a year of reanalysis has 1 MB, a forecast less."""
KEYS = ("apikey",)
"""Parameters that carry a secret: neither kept, nor said, nor sent to another host."""
HIDDEN = "***"
OUT = 3
"""A few failures in a row, of single requests, that make a host fail as a whole; P."""


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

    def __init__(
        self, timeout_s: tuple[float, float], deadline_s: float, retries: Retry, out: float
    ) -> None:
        """Keep the time-outs [s] (connect, next piece) and the deadline of the whole [s].

        A host is not asked again after `out` failures in a row, of which one that is the host's
        own counts as `OUT`.
        """
        self.timeout_s = timeout_s
        self.deadline_s = deadline_s
        self.out = out
        self._failures: dict[str, float] = {}
        super().__init__(max_retries=retries)

    def send(self, request: requests.PreparedRequest, **kwargs: Any) -> requests.Response:  # type: ignore[override]  # the parent's keywords, passed through
        """Send and read the whole reply, with the session's time-outs where none are given."""
        kwargs["timeout"] = kwargs.get("timeout") or self.timeout_s
        ask = super().send

        def whole() -> requests.Response:
            response = ask(request, **kwargs)
            _read(response)  # here, where the deadline holds
            return response

        host = urlsplit(request.url or "").netloc
        if self._failures.get(host, 0) >= self.out:
            raise SourceError("not asked again: it has just failed", where=host, cure=CURE)
        try:
            response = within(self.deadline_s, whole)
        except TimeoutError as error:
            self._failures[host] = self._failures.get(host, 0) + OUT
            raise requests.ReadTimeout(str(error), request=request) from error
        except requests.RequestException:
            self._failures[host] = self._failures.get(host, 0) + OUT
            raise
        if response.status_code in (403, 429):  # whoever asks, whatever for
            self._failures[host] = self._failures.get(host, 0) + OUT
        elif response.status_code >= 500:  # perhaps of this request only
            self._failures[host] = self._failures.get(host, 0) + 1
        else:
            self._failures.pop(host, None)
        return response


def _read(response: requests.Response) -> None:
    """Read a reply to its end or the bound, without the keys that it may say again."""
    parts, size = [], 0
    for part in response.iter_content(2**16):  # unpacked: a small reply can hold very much
        size += len(part)
        if size > MOST_BYTES:
            response.close()
            raise SourceError(
                f"the answer is longer than {MOST_BYTES / 1e6:g} MB",
                where=urlsplit(response.url).netloc,
                cure=CURE,
            )
        parts.append(part)
    body = b"".join(parts)
    for key in keys_in(response.request.url):
        body = body.replace(key.encode(), HIDDEN.encode())
        for name, value in response.headers.items():
            there = urljoin(response.url, value) if name.lower() == "location" else ""
            if not there or _host(there) != _host(response.url):
                response.headers[name] = value.replace(key, HIDDEN)
    response._content = body


def _host(url: str) -> tuple[str, str]:
    parts = urlsplit(url)
    return parts.scheme, parts.netloc


def keys_in(url: str | None) -> list[str]:
    """The keys of a service that an address carries, as they are and as addresses write them."""
    query = urlsplit(url or "").query
    keys = [value for name, value in parse_qsl(query) if name in KEYS and len(value) > 3]
    return [*keys, *(written for key in keys if (written := quote_plus(key)) != key)]


def user_agent() -> str:
    """Name the project, with the contact of ``SPRAYWINDOW_CONTACT`` (an address or a page)."""
    contact = os.environ.get("SPRAYWINDOW_CONTACT", "").encode("ascii", "ignore").decode()
    contact = " ".join(contact.replace("(", " ").replace(")", " ").split())
    return f"spraywindow/{version('spraywindow')} ({contact or 'orchard weather, no contact set'})"


def polite_session(
    cache_dir: Path | None = None,
    *,
    timeout_s: tuple[float, float] = TIMEOUT_S,
    deadline_s: float = DEADLINE_S,
    backoff_s: float = 1.0,
    keep_min: float = KEEP_MIN,
    out: float = math.inf,
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
    out : float
        After so many failures in a row a host is not asked again (`OUT` for one command); one
        that is the host's own, such as no answer at all, counts as `OUT`.
    """
    from requests_cache import DEFAULT_IGNORED_PARAMS, CachedSession

    from spraywindow.sources.http.cache import KeptReplies

    session = CachedSession(
        backend=KeptReplies(cache_folder(cache_dir)),
        cache_control=True,
        expire_after=keep_min * 60,
        allowable_codes=(200, DEPRECATED),
        ignored_parameters=(*DEFAULT_IGNORED_PARAMS, *KEYS),
    )
    make_polite(session, timeout_s, deadline_s, backoff_s, out)
    return session


def make_polite(
    session: requests.Session,
    timeout_s: tuple[float, float],
    deadline_s: float,
    backoff_s: float,
    out: float = math.inf,
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
    adapter = BoundedAdapter(timeout_s, deadline_s, retry, out)
    for scheme in ("https://", "http://"):
        session.mount(scheme, adapter)
    session.headers["User-Agent"] = user_agent()
    session.max_redirects = 5
    session.hooks["response"] += [mend_expiry, refuse_broken]

"""What a service's reply says: its errors in one line, its blocks and numbers checked."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import pandas as pd
import requests
from numpy.typing import NDArray
from urllib3.exceptions import NewConnectionError
from urllib3.exceptions import TimeoutError as UrllibTimeout

from spraywindow.errors import SourceError, describe
from spraywindow.sources.http.headers import wait_asked_s

LONGEST_REASON = 200
LARGEST = 1e15
"""A larger number is none of the weather's, and overflows in the next multiplication."""
CURE = "try again later, or give a weather file"


class ServiceRefusal(SourceError):
    """The service answered with an error status.

    Attributes
    ----------
    status : int
        The HTTP status.
    """

    def __init__(self, message: str, status: int) -> None:
        """Keep the status beside the message."""
        super().__init__(message)
        self.status = status


def document(content: bytes) -> Any:
    """Read JSON in any Unicode encoding, with or without a byte order mark.

    Raises
    ------
    ValueError
        If it is not whole, or nested beyond all reason.
    """
    try:
        return json.loads(content)
    except RecursionError as error:
        raise ValueError("nested too deep") from error


def refuse_broken(response: requests.Response, **_: Any) -> None:
    """Raise `SourceError` where a good status comes with a body that is not whole JSON.

    Runs as a hook of the session on every reply, so that a broken body is never cached.
    """
    if not 200 <= response.status_code < 300:
        return
    try:
        document(response.content)
    except ValueError as error:
        host = urlsplit(response.url).netloc
        start = response.content[:200].lstrip().lower()
        if start.startswith(b"<") or "html" in response.headers.get("Content-Type", ""):
            what = "a web page came instead of data"
            raise SourceError(what, where=host, cure="is there a login page?") from error
        what = "the answer is not complete JSON (cut off?)"
        raise SourceError(what, where=host, cure=CURE) from error


def refused(response: requests.Response, service: str) -> ServiceRefusal:
    """Make the error for an error status, with the service's own reason."""
    reason = _reason(response)
    what = f"refused the request with {response.status_code}" + (f" ({reason})" if reason else "")
    cure = CURE
    if response.status_code == 403:
        cure = "set SPRAYWINDOW_CONTACT to a mail address or a page of yours"
    elif wait_asked_s(response.headers.get("Retry-After")) is not None:
        cure = f"it asks to wait (Retry-After: {_plain(response.headers['Retry-After'])})"
    return ServiceRefusal(describe(what, where=service, cure=cure), response.status_code)


def what_failed(error: Exception, service: str) -> str:
    """Say in one line why no answer came; addresses (and keys in them) are left out."""
    if isinstance(error, SourceError):
        return str(error)
    inner = error.args[0] if error.args else None
    cause = getattr(inner, "reason", inner)
    # a refused connection counts as a time-out in urllib3's tree
    late = isinstance(cause, UrllibTimeout) and not isinstance(cause, NewConnectionError)
    if isinstance(error, requests.Timeout) or late:
        what = "no answer in time"
    elif isinstance(error, requests.exceptions.SSLError):
        what = "the secure connection failed"
    elif isinstance(
        error, requests.exceptions.ChunkedEncodingError | requests.exceptions.ContentDecodingError
    ):
        what = "the answer broke off"
    elif isinstance(error, requests.ConnectionError):
        what = "no connection"
    else:
        what = f"the request failed ({type(error).__name__})"
    return describe(what, where=service, cure="check the network, or give a weather file")


def odd(service: str, what: str) -> SourceError:
    """Make the error for a reply that is not as the service describes it."""
    return SourceError(what, where=service, cure=CURE)


def block(payload: Any, *keys: str, service: str, kind: type = object) -> Any:
    """Walk to a block of a reply, or say which one is missing.

    Parameters
    ----------
    payload : object
        The JSON document.
    *keys : str
        The way to the block.
    service : str
        Whose reply it is.
    kind : type
        What the block must be: ``dict``, ``list``, ``str``.

    Raises
    ------
    SourceError
        If a step of the way is missing, null or not an object, or the block is of another kind.
    """
    here = payload
    for number, key in enumerate(keys, start=1):
        if not isinstance(here, Mapping) or here.get(key) is None:
            path = ".".join(keys[:number])
            raise odd(service, f"the answer has no {path}")
        here = here[key]
    if not isinstance(here, kind):
        raise odd(service, f"{'.'.join(keys)} is odd")
    return here


def stamps(values: list[Any], *, service: str) -> pd.DatetimeIndex:
    """Read ISO 8601 stamps, of UTC where they name no offset.

    Raises
    ------
    SourceError
        If one is not a time.
    """
    try:
        if all(isinstance(value, str) for value in values):
            times = pd.DatetimeIndex(pd.to_datetime(values, format="ISO8601", utc=True))
            times.as_unit("ns")  # refuses years that no weather is of
            if not times.hasnans:  # "" and "NaT" are read as no time
                return times
    except ValueError:
        pass
    raise odd(service, "a stamp is not a time")


def hour_stamps(values: list[Any], *, service: str) -> pd.DatetimeIndex:
    """Read the stamps of hours, in order.

    Raises
    ------
    SourceError
        If there is none, one is not a time or not on an hour, or they are out of order.
    """
    times = stamps(values, service=service)
    what = ""
    if not len(times):
        what = "the answer holds no hour"
    elif not times.is_monotonic_increasing or times.has_duplicates:
        what = "the hours are out of order"
    elif (times != times.floor("h")).any():
        what = "a stamp is not on an hour"
    if what:
        raise odd(service, what)
    return times


def numbers(values: Any, *, service: str, where: str) -> NDArray[np.float64]:
    """Read a list of numbers and nulls; null is NaN.

    Raises
    ------
    SourceError
        If it is not a list, or holds something else: text that looks like a number, true and
        false (which Python takes for 1 and 0), an infinite or endlessly long one.
    """
    if isinstance(values, list) and {type(v) for v in values} <= {int, float, type(None)}:
        try:
            read = np.array([math.nan if v is None else float(v) for v in values], dtype=float)
        except OverflowError:
            pass
        else:
            if not (np.abs(read) > LARGEST).any():
                return read
    raise SourceError(f"{where} is not a list of numbers", where=service, cure="report this")


def _reason(response: requests.Response) -> str:
    """Take the service's own words: reason, messages, or title and detail (RFC 9457)."""
    try:
        body = document(response.content)
    except ValueError:
        return _plain(response.reason or "")
    if not isinstance(body, Mapping):
        return _plain(response.reason or "")
    words = [body.get(key) for key in ("reason", "title", "detail")]
    messages = body.get("messages")
    words += messages if isinstance(messages, list) else []
    return _plain(": ".join(word for word in words if isinstance(word, str)))


def _plain(text: str) -> str:
    """One printable line, not too long."""
    clean = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(clean.split())[:LONGEST_REASON]

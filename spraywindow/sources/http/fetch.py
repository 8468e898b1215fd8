"""Fetch a JSON document through the polite session, or the copy held while a service fails."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import pandas as pd
import requests

from spraywindow.errors import SourceError
from spraywindow.sources.http.cache import KeptReplies
from spraywindow.sources.http.headers import http_date
from spraywindow.sources.http.reply import CURE, ServiceRefusal, document, refused, what_failed
from spraywindow.sources.http.session import DEPRECATED

if TYPE_CHECKING:
    from requests_cache import CachedSession

OLDEST_COPY_H = 6.0
"""Oldest copy that may stand in for a failed request [h]; P: common practice, no source."""


@dataclass(frozen=True)
class Fetched:
    """How an answer came: when it was last confirmed by the service, and what people must know."""

    fetched: pd.Timestamp
    stale: bool
    notes: tuple[str, ...] = ()


def get_json(
    session: CachedSession,
    url: str,
    params: Mapping[str, str | int | float] | None = None,
    headers: Mapping[str, str] | None = None,
    *,
    now: pd.Timestamp,
    max_stale_h: float = OLDEST_COPY_H,
    service: str = "",
    fresh: bool = False,
) -> tuple[Any, Fetched]:
    """Fetch a JSON document, or the copy held if the service fails and the copy is young enough.

    Parameters
    ----------
    session : CachedSession
        From `polite_session`.
    url, params, headers
        The request.
    now : pandas.Timestamp
        The time of asking, UTC; ages are counted from it.
    max_stale_h : float
        Oldest copy that may stand in for a failed request [h].
    service : str
        What the service is called in messages; the host by default.
    fresh : bool
        Ask the service even where a kept copy has not expired.

    Returns
    -------
    tuple of (object, Answer)

    Raises
    ------
    SourceError
        One line with what went wrong and what the service itself said; a `ServiceRefusal` where
        the service answered with an error status.
    """
    service = service or urlsplit(url).netloc
    limit = pd.Timedelta(hours=max_stale_h)
    request = {"params": dict(params or {}), "headers": dict(headers or {})}
    try:
        response = _ask(session, url, request, service, fresh)
        if response.from_cache and (
            now - _confirmed(response) > limit or _kept_in_the_future(response)
        ):
            response = _ask(session, url, request, service, True)
        if response.status_code not in session.settings.allowable_codes:
            raise refused(response, service)
        words = (*_warned(response), *_said(session))
        answer = Fetched(_confirmed(response), False, words)
        return document(response.content), answer
    except (requests.RequestException, SourceError) as error:
        failure = (
            error if isinstance(error, ServiceRefusal) else SourceError(what_failed(error, service))
        )
        held = _held(session, url, request, limit)
        if held is None:
            raise failure from error
        fetched = _confirmed(held)
        age_h = (now - fetched) / pd.Timedelta(hours=1)
        if age_h > max_stale_h:
            raise SourceError(
                f"{failure}; the copy held is {age_h:.0f} h old (at most {max_stale_h:g} h)"
            ) from error
        note = f"fetched {max(age_h, 0):.1f} h ago, no newer answer came ({failure})"
        return document(held.content), Fetched(fetched, True, (note, *_said(session)))


def _ask(
    session: CachedSession, url: str, request: dict[str, Any], service: str, fresh: bool
) -> Any:
    try:
        return session.get(url, **request, force_refresh=fresh)
    except requests.RequestException:
        raise
    except ValueError as error:  # how urllib and urllib3 refuse the address of a redirect
        what = "it sends the request on to an address that is none"
        raise SourceError(what, where=service, cure=CURE) from error


def _held(session: CachedSession, url: str, request: dict[str, Any], limit: pd.Timedelta) -> Any:
    """Ask the cache alone for the last good copy (it answers 504 when it has none)."""
    # counted from the expiry, so nothing younger than the limit is missed; the age is judged later
    patience = f"only-if-cached,max-stale={int(limit.total_seconds()) + 10 * 365 * 86400}"
    headers = {**request["headers"], "Cache-Control": patience}
    response = session.get(url, params=request["params"], headers=headers)
    return response if response.status_code in session.settings.allowable_codes else None


def _confirmed(response: Any) -> pd.Timestamp:
    """When the service last stood by this body, by its own clock where it tells.

    A 304 brings a new Date. The clock here may have been wrong when the copy was made.
    """
    created = pd.Timestamp(response.created_at).tz_convert("UTC")
    return http_date(response.headers.get("Date")) or created


def _kept_in_the_future(response: Any) -> bool:
    """Whether the clock was set back since: such a copy would seem fresh for too long."""
    return pd.Timestamp(response.created_at) > pd.Timestamp.now("UTC")


def _warned(response: requests.Response) -> tuple[str, ...]:
    if response.status_code != DEPRECATED:
        return ()
    host = urlsplit(response.url).netloc
    return (f"{host} says that this version of its service will end soon: update spraywindow",)


def _said(session: CachedSession) -> tuple[str, ...]:
    """What there is to say of the kept replies."""
    kept = session.cache
    assert isinstance(kept, KeptReplies)
    return kept.said()

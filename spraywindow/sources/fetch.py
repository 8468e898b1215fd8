"""Fetch a JSON document through the polite session, or the copy held while a service fails."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from email.utils import parsedate_to_datetime
from pathlib import Path
from sqlite3 import Error as SqliteError
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import pandas as pd
import requests

from spraywindow.errors import SourceError
from spraywindow.sources.reply import ServiceRefusal, refused, what_failed
from spraywindow.sources.session import DEPRECATED, cache_trouble

if TYPE_CHECKING:
    from requests_cache import CachedSession


@dataclass(frozen=True)
class Answer:
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
    max_stale_h: float = 6.0,
    service: str = "",
) -> tuple[Any, Answer]:
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
        try:
            response = session.get(url, **request)
            if response.from_cache and now - _confirmed(response, now) > limit:
                response = session.get(url, **request, force_refresh=True)
            if response.status_code not in session.settings.allowable_codes:
                raise refused(response, service)
            return response.json(), Answer(_confirmed(response, now), False, _warned(response))
        except (requests.RequestException, SourceError) as error:
            failure = (
                error
                if isinstance(error, ServiceRefusal)
                else SourceError(what_failed(error, service))
            )
            held = _held(session, url, request, limit)
            if held is None:
                raise failure from error
            fetched = _confirmed(held, now)
            age_h = (now - fetched) / pd.Timedelta(hours=1)
            if age_h > max_stale_h:
                raise SourceError(
                    f"{failure}; the copy held is {age_h:.0f} h old (at most {max_stale_h:g} h)"
                ) from error
            note = f"fetched {max(age_h, 0):.1f} h ago, no newer answer came ({failure})"
            return held.json(), Answer(fetched, True, (note,))
    except SqliteError as error:
        raise SourceError(cache_trouble(Path(session.cache.db_path).parent, error)) from error


def _held(session: CachedSession, url: str, request: dict[str, Any], limit: pd.Timedelta) -> Any:
    """Ask the cache alone for the last good copy (it answers 504 when it has none)."""
    # counted from the expiry, so nothing younger than the limit is missed; the age is judged later
    patience = f"only-if-cached,max-stale={int(limit.total_seconds()) + 10 * 365 * 86400}"
    headers = {**request["headers"], "Cache-Control": patience}
    response = session.get(url, params=request["params"], headers=headers)
    return response if response.status_code in session.settings.allowable_codes else None


def _confirmed(response: Any, now: pd.Timestamp) -> pd.Timestamp:
    """When the service last stood by this body: its first fetch, or the Date of a later 304."""
    created = pd.Timestamp(response.created_at).tz_convert("UTC")
    try:
        dated = pd.Timestamp(parsedate_to_datetime(response.headers["Date"]))
    except (KeyError, ValueError):
        return created
    if dated.tzinfo is None:
        return created
    return max(created, min(dated.tz_convert("UTC"), now))


def _warned(response: requests.Response) -> tuple[str, ...]:
    if response.status_code != DEPRECATED:
        return ()
    host = urlsplit(response.url).netloc
    return (f"{host} says that this version of its service will end soon: update spraywindow",)

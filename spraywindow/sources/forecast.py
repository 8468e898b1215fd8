"""The forecast for a place: by the service that serves it and allows paid work, or by name."""

from __future__ import annotations

from contextlib import nullcontext
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from spraywindow.errors import InputError
from spraywindow.place import Place

if TYPE_CHECKING:
    from requests_cache import CachedSession

SERVICES = ("nws", "metnorway", "openmeteo")

_US = ("US", "AS", "GU", "MP", "PR", "UM", "VI")
"""ISO 3166 codes of the United States and its islands."""


def default_service(place: Place) -> str:
    """Name the service that serves a place and allows paid work: "nws" or "metnorway".

    Parameters
    ----------
    place : Place

    Returns
    -------
    str
        "nws" where the time zone is one of the United States, "metnorway" elsewhere. Where a zone
        reaches past what the US service serves, the service itself says so (404).

    Examples
    --------
    >>> default_service(Place(43.65, -79.38, 76.0, "America/Toronto"))
    'metnorway'
    """
    return "nws" if place.timezone in _us_zones() else "metnorway"


def _us_zones() -> set[str]:
    """Names of time zones of the United States, old ones too, by the IANA database."""
    folder = files("tzdata") / "zoneinfo"
    table, rules = ((folder / name).read_text("utf-8") for name in ("zone.tab", "tzdata.zi"))
    rows = [line.split("\t") for line in table.splitlines() if not line.startswith("#")]
    current = {row[2]: row[0] in _US for row in rows}
    links = [line.split()[1:] for line in rules.splitlines() if line.startswith("L ")]
    old = {name for to, name in links if name not in current and current.get(to)}
    return old | {name for name, inside in current.items() if inside}


def named_services(text: str) -> list[str]:
    """Read the names of one service, or of two that stand side by side: "nws,metnorway".

    Raises
    ------
    InputError
        If one is unknown, or they are not one or two different ones.
    """
    names = [name.strip() for name in text.split(",")]
    unknown = [name for name in names if name not in SERVICES]
    if unknown:
        raise InputError("unknown service", expected=" or ".join(SERVICES), got=unknown[0])
    if len(names) > 2 or len(set(names)) < len(names):
        raise InputError(
            "not one service, nor two side by side", expected="such as nws,metnorway", got=text
        )
    return names


def get_forecast(
    place: Place,
    *,
    now: pd.Timestamp,
    service: str | None = None,
    cache_dir: Path | None = None,
    session: CachedSession | None = None,
    base_urls: dict[str, str] | None = None,
) -> pd.DataFrame:
    """Fetch the hourly forecast for a place.

    Parameters
    ----------
    place : Place
    now : pandas.Timestamp
        The time of asking, tz-aware.
    service : str, optional
        One of `SERVICES`; `default_service` by default. A named service is never replaced.
    cache_dir : pathlib.Path, optional
        Where replies are kept; see `spraywindow.sources.http.session.cache_folder`.
    session : CachedSession, optional
        An open session to use instead.
    base_urls : dict of str to str, optional
        Other addresses, by service.

    Returns
    -------
    pandas.DataFrame
        A checked weather table; ``attrs`` hold ``source``, ``forecast_from`` and ``notes``.

    Raises
    ------
    InputError
        If the service is unknown or `now` has no time zone.
    SourceError
        If no usable answer comes.
    """
    if service is not None and service not in SERVICES:
        raise InputError("unknown service", expected=" or ".join(SERVICES), got=service)
    if now.tzinfo is None:
        raise InputError("now has no time zone", expected="a tz-aware time", got=str(now))
    from spraywindow.sources.http import polite_session
    from spraywindow.sources.services import metnorway, nws, openmeteo

    now = now.tz_convert("UTC")
    urls = base_urls or {}
    chosen = service or default_service(place)
    with polite_session(cache_dir) if session is None else nullcontext(session) as http:
        if chosen == "openmeteo":
            return openmeteo.forecast(place, now=now, session=http, base_url=urls.get(chosen))
        if chosen == "nws":
            base = urls.get(chosen, nws.BASE_URL)
            try:
                return nws.forecast(place, now=now, session=http, base_url=base)
            except nws.OutsideServiceArea:
                if service is not None:
                    raise
        base = urls.get("metnorway", metnorway.BASE_URL)
        table = metnorway.forecast(place, now=now, session=http, base_url=base)
    if chosen == "nws":
        note = f"the {nws.SERVICE.name} does not serve this point: {metnorway.SERVICE.name} instead"
        table.attrs["notes"] = [*table.attrs["notes"], note]
    return table

"""The forecast for a place: by the service that serves it and allows paid work, or by name."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from spraywindow.errors import InputError, describe
from spraywindow.place import Place

if TYPE_CHECKING:
    from requests_cache import CachedSession

SERVICES = ("nws", "metnorway", "openmeteo")

# Coarse outlines (longitude, latitude), drawn by hand: wide at sea, close at the land borders.
# Where they are wrong, the service itself says so (404), or MET Norway serves the place as well.
_MAINLAND = (
    (-124.9, 48.4), (-123.5, 48.2), (-123.15, 48.35), (-123.2, 48.7), (-122.9, 49.0),
    (-95.2, 49.0), (-94.6, 48.7), (-92.0, 48.3), (-89.6, 48.0), (-88.4, 48.3), (-84.8, 46.7),
    (-84.4, 46.5), (-83.5, 45.9), (-82.5, 45.3), (-82.42, 43.0), (-82.45, 42.9), (-83.12, 42.2),
    (-82.7, 41.7), (-79.0, 42.7), (-78.91, 42.9), (-79.06, 43.25), (-79.2, 43.45), (-76.8, 43.63),
    (-76.4, 44.1), (-75.3, 44.85), (-74.7, 45.0), (-71.5, 45.0), (-71.1, 45.3), (-70.3, 45.9),
    (-70.0, 46.7), (-69.2, 47.45), (-68.3, 47.35), (-67.8, 47.05), (-67.8, 45.7), (-67.0, 44.8),
    (-66.9, 44.5), (-69.5, 41.0), (-74.0, 39.0), (-75.0, 35.0), (-80.0, 30.5), (-79.9, 26.8),
    (-80.0, 25.0), (-82.0, 24.3), (-83.2, 26.0), (-84.5, 29.3), (-89.0, 28.8), (-97.0, 27.0),
    (-97.1, 25.9), (-97.5, 25.88), (-99.1, 26.4), (-99.5, 27.5), (-100.3, 28.3), (-101.4, 29.77),
    (-102.3, 29.88), (-102.7, 29.7), (-103.15, 28.98), (-104.5, 29.6), (-105.0, 30.65),
    (-106.5, 31.77), (-108.2, 31.78), (-108.2, 31.33), (-111.07, 31.33), (-114.8, 32.5),
    (-114.72, 32.72), (-117.12, 32.535), (-117.6, 32.5), (-121.0, 34.0), (-122.2, 36.2),
    (-124.0, 38.5), (-124.8, 40.4),
)  # fmt: skip
_ALASKA = (
    (-141.0, 72.0), (-141.0, 60.3), (-139.0, 60.2), (-137.5, 58.9), (-136.5, 59.4),
    (-135.0, 59.75), (-133.4, 58.4), (-131.8, 56.6), (-130.0, 55.9), (-130.2, 55.0),
    (-131.0, 54.6), (-134.0, 54.4), (-138.0, 57.5), (-144.0, 59.5), (-152.0, 57.0),
    (-153.0, 56.0), (-160.0, 54.0), (-170.0, 51.5), (-180.0, 51.0), (-180.0, 54.0),
    (-173.0, 60.0), (-172.0, 64.0), (-168.7, 65.5), (-168.5, 72.0),
)  # fmt: skip


def _box(west: float, south: float, east: float, north: float) -> tuple[tuple[float, float], ...]:
    return ((west, south), (east, south), (east, north), (west, north))


_US = (
    _MAINLAND,
    _ALASKA,
    _box(-160.7, 18.7, -154.6, 22.5),  # Hawaii
    _box(-67.5, 17.6, -64.5, 18.6),  # Puerto Rico and the Virgin Islands
    _box(144.5, 13.1, 146.2, 15.4),  # Guam and Saipan
    _box(-171.0, -14.7, -169.3, -14.0),  # American Samoa
)


def default_service(place: Place) -> str:
    """Name the service that serves a place and allows paid work: "nws" or "metnorway".

    Parameters
    ----------
    place : Place

    Returns
    -------
    str
        "nws" inside coarse outlines of the United States, "metnorway" elsewhere.

    Examples
    --------
    >>> default_service(Place(43.65, -79.38, 76.0, "America/Toronto"))
    'metnorway'
    """
    inside = any(_inside(place.longitude, place.latitude, outline) for outline in _US)
    return "nws" if inside else "metnorway"


def _inside(x: float, y: float, outline: tuple[tuple[float, float], ...]) -> bool:
    """Even-odd rule: a ray to the east crosses the outline an odd number of times."""
    crossings = 0
    for (x1, y1), (x2, y2) in zip(outline, outline[1:] + outline[:1], strict=True):
        if (y1 > y) != (y2 > y) and x < x1 + (y - y1) * (x2 - x1) / (y2 - y1):
            crossings += 1
    return crossings % 2 == 1


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
        Where replies are kept; see `spraywindow.sources.session.cache_folder`.
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
        raise InputError(describe("unknown service", expected=" or ".join(SERVICES), got=service))
    if now.tzinfo is None:
        raise InputError(describe("now has no time zone", expected="a tz-aware time", got=str(now)))
    from spraywindow.sources import metnorway, nws, openmeteo
    from spraywindow.sources.session import polite_session

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

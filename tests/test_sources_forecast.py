"""Which service serves a place, and what happens when it does not."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from spraywindow.errors import InputError, SourceError
from spraywindow.place import Place
from spraywindow.sources import metnorway, nws, openmeteo
from spraywindow.sources.forecast import default_service, get_forecast
from spraywindow.sources.nws import OutsideServiceArea
from spraywindow.sources.session import polite_session
from tests import test_sources_metnorway, test_sources_nws, test_sources_openmeteo
from tests.loopback import Loopback, Reply

# Coordinates of towns to two decimals, from memory of any atlas.
INSIDE = {
    "Seattle": (47.61, -122.33), "Los Angeles": (34.05, -118.24), "San Diego": (32.72, -117.16),
    "El Paso": (31.78, -106.30), "Brownsville": (25.95, -97.45), "Key West": (24.56, -81.78),
    "Miami": (25.77, -80.19), "Boston": (42.36, -71.06), "Caribou": (46.86, -68.00),
    "Detroit": (42.35, -83.10), "Buffalo": (42.89, -78.85), "Duluth": (46.79, -92.10),
    "Anchorage": (61.22, -149.90), "Juneau": (58.30, -134.42), "Honolulu": (21.31, -157.86),
    "Hilo": (19.71, -155.08), "San Juan": (18.47, -66.11), "Fresno": (36.74, -119.78),
}  # fmt: skip
OUTSIDE = {
    "Toronto": (43.65, -79.38), "Vancouver": (49.28, -123.12), "Montreal": (45.50, -73.57),
    "Victoria": (48.43, -123.37), "Whitehorse": (60.72, -135.05), "Tijuana": (32.51, -117.02),
    "Mexicali": (32.62, -115.45), "Monterrey": (25.67, -100.31), "Hermosillo": (29.07, -110.96),
    "Havana": (23.11, -82.37), "Nassau": (25.05, -77.35), "Santo Domingo": (18.48, -69.90),
    "Halifax": (44.65, -63.57), "Athens": (37.98, 23.73), "Sydney": (-33.87, 151.21),
    "Cape Town": (-33.93, 18.42), "Santiago": (-33.45, -70.67), "mirror of Fresno": (36.7, 119.8),
}  # fmt: skip
FRESNO = Place(36.74, -119.78, 90, "America/Los_Angeles")
ATHENS = Place(37.98, 23.73, 100, "Europe/Athens")


@pytest.mark.parametrize("at", INSIDE.values(), ids=INSIDE)
def test_the_us_service_inside_the_us(at: tuple[float, float]) -> None:
    assert default_service(Place(*at, 0.0, "UTC")) == "nws"


@pytest.mark.parametrize("at", OUTSIDE.values(), ids=OUTSIDE)
def test_met_norway_elsewhere(at: tuple[float, float]) -> None:
    assert default_service(Place(*at, 0.0, "UTC")) == "metnorway"


def ask(
    tmp_path: Path, place: Place, service: str | None = None, points: Reply | None = None
) -> tuple[pd.DataFrame, list[str]]:
    """Ask one server that plays all three services."""
    now = pd.Timestamp.now("UTC")
    hour = now.floor("h")
    routes: Any = {
        "/us/points": [points or Reply(test_sources_nws.POINT)],
        "/us/gridpoints": [Reply(test_sources_nws.reply(hour))],
        "/met": [Reply(test_sources_metnorway.reply(hour))],
        "/om": [Reply(test_sources_openmeteo.reply(f"{hour:%Y-%m-%dT%H:%M}", 24))],
    }
    with Loopback(routes=routes) as server, polite_session(tmp_path, backoff_s=0.01) as http:
        urls = {"nws": "/us", "metnorway": "/met", "openmeteo": "/om"}
        out = get_forecast(
            place,
            now=now,
            service=service,
            session=http,
            base_urls={name: server.url + path for name, path in urls.items()},
        )
        return out, [a.path for a in server.asked]


def test_the_default_follows_the_place(tmp_path: Path) -> None:
    out, asked = ask(tmp_path, FRESNO)
    assert out.attrs["source"]["name"] == "US National Weather Service"
    assert len(asked) == 2
    out, asked = ask(tmp_path, ATHENS)
    assert out.attrs["source"]["name"] == "MET Norway"
    assert asked == ["/met/complete"]


@pytest.mark.parametrize(
    ("service", "name"), [("openmeteo", "Open-Meteo"), ("metnorway", "MET Norway")]
)
def test_a_named_service_is_taken(tmp_path: Path, service: str, name: str) -> None:
    out, _ = ask(tmp_path, FRESNO, service)
    assert out.attrs["source"]["name"] == name


def test_a_point_that_the_us_service_does_not_serve_goes_to_met_norway_and_is_told(
    tmp_path: Path,
) -> None:
    out, _ = ask(tmp_path, FRESNO, points=Reply({"title": "Invalid point"}, 404))
    assert out.attrs["source"]["name"] == "MET Norway"
    assert "does not serve this point" in out.attrs["notes"][-1]


def test_trouble_or_a_named_service_never_changes_the_service(tmp_path: Path) -> None:
    with pytest.raises(SourceError, match="503"):
        ask(tmp_path, FRESNO, points=Reply({"title": "Unavailable"}, 503))
    with pytest.raises(OutsideServiceArea, match="404"):
        ask(tmp_path, FRESNO, "nws", points=Reply({"title": "Invalid point"}, 404))


def test_wrong_arguments_are_told() -> None:
    now = pd.Timestamp("2026-01-10 12:00", tz="UTC")
    with pytest.raises(InputError, match="unknown service; expected nws or metnorway or openmeteo"):
        get_forecast(ATHENS, now=now, service="other")
    with pytest.raises(InputError, match="no time zone"):
        get_forecast(ATHENS, now=now.tz_localize(None))


def spoiled(node: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], Any]]:
    """Yield every way to lose or replace one node of a reply, with where it was."""
    keys = list(node) if isinstance(node, dict) else range(len(node))
    for key in keys:
        for other in (None, "x", [], {}, -1, True, [None], {"values": [None]}):
            yield (*path, key), other
        if isinstance(node[key], dict | list):
            yield from spoiled(node[key], (*path, key))


PARSERS: list[tuple[Callable[[Any], pd.DataFrame], Any]] = [
    (nws.parse, test_sources_nws.reply()),
    (metnorway.parse, test_sources_metnorway.reply()),
    (openmeteo.parse, test_sources_openmeteo.reply()),
]


@pytest.mark.parametrize(("parse", "payload"), PARSERS, ids=["nws", "metnorway", "openmeteo"])
def test_a_reply_with_any_one_node_replaced_is_read_or_refused_never_a_crash_nor_drier(
    parse: Callable[[Any], pd.DataFrame], payload: Any
) -> None:
    whole = parse(payload)
    for path, other in spoiled(payload):
        damaged = copy.deepcopy(payload)
        holder = damaged
        for key in path[:-1]:
            holder = holder[key]
        holder[path[-1]] = other
        try:
            out = parse(damaged)
        except SourceError:
            continue
        if other is None:  # what is taken away is never known better, nor dry
            dry = out.index[out["rain_mm"] == 0]
            assert (whole["rain_mm"].reindex(dry) == 0).all(), path

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
from spraywindow.sources.forecast import default_service, get_forecast
from spraywindow.sources.http.session import polite_session
from spraywindow.sources.services import metnorway, nws, openmeteo
from spraywindow.sources.services.nws import OutsideServiceArea
from tests.loopback import Loopback, Reply
from tests.sources.services import test_metnorway as test_sources_metnorway
from tests.sources.services import test_nws as test_sources_nws
from tests.sources.services import test_openmeteo as test_sources_openmeteo

# Names that a site file may give; those of the second line are old ones.
US_ZONES = (
    "America/Los_Angeles", "America/Boise", "America/Indiana/Knox", "America/Detroit",
    "US/Pacific", "America/Fort_Wayne", "Navajo", "America/Atka", "America/Virgin",
    "America/Anchorage", "Pacific/Honolulu", "America/Puerto_Rico", "Pacific/Guam",
)  # fmt: skip
OTHER_ZONES = (
    "America/Toronto", "America/Vancouver", "America/Tijuana", "America/Nassau", "America/Havana",
    "America/Creston",  # in Canada, though a link to Phoenix
    "Canada/Pacific", "Europe/Athens", "Australia/Sydney", "Africa/Johannesburg", "UTC",
)  # fmt: skip
FRESNO = Place(36.74, -119.78, 90, "America/Los_Angeles")
ATHENS = Place(37.98, 23.73, 100, "Europe/Athens")


@pytest.mark.parametrize("zone", US_ZONES)
def test_the_us_service_inside_the_us(zone: str) -> None:
    assert default_service(Place(36.74, -119.78, 0.0, zone)) == "nws"


@pytest.mark.parametrize("zone", OTHER_ZONES)
def test_met_norway_elsewhere(zone: str) -> None:
    assert default_service(Place(36.74, -119.78, 0.0, zone)) == "metnorway"


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

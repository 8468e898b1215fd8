"""US National Weather Service: merged values laid out, rain totals whole, stale grids refused."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import SourceError
from spraywindow.place import Place
from spraywindow.sources.http.session import polite_session
from spraywindow.sources.services import nws
from spraywindow.sources.services.nws import OutsideServiceArea
from spraywindow.spray.catalogue import COPPER, OIL
from spraywindow.spray.hours import score_hours
from tests.conftest import SHARED, needs_records
from tests.loopback import Loopback, Reply

SITE = Place(38.4, -122.71849, 50, "America/Los_Angeles")
START = pd.Timestamp("2026-01-10 00:00", tz="UTC")
FAR_AHEAD = "Fri, 31 Dec 9999 23:59:59 GMT"
POINT = {"properties": {"gridId": "MTR", "gridX": "85", "gridY": 106}}


def layer(uom: str, *values: tuple[int, str, Any], start: pd.Timestamp = START) -> dict[str, Any]:
    return {
        "uom": f"wmoUnit:{uom}",
        "values": [
            {"validTime": f"{(start + pd.Timedelta(hours=h)).isoformat()}/{d}", "value": v}
            for h, d, v in values
        ],
    }


def reply(start: pd.Timestamp = START, **layers: Any) -> dict[str, Any]:
    def made(uom: str, *values: tuple[int, str, Any]) -> dict[str, Any]:
        return layer(uom, *values, start=start)

    plain = {
        "updateTime": start.isoformat(),
        "temperature": made("degC", (0, "PT2H", 10.0), (2, "P1D", 12.0)),
        "dewpoint": made("degC", (0, "P1DT2H", 5)),
        "windSpeed": made("km_h-1", (0, "P1DT2H", 3.6)),
        "skyCover": made("percent", (0, "P1DT2H", 25)),
        "probabilityOfPrecipitation": made("percent", (0, "PT12H", 20)),
        "quantitativePrecipitation": made(
            "mm", (0, "PT1H", 0.5), (1, "PT6H", 3), (7, "PT6H", 0), (13, "PT3H", None)
        ),
    }
    return {"properties": {**plain, **layers}}


def nested(depth: int) -> Any:
    value: Any = "m"
    for _ in range(depth):
        value = [value]
    return value


@pytest.mark.parametrize("value", [nested(900), "x" * 100_000, "m/" * 50_000, 10**4000, {}])
@pytest.mark.parametrize(
    "change",
    [
        lambda properties, value: properties.update(updateTime=value),
        lambda properties, value: properties["windSpeed"].update(uom=value),
        lambda properties, value: properties["windSpeed"]["values"][0].update(validTime=value),
        lambda properties, value: properties["windSpeed"]["values"][0].update(value=value),
    ],
)
def test_what_an_odd_answer_holds_is_told_briefly(value: Any, change: Any) -> None:
    answer = reply()
    change(answer["properties"], value)
    with pytest.raises(SourceError) as caught:
        nws.parse(answer)
    assert len(str(caught.value)) < 1000


@pytest.mark.parametrize("value", [nested(900), "x" * 100_000, 10**4000])
def test_a_grid_square_that_is_none_is_told_briefly(value: Any, tmp_path: Path) -> None:
    point = {"properties": POINT["properties"] | {"gridX": value}}
    error, asked = served(tmp_path, START, Reply(point), Reply({}))
    assert "grid square" in str(error)
    assert len(str(error)) < 1000
    assert len(asked) == 1


def test_merged_values_are_laid_out_in_our_units() -> None:
    out = nws.parse(reply())
    assert len(out) == 26
    assert out["temp_c"].tolist() == [10.0] * 2 + [12.0] * 24
    assert np.allclose(out["wind_ms"], 1.0)
    assert np.allclose(out["cloud"], 0.25)
    assert np.allclose(out["rain_chance"].iloc[:12], 0.2)
    assert out["rain_chance"].iloc[12:].isna().all()
    assert out.attrs["issued"] == START


def test_rain_totals_are_never_repeated_and_rain_not_given_is_unknown() -> None:
    out = nws.parse(reply())
    assert out["rain_mm"].iloc[0] == 0.5
    assert out["rain_mm"].iloc[1:7].isna().all()
    assert out["rain_total_mm"].iloc[1:7].tolist() == [3.0] * 6
    assert out["rain_total_h"].iloc[1:7].tolist() == [6.0] * 6
    assert out["rain_total_hour"].iloc[1:7].tolist() == [0, 1, 2, 3, 4, 5]
    assert out["rain_mm"].iloc[7:13].tolist() == [0.0] * 6
    # null, and after the last total, which comes before the last temperature: not dry
    assert out[["rain_mm", "rain_total_mm"]].iloc[13:].isna().all(axis=None)


def test_a_missing_rain_layer_is_unknown_and_optional_layers_are_left_out() -> None:
    empties: list[Any] = [{}, None, {"values": []}]
    for empty in empties:
        out = nws.parse(reply(quantitativePrecipitation=empty, skyCover=empty))
        assert out["rain_mm"].isna().all()
        assert "cloud" not in out
        assert "gust_ms" not in out


def test_a_hole_in_a_layer_is_unknown() -> None:
    out = nws.parse(reply(temperature=layer("degC", (0, "PT1H", 1), (3, "PT1H", None))))
    assert out["temp_c"].iloc[0] == 1
    assert out["temp_c"].iloc[1:].isna().all()


def test_intervals_that_contradict_each_other_leave_their_hours_unknown() -> None:
    twice = layer("degC", (0, "PT6H", 10), (4, "PT4H", 12), (8, "PT2H", 9), (8, "PT2H", 9))
    dry_first = layer("mm", (0, "PT6H", 0), (0, "PT6H", 3), (6, "PT1H", 0), (6, "PT6H", 0.4))
    out = nws.parse(reply(temperature=twice, quantitativePrecipitation=dry_first))
    assert out["temp_c"].iloc[:4].tolist() == [10] * 4
    assert out["temp_c"].iloc[4:6].isna().all()
    assert out["temp_c"].iloc[6:10].tolist() == [12, 12, 9, 9]  # the same thing twice is one thing
    assert out[["rain_mm", "rain_total_mm"]].iloc[:12].isna().all(axis=None)
    assert out.attrs["notes"] == [
        "temperature: 2 hours are told more than one thing and are unknown",
        "quantitativePrecipitation: 12 hours are told more than one thing and are unknown",
    ]


def test_an_interval_that_is_not_of_whole_hours_tells_nothing() -> None:
    half = layer("mm", (0, "PT1H", 0.0), start=START + pd.Timedelta(minutes=30))
    assert nws.parse(reply(quantitativePrecipitation=half))["rain_mm"].isna().all()
    short = layer("mm", (0, "PT90M", 0.0))
    assert nws.parse(reply(quantitativePrecipitation=short))["rain_mm"].isna().all()


def test_units_are_read_not_assumed() -> None:
    fahrenheit = layer("degF", (0, "PT2H", 50))
    assert nws.parse(reply(temperature=fahrenheit))["temp_c"].iloc[0] == pytest.approx(10)
    with pytest.raises(SourceError, match="temperature comes in 'wmoUnit:mm'"):
        nws.parse(reply(temperature=layer("mm", (0, "PT2H", 50))))
    with pytest.raises(SourceError, match="windSpeed comes in None"):
        nws.parse(reply(windSpeed={"values": layer("m", (0, "PT2H", 1))["values"]}))


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        ({}, "no properties"),
        ([], "no properties"),
        ({"properties": {"temperature": {}}}, "no properties.updateTime|no updateTime"),
        ({"properties": {"updateTime": START.isoformat()}}, "no layers"),
        (reply(updateTime="2026-01-10T00:00:00"), "not a time"),
        (reply(updateTime="soon"), "not a time"),
        (reply(temperature=layer("degC", (0, "PT2H", "warm"))), "not a list of numbers"),
        (reply(temperature=layer("degC", (0, "", 1))), "validTime"),
        (reply(temperature=layer("degC", (0, "soon", 1))), "validTime"),
        (reply(temperature=layer("degC", (0, "P900D", 1))), "validTime"),
        (reply(temperature={"uom": "wmoUnit:degC", "values": [1]}), "not a list of intervals"),
        (reply(temperature={"uom": "wmoUnit:degC", "values": {"a": 1}}), "not a list of intervals"),
        (reply(temperature=layer("degC", (99_999, "PT1H", 1))), "spans too long"),
        (reply(temperature=[1]), "not a list of intervals"),
    ],
)
def test_a_reply_that_breaks_the_contract_is_refused(payload: Any, words: str) -> None:
    with pytest.raises(SourceError, match=words):
        nws.parse(payload)


def served(tmp_path: Path, now: pd.Timestamp, points: Reply, grid: Reply) -> Any:
    routes: Any = {"/points": [points], "/gridpoints": [grid]}
    with Loopback(routes=routes) as server, polite_session(tmp_path, backoff_s=0.01) as http:
        try:
            return nws.forecast(SITE, now=now, session=http, base_url=server.url), server.asked
        except SourceError as error:
            return error, server.asked


def test_fetches_the_square_then_its_layers(tmp_path: Path) -> None:
    now = pd.Timestamp.now("UTC")
    out, asked = served(tmp_path, now, Reply(POINT), Reply(reply(now.floor("h"))))
    assert [a.path for a in asked] == ["/points/38.4,-122.7185", "/gridpoints/MTR/85,106"]
    assert {a.headers["accept"] for a in asked} == {"application/geo+json"}
    assert out.attrs["forecast_from"] == out.index[0] == now.floor("h")
    assert out.attrs["source"]["issued"] == now.floor("h")
    assert "public domain" in out.attrs["source"]["credit"]


def test_a_stale_200_is_noted_and_past_a_day_refused(tmp_path: Path) -> None:
    now = pd.Timestamp.now("UTC")
    for age_h, words in ((7, "issued 7 h ago"), (25, "too old")):
        start = (now - pd.Timedelta(hours=age_h)).ceil("s")
        grid = reply(now.floor("h") - pd.Timedelta(hours=1), updateTime=start.isoformat())
        out, _ = served(tmp_path / str(age_h), now, Reply(POINT), Reply(grid))
        assert words in (str(out) if isinstance(out, SourceError) else out.attrs["notes"][0])


def test_a_kept_forecast_that_is_too_old_is_asked_for_once_more(tmp_path: Path) -> None:
    now = pd.Timestamp.now("UTC")
    issued = (now - pd.Timedelta(hours=22)).ceil("s").isoformat()
    aged = reply(now.floor("h") - pd.Timedelta(hours=1), updateTime=issued)
    old = Reply(aged, headers={"Expires": FAR_AHEAD})
    new = Reply(reply(now.floor("h")))
    routes: Any = {"/points": [Reply(POINT)], "/gridpoints": [old, new]}
    with Loopback(routes=routes) as server, polite_session(tmp_path, backoff_s=0.01) as http:
        kept = nws.forecast(SITE, now=now, session=http, base_url=server.url)
        assert "issued 22 h ago" in kept.attrs["notes"][0]
        later = now + pd.Timedelta(hours=3)
        out = nws.forecast(SITE, now=later, session=http, base_url=server.url)
        assert out.attrs["source"]["issued"] == now.floor("h")
        assert [a.path.split("/")[1] for a in server.asked] == [
            "points", "gridpoints", "gridpoints",
        ]  # fmt: skip


def test_a_point_outside_is_told_apart_from_trouble(tmp_path: Path) -> None:
    # problem documents as quoted in public issue threads of the service
    problem = {
        "title": "Data Unavailable For Requested Point",
        "type": "https://api.weather.gov/problems/InvalidPoint",
        "status": 404,
        "detail": "Unable to provide data for requested point 90,120.5517605",
    }
    now = pd.Timestamp.now("UTC")
    out, _ = served(tmp_path, now, Reply(problem, 404), Reply())
    assert isinstance(out, OutsideServiceArea)
    assert "Unable to provide data" in str(out)
    expired = {"title": "Forecast Grid Expired", "status": 503, "detail": "has expired."}
    for points, grid in (
        (Reply(expired, 503), Reply()),
        (Reply(POINT), Reply(expired, 503)),
        (Reply(POINT), Reply(problem, 404)),
    ):
        out, _ = served(tmp_path, now, points, grid)
        assert isinstance(out, SourceError)
        assert not isinstance(out, OutsideServiceArea)


def test_a_grid_square_that_is_none_is_never_asked_for(tmp_path: Path) -> None:
    odd = Reply({"properties": {**POINT["properties"], "gridId": "../x"}})
    out, asked = served(tmp_path, pd.Timestamp.now("UTC"), odd, Reply())
    assert "grid square" in str(out)
    assert len(asked) == 1


def test_the_square_of_a_point_may_be_old_its_layers_not(tmp_path: Path) -> None:
    now = pd.Timestamp.now("UTC")
    past = {"Expires": "Wed, 25 Nov 2020 02:00:00 GMT", "Last-Modified": "x"}
    down = Reply(status=503)
    layers = Reply(reply(now.floor("h")), headers=past)
    routes: Any = {
        "/points": [Reply(POINT, headers=past), down],
        "/gridpoints": [layers, layers, down],
    }
    with Loopback(routes=routes) as server, polite_session(tmp_path, backoff_s=0.01) as http:
        for age_h in (0, 8):
            later = now + pd.Timedelta(hours=age_h)
            nws.forecast(SITE, now=later, session=http, base_url=server.url)
        with pytest.raises(SourceError, match=r"503.*8 h old"):
            nws.forecast(
                SITE, now=later + pd.Timedelta(minutes=1), session=http, base_url=server.url
            )


@needs_records
def test_recorded_gridpoint() -> None:
    path = SHARED / "payloads" / "nws" / "pynws_gridpoint_TAE_58_65_2022-02-04.json"
    payload = json.loads(path.read_text("utf-8"))
    out = nws.parse(payload)
    raw = payload["properties"]
    assert out.loc["2022-02-03 21:00+00:00", "temp_c"] == raw["temperature"]["values"][0]["value"]
    # 2022-02-04T06:00/PT6H is 2.032 mm in the reply
    wet = out.loc["2022-02-04 06:00+00:00":"2022-02-04 11:00+00:00"]
    assert wet["rain_mm"].isna().all()
    assert wet["rain_total_mm"].tolist() == [2.032] * 6
    # the last rain total ends at 2022-02-10T12:00, temperatures go on for 23 h
    after = out.loc["2022-02-10 12:00+00:00":]
    assert after["rain_mm"].isna().all()
    assert after["rain_total_mm"].isna().all()
    assert after["temp_c"].notna().sum() == 23
    given = sum(v["value"] for v in raw["quantitativePrecipitation"]["values"])
    laid = (out["rain_total_mm"] / out["rain_total_h"]).sum() + out["rain_mm"].sum()
    assert laid == pytest.approx(given)
    assert out["wind_ms"].iloc[0] == pytest.approx(20.372 / 3.6)


@needs_records
@pytest.mark.parametrize("name", ["pynws_points", "magicmirror_points_2026"])
def test_recorded_points_lead_to_their_grid(tmp_path: Path, name: str) -> None:
    point = json.loads((SHARED / "payloads" / "nws" / f"{name}.json").read_text("utf-8"))
    now = pd.Timestamp.now("UTC")
    _, asked = served(tmp_path, now, Reply(point), Reply(reply(now.floor("h"))))
    assert point["properties"]["forecastGridData"].endswith(asked[1].path)


@needs_records
@pytest.mark.parametrize("first", [True, False])
@pytest.mark.parametrize(
    ("name", "value"),
    [(nws.RAIN, 0.0), ("temperature", 12.0), ("dewpoint", 2.0), ("windSpeed", 9.0),
     ("windGust", 12.0), ("skyCover", 80.0), ("probabilityOfPrecipitation", 0.0)],
)  # fmt: skip
def test_a_second_kinder_word_on_an_interval_makes_no_hour_go(
    name: str, value: float, first: bool
) -> None:
    path = SHARED / "payloads" / "nws" / "pynws_gridpoint_TAE_58_65_2022-02-04.json"
    payload = json.loads(path.read_text("utf-8"))
    place = Place(30.4, -84.3, 50, "America/New_York")

    def go_hours() -> dict[str, pd.Series]:
        table = nws.parse(payload)
        table.attrs = {}
        return {m.name: score_hours(table, place, m, 0)["go"] for m in (COPPER, OIL)}

    before = go_hours()
    layer = payload["properties"][name]
    layer["values"] = [
        entry
        for told in layer["values"]
        for entry in (
            [{**told, "value": value}, told] if first else [told, {**told, "value": value}]
        )
    ]
    for material, after in go_hours().items():
        assert before[material].any()
        assert not (after & ~before[material].reindex(after.index)).any(), material

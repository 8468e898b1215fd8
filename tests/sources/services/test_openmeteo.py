"""Open-Meteo: units asserted, "undefined" unknown, hour-ending values moved to the start once."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import SourceError
from spraywindow.place import Place
from spraywindow.sources.http.session import polite_session
from spraywindow.sources.services import openmeteo
from tests.conftest import SHARED, needs_records
from tests.loopback import Loopback, Reply

PAYLOADS = SHARED / "payloads" / "open-meteo"
SITE = Place(39.123456, 22.5, 120.4, "Europe/Athens")
UNITS = {
    "time": "iso8601",
    "temperature_2m": "°C",
    "dew_point_2m": "°C",
    "wind_speed_10m": "m/s",
    "precipitation": "mm",
    "wind_gusts_10m": "m/s",
    "wind_direction_10m": "°",
    "precipitation_probability": "%",
    "cloud_cover": "%",
    "shortwave_radiation": "W/m²",
    "surface_pressure": "hPa",
}


def reply(start: str = "2026-01-10T00:00", hours: int = 6) -> dict[str, Any]:
    """Every value is the hour of its stamp, so that a shift is seen."""
    times = pd.date_range(start, periods=hours, freq="h")
    count: list[float | None] = [float(n % 24) for n in range(hours)]
    hourly: dict[str, list[Any]] = {name: list(count) for name in UNITS}
    hourly["dew_point_2m"] = [-1.0] * hours
    hourly["surface_pressure"] = [1000.0] * hours
    hourly["time"] = [f"{t:%Y-%m-%dT%H:%M}" for t in times]
    return {"utc_offset_seconds": 0, "hourly_units": dict(UNITS), "hourly": hourly}


def test_hour_ending_values_move_to_the_start_and_instants_stay() -> None:
    # Open-Meteo documentation, "Valid time": Instant, or Preceding hour sum/mean/max
    out = openmeteo.parse(reply())
    assert out.index[0] == pd.Timestamp("2026-01-10 00:00", tz="UTC")
    for instant in ("temp_c", "wind_ms", "wind_from_deg"):
        assert out[instant].tolist() == [0, 1, 2, 3, 4, 5]
    assert np.allclose(out["cloud"], np.arange(6) / 100)
    for moved in ("rain_mm", "gust_ms", "solar_wm2"):
        assert out[moved].tolist()[:-1] == [1, 2, 3, 4, 5]
        assert np.isnan(out[moved].iloc[-1])  # its hour ends after the last stamp
    assert np.allclose(out["rain_chance"].iloc[:-1], np.arange(1, 6) / 100)


def test_where_a_stamp_lacks_the_hours_after_it_keep_their_own_values() -> None:
    whole = openmeteo.parse(reply())
    payload = reply()
    for values in payload["hourly"].values():
        del values[3]
    out = openmeteo.parse(payload)
    assert out.index.equals(whole.index)
    for moved in ("rain_mm", "gust_ms", "solar_wm2", "rain_chance"):
        assert np.isnan(out[moved].iloc[2])  # it was told by the stamp that lacks: not dry
        kept = [0, 1, 3, 4]
        assert out[moved].iloc[kept].tolist() == whole[moved].iloc[kept].tolist()
    assert out["temp_c"].tolist()[:3] == [0, 1, 2]
    assert np.isnan(out["temp_c"].iloc[3])


def test_undefined_and_nulls_are_unknown() -> None:
    payload = reply()
    payload["hourly_units"]["precipitation"] = "undefined"
    payload["hourly"]["precipitation"] = [0.0] * 6
    payload["hourly"]["temperature_2m"][2] = None
    out = openmeteo.parse(payload)
    assert out["rain_mm"].isna().all()
    assert np.isnan(out["temp_c"].iloc[2])
    assert out["temp_c"].notna().sum() == 5


def test_an_absent_required_variable_is_unknown_an_optional_one_left_out() -> None:
    payload = reply()
    del payload["hourly"]["precipitation"], payload["hourly"]["wind_gusts_10m"]
    out = openmeteo.parse(payload)
    assert out["rain_mm"].isna().all()
    assert "gust_ms" not in out


def test_units_are_read_not_assumed() -> None:
    payload = reply()
    payload["hourly_units"]["wind_speed_10m"] = "km/h"
    assert openmeteo.parse(payload)["wind_ms"].iloc[5] == pytest.approx(5 / 3.6)


def broken(change: str) -> Any:
    payload = reply()
    match change:
        case "no hourly":
            del payload["hourly"]
        case "null hourly":
            payload["hourly"] = None
        case "no units":
            del payload["hourly_units"]
        case "unit of another kind":
            payload["hourly_units"]["precipitation"] = "°C"
        case "no unit":
            del payload["hourly_units"]["precipitation"]
        case "local times":
            payload["utc_offset_seconds"] = 7200
        case "no offset":
            del payload["utc_offset_seconds"]
        case "unix times":
            payload["hourly_units"]["time"] = "unixtime"
        case "short column":
            payload["hourly"]["temperature_2m"].pop()
        case "text":
            payload["hourly"]["temperature_2m"][0] = "warm"
        case "not a time":
            payload["hourly"]["time"][0] = "noon"
        case "no time":
            payload["hourly"]["time"][0] = ""
        case "NaT":
            payload["hourly"]["time"][0] = "NaT"
        case "another year":
            payload["hourly"]["time"][-1] = "9999-12-31T00:00"
        case "half hour":
            payload["hourly"]["time"][-1] = "2026-01-10T05:30"
        case "order":
            payload["hourly"]["time"].reverse()
        case "no hour":
            payload["hourly"]["time"] = []
        case "huge number":
            payload["hourly"]["temperature_2m"][0] = 10**400
        case "two places":
            return [payload, copy.deepcopy(payload)]
        case "empty list":
            return []
    return payload


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("no hourly", "no hourly"),
        ("null hourly", "no hourly"),
        ("no units", "no hourly_units"),
        ("unit of another kind", "precipitation comes in '°C'"),
        ("no unit", "precipitation comes in None"),
        ("local times", "not UTC"),
        ("no offset", "not UTC"),
        ("unix times", "ISO 8601"),
        ("short column", "5 values for 6 hours"),
        ("text", "temperature_2m is not a list of numbers"),
        ("not a time", "not a time"),
        ("no time", "not a time"),
        ("NaT", "not a time"),
        ("another year", "not a time|spans too long"),
        ("half hour", "not on an hour"),
        ("order", "out of order"),
        ("no hour", "holds no hour"),
        ("huge number", "temperature_2m is not a list of numbers"),
        ("two places", "2 places"),
        ("empty list", "0 places"),
    ],
)
def test_a_reply_that_breaks_the_contract_is_refused(change: str, words: str) -> None:
    with pytest.raises(SourceError, match=words):
        openmeteo.parse(broken(change))


@pytest.mark.parametrize(("key", "host_key"), [(None, None), ("k3y", "k3y")])
def test_fetches_with_the_two_days_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, key: str | None, host_key: str | None
) -> None:
    monkeypatch.delenv("SPRAYWINDOW_OPENMETEO_KEY", raising=False)
    if key:
        monkeypatch.setenv("SPRAYWINDOW_OPENMETEO_KEY", key)
    now = pd.Timestamp.now("UTC")
    first = (now - pd.Timedelta(days=2)).floor("D")
    with (
        Loopback(Reply(reply(f"{first:%Y-%m-%dT%H:%M}", 100))) as server,
        polite_session(tmp_path) as http,
    ):
        out = openmeteo.forecast(SITE, now=now, session=http, base_url=server.url)
        query = server.asked[0].query
    assert query["timezone"] == "GMT"
    assert query["wind_speed_unit"] == "ms"
    assert (query["latitude"], query["elevation"]) == ("39.1235", "120")
    assert (query["past_days"], query["forecast_days"]) == ("2", "10")
    assert query.get("apikey") == host_key
    assert out.index[0] == first
    assert out.attrs["forecast_from"] == now.floor("h")
    assert out.attrs["source"]["issued"] is None
    assert "CC BY 4.0" in out.attrs["source"]["credit"]


@pytest.mark.parametrize(
    ("off_h", "words"),
    [(-30, "fetched after the time asked for"), (30, "too old.*fetched in the last 6 h.*clock")],
)
def test_an_answer_of_another_time_is_refused(tmp_path: Path, off_h: int, words: str) -> None:
    # the reply names no time of issue: the Date of the service stands against a wrong clock
    now = pd.Timestamp.now("UTC")
    wrong = now + pd.Timedelta(hours=off_h)
    first = (now - pd.Timedelta(days=2)).floor("D")
    with (
        Loopback(Reply(reply(f"{first:%Y-%m-%dT%H:%M}", 288))) as server,
        polite_session(tmp_path) as http,
        pytest.raises(SourceError, match=words),
    ):
        openmeteo.forecast(SITE, now=wrong, session=http, base_url=server.url)


def test_a_key_goes_to_the_customers_address(monkeypatch: pytest.MonkeyPatch) -> None:
    called: list[tuple[str, dict[str, Any]]] = []

    def spy(session: object, url: str, params: dict[str, Any], **_: object) -> None:
        called.append((url, params))
        raise SourceError("enough")

    monkeypatch.delenv("SPRAYWINDOW_OPENMETEO_KEY", raising=False)
    monkeypatch.setattr(openmeteo, "get_json", spy)
    for key in (None, "k3y"):
        with pytest.raises(SourceError, match="enough"):
            openmeteo.forecast(SITE, now=pd.Timestamp.now("UTC"), session=None, api_key=key)  # type: ignore[arg-type]  # never used
    assert called[0][0] == "https://api.open-meteo.com/v1/forecast"
    assert "apikey" not in called[0][1]
    assert called[1][0] == "https://customer-api.open-meteo.com/v1/forecast"
    assert called[1][1]["apikey"] == "k3y"


@needs_records
def test_recorded_week() -> None:
    payload = json.loads(
        (PAYLOADS / "magicmirror_forecast_7d_iso8601_2026-02-06.json").read_text("utf-8")
    )
    with pytest.raises(SourceError, match="not UTC"):  # recorded in New York's time
        openmeteo.parse(payload)
    out = openmeteo.parse({**payload, "utc_offset_seconds": 0})
    raw = payload["hourly"]
    assert len(out) == 168
    assert out["rain_mm"].sum() == pytest.approx(sum(raw["precipitation"][1:]))
    wet = int(np.argmax(raw["precipitation"]))
    assert out["rain_mm"].iloc[wet - 1] == raw["precipitation"][wet]
    assert out["temp_c"].iloc[wet] == raw["temperature_2m"][wet]
    assert out["wind_ms"].iloc[1] == pytest.approx(raw["wind_speed_10m"][1] / 3.6)
    assert out["dew_point_c"].isna().all()  # was not asked there


@needs_records
@pytest.mark.parametrize(
    "name", ["magicmirror_forecast_7d_unixtime_2026-02-07", "pom_historical_forecast"]
)
def test_recorded_replies_in_local_or_unix_time_are_refused(name: str) -> None:
    payload = json.loads((PAYLOADS / f"{name}.json").read_text("utf-8"))
    with pytest.raises(SourceError, match=r"UTC|ISO"):
        openmeteo.parse(payload)


@needs_records
def test_recorded_units_are_all_known() -> None:
    payload = json.loads((PAYLOADS / "pom_forecast_trimmed.json").read_text("utf-8"))
    out = openmeteo.parse({**payload, "utc_offset_seconds": 0})
    assert out["cloud"].tolist() == pytest.approx([0.01, 0.48, 0.47])
    assert out["gust_ms"].iloc[0] == pytest.approx(14.0 / 3.6)
    assert out["pressure_hpa"].iloc[0] == 1027.9

"""MET Norway: hours as they come, six-hour steps with their extremes, totals whole."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraywindow.errors import SourceError
from spraywindow.place import Place
from spraywindow.sources.http.session import polite_session
from spraywindow.sources.services import metnorway
from tests.conftest import SHARED, needs_records
from tests.loopback import Loopback, Reply

PAYLOADS = SHARED / "payloads" / "met-norway"
SITE = Place(-33.123456, 19.5, 250.4, "Africa/Johannesburg")
START = pd.Timestamp("2026-07-10 00:00", tz="UTC")
UNITS = {
    "air_temperature": "celsius",
    "air_temperature_max": "celsius",
    "air_temperature_min": "celsius",
    "dew_point_temperature": "celsius",
    "wind_speed": "m/s",
    "wind_from_direction": "degrees",
    "cloud_area_fraction": "%",
    "precipitation_amount": "mm",
}


def step(at: pd.Timestamp, temp_c: float, **periods: Any) -> dict[str, Any]:
    details = {
        "air_temperature": temp_c,
        "dew_point_temperature": temp_c - 4,
        "wind_speed": 2.0,
        "wind_from_direction": 350.0,
        "cloud_area_fraction": 50.0,
        "air_pressure_at_sea_level": 1015.0,
    }
    data = {"instant": {"details": details}}
    return {
        "time": f"{at:%Y-%m-%dT%H:%M:%SZ}",
        "data": data | {key: {"details": value} for key, value in periods.items()},
    }


def reply(start: pd.Timestamp = START) -> dict[str, Any]:
    """Hours 0, 1, 2; steps of six hours at 3, 9, 15; the last has instants only."""

    def at(hour: int) -> pd.Timestamp:
        return start + pd.Timedelta(hours=hour)

    def six(mm: float, low: float, high: float) -> dict[str, float]:
        return {
            "precipitation_amount": mm, "air_temperature_min": low, "air_temperature_max": high,
        }  # fmt: skip

    steps = [
        step(at(0), 9.0, next_1_hours={"precipitation_amount": 0.2}, next_6_hours=six(2.8, 0, 9)),
        step(at(1), 8.0, next_1_hours={"precipitation_amount": 0.0}),
        step(at(2), 7.0, next_1_hours={"precipitation_amount": 0.1}),
        step(at(3), 6.0, next_6_hours=six(2.5, 0.5, 5.5)),
        step(at(9), 12.0, next_6_hours=six(0.0, 11.0, 15.0)),
        step(at(15), 12.0),
    ]
    steps[4]["data"]["instant"]["details"]["wind_from_direction"] = 20.0
    meta = {"updated_at": f"{start:%Y-%m-%dT%H:%M:%SZ}", "units": dict(UNITS)}
    return {"properties": {"meta": meta, "timeseries": steps}}


def steps_of(payload: dict[str, Any]) -> list[dict[str, Any]]:
    steps: list[dict[str, Any]] = payload["properties"]["timeseries"]
    return steps


def test_the_table_begins_at_the_present_hour_and_nothing_is_shifted() -> None:
    out = metnorway.parse(reply())
    assert out.index[0] == START
    assert len(out) == 16
    assert out["temp_c"].iloc[:4].tolist() == [9, 8, 7, 6]
    assert out["rain_mm"].iloc[:3].tolist() == [0.2, 0.0, 0.1]  # of the hour that starts here
    assert "pressure_hpa" not in out  # theirs is at sea level
    assert out.attrs["issued"] == START


def hourly(count: int = 12, six: float = 0.0) -> dict[str, Any]:
    """So many hours without rain, each with a total of the six hours from it on."""
    steps = [
        step(START + pd.Timedelta(hours=hour), 8.0, next_1_hours={"precipitation_amount": 0.0},
             next_6_hours={"precipitation_amount": six if hour == 2 else 0.0})
        for hour in range(count)
    ]  # fmt: skip
    return reply() | {"properties": reply()["properties"] | {"timeseries": steps}}


def test_a_step_that_lacks_leaves_its_hour_unknown() -> None:
    whole, gone = hourly(), hourly()
    del steps_of(gone)[4]
    out = metnorway.parse(gone)
    assert metnorway.parse(whole)["wind_ms"].notna().all()
    assert out.index[out["wind_ms"].isna()] == out.index[4]


def test_an_hour_that_is_not_told_explains_no_total_of_more_than_its_hours() -> None:
    whole, gone = hourly(six=1.1), hourly(six=1.1)
    del steps_of(gone)[3]["data"]["next_1_hours"]
    hidden = metnorway.parse(whole)["rain_mm"].isna()
    assert hidden.tolist() == [False] * 2 + [True] * 6 + [False] * 4
    assert metnorway.parse(gone)["rain_mm"][hidden].isna().all()
    del steps_of(whole)[2]["data"]["next_6_hours"]  # nor is a total that lacks among others one
    assert metnorway.parse(whole)["rain_mm"][hidden].isna().all()


TENTHS = st.sampled_from([0.0, 0.0, 0.1, 0.5, 1.0])


@given(st.lists(st.tuples(TENTHS, TENTHS), min_size=18, max_size=18), st.integers(0, 12))
def test_a_total_of_six_hours_that_goes_makes_no_hour_drier(
    told: list[tuple[float, float]], gone: int
) -> None:
    whole = hourly(18)
    for hour, (mm, more) in enumerate(told):
        six = round(sum(mm for mm, _ in told[hour : hour + 6]) + more, 1)
        steps_of(whole)[hour]["data"] |= {
            "next_1_hours": {"details": {"precipitation_amount": mm}},
            "next_6_hours": {"details": {"precipitation_amount": six} if hour < 13 else {}},
        }
    less = copy.deepcopy(whole)
    steps_of(less)[gone]["data"]["next_6_hours"] = {}

    def most(payload: Any) -> pd.Series[float]:
        out = metnorway.parse(payload)
        return out["rain_mm"].fillna(out["rain_total_mm"]).fillna(np.inf)

    assert (most(less) >= most(whole)).all()


def test_six_hour_totals_stay_whole_and_are_never_read_as_dry() -> None:
    out = metnorway.parse(reply())
    assert out["rain_mm"].iloc[3:9].isna().all()
    assert out["rain_total_mm"].iloc[3:9].tolist() == [2.5] * 6
    assert out["rain_total_hour"].iloc[3:9].tolist() == [0, 1, 2, 3, 4, 5]
    assert out["rain_mm"].iloc[9:15].tolist() == [0.0] * 6  # a zero settles its hours
    assert out[["rain_mm", "rain_total_mm"]].iloc[15].isna().all()  # instants only
    assert out["rain_total_mm"].iloc[:3].isna().all()  # hours are told finer


def test_instants_are_interpolated_over_one_step_with_its_extremes_beside() -> None:
    out = metnorway.parse(reply())
    assert out["temp_c"].iloc[3:10].tolist() == pytest.approx([6, 7, 8, 9, 10, 11, 12])
    assert out["temp_min_c"].iloc[3:9].tolist() == [0.5] * 6
    # 5.5 is the maximum that the service gives, but the stamp itself says 6 and then more
    assert out["temp_max_c"].iloc[3:9].tolist() == pytest.approx([6, 7, 8, 9, 10, 11])
    assert out[["temp_min_c", "temp_max_c"]].iloc[:3].isna().all(axis=None)
    assert out["wind_from_deg"].iloc[3:10].tolist() == pytest.approx([350, 355, 0, 5, 10, 15, 20])


def test_a_stamp_below_the_minimum_of_its_step_widens_it() -> None:
    payload = reply()
    steps_of(payload)[3]["data"]["next_6_hours"]["details"]["air_temperature_min"] = 6.5
    out = metnorway.parse(payload)
    assert out["temp_min_c"].iloc[3:9].tolist() == [6.0, 6.5, 6.5, 6.5, 6.5, 6.5]


def test_without_extremes_the_temperature_within_a_long_step_is_unknown() -> None:
    payload = reply()
    del steps_of(payload)[3]["data"]["next_6_hours"]["details"]["air_temperature_min"]
    out = metnorway.parse(payload)
    # other steps have theirs: what goes on in the hour after the stamp was not told this time
    assert out["temp_c"].iloc[3:9].isna().all()
    assert out["temp_max_c"].iloc[3:9].isna().all()
    del steps_of(payload)[4]["data"]["next_6_hours"]["details"]["air_temperature_min"]
    out = metnorway.parse(payload)
    assert (out["temp_c"].iloc[3], out["temp_c"].iloc[9]) == (6, 12)  # as in "compact"
    assert out["temp_c"].iloc[4:9].isna().all()


def test_nothing_is_interpolated_over_a_step_that_is_missing_or_null() -> None:
    payload = reply()
    steps_of(payload).pop(4)
    out = metnorway.parse(payload)
    assert out[["temp_c", "dew_point_c", "wind_ms", "cloud"]].iloc[4:15].isna().all(axis=None)
    assert out["temp_min_c"].iloc[3:15].isna().all()
    assert out["rain_mm"].iloc[9:].isna().all()
    payload = reply()
    steps_of(payload)[4]["data"]["instant"]["details"]["air_temperature"] = None
    assert metnorway.parse(payload)["temp_c"].iloc[4:15].isna().all()


def test_an_hour_without_its_total_is_unknown() -> None:
    payload = reply()
    del steps_of(payload)[1]["data"]["next_1_hours"]
    assert np.isnan(metnorway.parse(payload)["rain_mm"].iloc[1])


def test_gusts_are_read_where_the_region_has_them() -> None:
    payload = reply()
    assert "gust_ms" not in metnorway.parse(payload)
    payload["properties"]["meta"]["units"]["wind_speed_of_gust"] = "m/s"
    steps_of(payload)[0]["data"]["instant"]["details"]["wind_speed_of_gust"] = 7.0
    out = metnorway.parse(payload)
    assert out["gust_ms"].iloc[0] == 7.0
    assert out["gust_ms"].iloc[1:].isna().all()


def broken(change: str) -> Any:
    payload = copy.deepcopy(reply())
    properties, steps = payload["properties"], steps_of(payload)
    match change:
        case "no timeseries":
            del properties["timeseries"]
        case "empty timeseries":
            properties["timeseries"] = []
        case "no units":
            del properties["meta"]["units"]
        case "unit":
            properties["meta"]["units"]["air_temperature"] = "mm"
        case "no instant":
            del steps[2]["data"]["instant"]
        case "null data":
            steps[2]["data"] = None
        case "time":
            steps[2]["time"] = "noon"
        case "updated_at empty":
            payload["properties"]["meta"]["updated_at"] = ""
        case "updated_at NaT":
            payload["properties"]["meta"]["updated_at"] = "NaT"
        case "half hour":
            steps[1]["time"] = steps[1]["time"].replace(":00:00", ":30:00")
        case "order":
            steps.reverse()
        case "far":
            steps[-1]["time"] = "2199-01-01T00:00:00Z"
        case "twice":
            steps[1]["time"] = steps[0]["time"]
        case "text":
            steps[1]["data"]["instant"]["details"]["wind_speed"] = "calm"
        case "list":
            return []
    return payload


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("no timeseries", r"no properties\.timeseries"),
        ("empty timeseries", "no hour"),
        ("no units", "no units"),
        ("unit", "air_temperature comes in 'mm'"),
        ("no instant", r"no data\.instant"),
        ("null data", "no data"),
        ("time", "not a time"),
        ("updated_at empty", "not a time"),
        ("updated_at NaT", "not a time"),
        ("half hour", "not on an hour"),
        ("order", "out of order"),
        ("twice", "out of order"),
        ("far", "spans too long"),
        ("text", "wind_speed is not a list of numbers"),
        ("list", "no properties"),
    ],
)
def test_a_reply_that_breaks_the_contract_is_refused(change: str, words: str) -> None:
    with pytest.raises(SourceError, match=words):
        metnorway.parse(broken(change))


def test_fetches_with_four_decimals_and_the_height(tmp_path: Path) -> None:
    now = pd.Timestamp.now("UTC")
    with Loopback(Reply(reply(now.floor("h")))) as server, polite_session(tmp_path) as http:
        out = metnorway.forecast(SITE, now=now, session=http, base_url=server.url)
    assert server.asked[0].path == "/complete"
    assert server.asked[0].query == {"lat": "-33.1235", "lon": "19.5", "altitude": "250"}
    assert out.attrs["forecast_from"] == out.index[0] == now.floor("h")
    assert out.attrs["source"]["issued"] == now.floor("h")
    assert "Data from MET Norway" in out.attrs["source"]["credit"]


def test_a_kept_forecast_that_is_too_old_is_asked_for_once_more_before_it_is_refused(
    tmp_path: Path,
) -> None:
    now = pd.Timestamp.now("UTC")

    def issued(hours_ago: int) -> Reply:
        payload = reply(now.floor("h"))
        updated = now.floor("h") - pd.Timedelta(hours=hours_ago)
        payload["properties"]["meta"]["updated_at"] = updated.isoformat()
        return Reply(payload, headers={"Expires": "Fri, 31 Dec 9999 23:59:59 GMT"})

    with (
        Loopback(issued(22), issued(0), issued(30)) as server,
        polite_session(tmp_path / "a") as http,
    ):
        metnorway.forecast(SITE, now=now, session=http, base_url=server.url)
        later = now + pd.Timedelta(hours=3)
        out = metnorway.forecast(SITE, now=later, session=http, base_url=server.url)
        assert out.attrs["source"]["issued"] == now.floor("h")
        assert len(server.asked) == 2
        with polite_session(tmp_path / "b") as other, pytest.raises(SourceError, match="too old"):
            metnorway.forecast(SITE, now=now, session=other, base_url=server.url)
        assert len(server.asked) == 4  # once more, and no oftener


def recorded(name: str) -> Any:
    payload = json.loads((PAYLOADS / name).read_text("utf-8"))
    return payload.get("data", payload)


@needs_records
def test_recorded_complete() -> None:
    payload = recorded("rorysullivan_complete_london_2020-07-20_with_headers.json")
    out = metnorway.parse(payload)
    for entry in steps_of(payload):
        at = pd.Timestamp(entry["time"])
        data = entry["data"]
        assert out.loc[at, "temp_c"] == data["instant"]["details"]["air_temperature"]
        assert out.loc[at, "dew_point_c"] == data["instant"]["details"]["dew_point_temperature"]
        if "next_1_hours" in data:
            assert out.loc[at, "rain_mm"] == data["next_1_hours"]["details"]["precipitation_amount"]
        elif "next_6_hours" in data:
            six = data["next_6_hours"]["details"]
            hours = out.loc[at : at + pd.Timedelta(hours=5)]
            told = hours["rain_total_mm"].fillna(hours["rain_mm"])
            assert told.tolist() == [six["precipitation_amount"]] * 6
            assert (hours["temp_min_c"] <= six["air_temperature_min"]).all()
            assert (hours["temp_max_c"] >= six["air_temperature_max"]).all()
    assert (out["temp_c"] - out["temp_min_c"]).max() > 2  # interpolation alone hides this much


@needs_records
@pytest.mark.parametrize(
    ("name", "hourly", "steps"),
    [
        ("magicmirror_compact_2026-02-06.json", 51, 83),
        ("rorysullivan_compact_newyork_2020-07-20_with_headers.json", 55, 82),
    ],
)
def test_recorded_compact(name: str, hourly: int, steps: int) -> None:
    payload = recorded(name)
    out = metnorway.parse(payload)
    assert len(steps_of(payload)) == steps
    told = out["rain_mm"]
    if "rain_total_mm" in out:  # what a total says beyond its hours is in one of the dry ones
        told = told.fillna(out["rain_total_mm"])
    assert told.iloc[:hourly].notna().all()
    assert len(out) == hourly + 6 * (steps - hourly - 1) + 1
    assert out["dew_point_c"].isna().all()  # only in "complete"
    # "compact" has no extremes: nothing between the stamps of the long steps
    assert out["temp_c"].notna().sum() == steps


@needs_records
def test_recorded_nordic_hours_hide_no_rain_and_have_their_chance() -> None:
    payload = recorded("metno_complete_nordic_59N10E_2022-05-18.json")
    out = metnorway.parse(payload)
    six = slice("2022-05-19 18:00", "2022-05-19 23:00")  # 2.6 mm, and 0.5 and 1 mm by the hour
    assert out["rain_mm"].loc[six].tolist()[3:5] == [0.5, 1.0]
    assert out["rain_mm"].loc["2022-05-19 17:00":"2022-05-19 20:00"].isna().all()
    assert out["rain_mm"].loc["2022-05-19 23:00":"2022-05-20 02:00"].isna().all()
    assert "hide rain" in out.attrs["notes"][0]
    steps = {pd.Timestamp(step["time"]): step["data"] for step in steps_of(payload)}
    for at, data in steps.items():
        if "next_1_hours" in data:
            told = data["next_1_hours"]["details"]["probability_of_precipitation"]
            assert out.loc[at, "rain_chance"] == pytest.approx(told / 100)
        elif "next_6_hours" in data:
            told = data["next_6_hours"]["details"]["probability_of_precipitation"]
            hours = out["rain_chance"].loc[at : at + pd.Timedelta(hours=5)]
            assert hours.tolist() == pytest.approx([told / 100] * 6)
    assert np.isnan(out["rain_chance"].iloc[-1])


def test_outside_the_nordic_area_there_is_no_chance_of_rain() -> None:
    assert "rain_chance" not in metnorway.parse(reply())

"""Archived forecasts: none younger than the evening, hour-ending sums moved once, nulls unknown."""

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
from spraywindow.sources.past.archive import DAYS, VARIABLES, Archived, archived_forecasts, parse
from spraywindow.weather.air import relative_humidity
from spraywindow.winters.replays import ForecastReplay
from tests.conftest import SHARED, needs_records
from tests.loopback import Asked, Loopback, Reply

SITE = Place(39.123456, 22.5, 120.4, "Europe/Athens")
UNITS = {
    "temperature_2m": "°C",
    "relative_humidity_2m": "%",
    "wind_speed_10m": "m/s",
    "precipitation": "mm",
    "wind_gusts_10m": "m/s",
    "wind_direction_10m": "°",
    "cloud_cover": "%",
    "shortwave_radiation": "W/m²",
}
NOW = pd.Timestamp("2026-02-01 12:00", tz="UTC")


def reply(start: str, hours: int) -> dict[str, Any]:
    """Every value is the day before plus a hundredth of the stamp's hour, so that both are seen."""
    times = pd.date_range(start, periods=hours, freq="h")
    units: dict[str, str] = {"time": "iso8601"}
    hourly: dict[str, Any] = {"time": [f"{t:%Y-%m-%dT%H:%M}" for t in times]}
    for name, unit in UNITS.items():
        for day in range(1, DAYS + 1):
            units[f"{name}_previous_day{day}"] = unit
            hourly[f"{name}_previous_day{day}"] = [day + t.hour / 100 for t in times]
    return {"utc_offset_seconds": 0, "hourly_units": units, "hourly": hourly}


def test_hour_ending_values_move_to_the_start_and_instants_stay() -> None:
    # Open-Meteo documentation, "Valid time": Instant, or Preceding hour sum/mean/max
    found = parse([reply("2025-12-01T00:00", 6)])
    assert found.first_h == pd.Timestamp("2025-12-01", tz="UTC").value // 3_600_000_000_000
    np.testing.assert_allclose(found.columns["temp_c"][:, 0], 1 + np.arange(6) / 100)
    for instant in ("wind_ms", "wind_from_deg"):
        np.testing.assert_allclose(found.columns[instant][:, 1], 2 + np.arange(6) / 100)
    np.testing.assert_allclose(found.columns["cloud"][:, 2] * 100, 3 + np.arange(6) / 100)
    for moved in ("rain_mm", "gust_ms", "solar_wm2"):
        np.testing.assert_allclose(found.columns[moved][:5, 2], 3 + np.arange(1, 6) / 100)
        assert np.isnan(found.columns[moved][5]).all()
    back = relative_humidity(found.columns["temp_c"], found.columns["dew_point_c"])
    np.testing.assert_allclose(back[:, 1], 2 + np.arange(6) / 100, rtol=0.02)


def test_pieces_join_without_a_hole_at_the_seam() -> None:
    whole = parse([reply("2025-12-01T00:00", 48)])
    parts = parse([reply("2025-12-01T00:00", 24), reply("2025-12-02T00:00", 24)])
    for name, values in whole.columns.items():
        np.testing.assert_array_equal(values, parts.columns[name])


def test_null_and_undefined_are_unknown_and_what_is_nowhere_is_left_out() -> None:
    payload = reply("2025-12-01T00:00", 6)
    payload["hourly"]["temperature_2m_previous_day1"][2] = None
    for day in range(1, DAYS + 1):
        payload["hourly_units"][f"cloud_cover_previous_day{day}"] = "undefined"
        payload["hourly"][f"wind_gusts_10m_previous_day{day}"] = [None] * 6
    found = parse([payload])
    assert np.isnan(found.columns["temp_c"][2, 0])
    assert np.isfinite(found.columns["temp_c"][2, 1])
    assert not {"cloud", "gust_ms"} & found.columns.keys()


def test_the_notes_say_what_is_archived_since_when_and_whose_it_is() -> None:
    payload = reply("2025-12-01T00:00", 72)
    payload["hourly"]["wind_speed_10m_previous_day1"][:30] = [None] * 30
    for day in range(1, DAYS + 1):
        del payload["hourly"][f"precipitation_previous_day{day}"]
    archived, credit = parse([payload]).notes
    assert "wind_ms from 2025-12-02" in archived
    assert "temp_c" in archived.split(" from 2025-12-01")[0]
    assert "not archived: rain_mm" in archived
    assert "Open-Meteo.com, CC BY 4.0, https://open-meteo.com/" in credit
    assert "non-commercial" in credit


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"utc_offset_seconds": 3600}, "not UTC"),
        ({"hourly": None}, "no hourly"),
        ({"hourly_units": {"time": "unixtime"}}, "not ISO 8601"),
    ],
)
def test_an_odd_answer_is_refused(change: dict[str, Any], words: str) -> None:
    with pytest.raises(SourceError, match=words):
        parse([{**reply("2025-12-01T00:00", 6), **change}])


@pytest.mark.parametrize("stamp", ["9999-12-31T00:00", "1990-01-01T00:00", "0001-01-01T00:00"])
def test_a_wrong_year_is_refused_before_it_fills_the_memory(stamp: str) -> None:
    late, early = reply("2025-12-01T00:00", 6), reply("2025-12-01T00:00", 6)
    late["hourly"]["time"][-1] = early["hourly"]["time"][0] = stamp
    for payload in (late, early):
        with pytest.raises(SourceError, match=r"more time than was asked|not a time|out of order"):
            parse([payload])
    alone = reply("2025-12-01T00:00", 1)
    alone["hourly"]["time"] = ["0001-01-01T00:00"]
    with pytest.raises(SourceError, match="not a time"):
        parse([alone])


def test_another_unit_is_turned_or_refused() -> None:
    payload = reply("2025-12-01T00:00", 6)
    payload["hourly_units"]["wind_speed_10m_previous_day1"] = "km/h"
    assert parse([payload]).columns["wind_ms"][0, 0] == pytest.approx(1 / 3.6)
    payload["hourly_units"]["wind_speed_10m_previous_day1"] = "mm"
    with pytest.raises(SourceError, match="wind_speed_10m_previous_day1 comes in 'mm'"):
        parse([payload])
    short = copy.deepcopy(reply("2025-12-01T00:00", 6))
    short["hourly"]["precipitation_previous_day3"] = [0.0]
    with pytest.raises(SourceError, match="1 values for 6 hours"):
        parse([short])


@needs_records
def test_a_recorded_answer() -> None:
    path = SHARED / "payloads" / "open-meteo" / "pom_previous_runs.json"
    found = parse([json.loads(path.read_text(encoding="utf-8"))])
    assert found.columns["temp_c"][:, 0].tolist() == [14.2, 12.9, 12.1]
    assert found.columns["temp_c"][:, 1].tolist() == [14.4, 14.2, 13.4]
    assert found.columns["rain_mm"][:2, 0].tolist() == [0.0, 0.0]
    assert not found.covers(found.first_h, found.first_h + 3)  # wind was not asked for


def evening_block(hours_before: int, hours_after: int, evening: str) -> tuple[np.ndarray, ...]:
    lead = np.arange(-hours_before, hours_after)
    now_h = pd.Timestamp(evening, tz="UTC").value // 3_600_000_000_000
    return lead, (now_h + lead)[:, None]


def test_an_evening_reads_no_forecast_that_is_younger_than_itself() -> None:
    found: ForecastReplay = parse([reply("2025-12-01T00:00", 24 * 12)])
    lead, valid = evening_block(24, 200, "2025-12-03 16:00")
    names = ("temp_c", "dew_point_c", "wind_ms", "rain_mm")
    truth = {name: np.full(valid.shape, -50.0) for name in names}
    truth |= {"gust_ms": np.full(valid.shape, -50.0), "pressure_hpa": np.full(valid.shape, 990.0)}
    known = found.known(truth, lead, valid)
    assert (known["temp_c"][lead < 0] == -50.0).all()
    ahead = (lead >= 0) & (lead < 24 * DAYS)
    days_before = np.floor(known["wind_ms"][ahead, 0]).astype(int)
    assert (lead[ahead] - 24 * days_before < 0).all()  # made before the evening
    assert (lead[ahead] - 24 * days_before >= -24).all()  # and not long before
    assert np.isnan(known["temp_c"][lead >= 24 * DAYS]).all()
    assert "pressure_hpa" not in known  # not archived: the truth must not stand in for it
    assert (known["gust_ms"][ahead] > -50.0).all()


def test_totals_and_ranges_of_the_record_end_with_the_evening() -> None:
    found = parse([reply("2025-12-01T00:00", 24 * 12)])
    lead, valid = evening_block(24, 48, "2025-12-03 16:00")
    names = ("temp_c", "dew_point_c", "wind_ms", "rain_mm", "rain_total_mm", "temp_min_c")
    known = found.known({name: np.ones(valid.shape) for name in names}, lead, valid)
    for name in ("rain_total_mm", "temp_min_c"):
        assert (known[name][lead < 0] == 1.0).all()
        assert np.isnan(known[name][lead >= 0]).all()


def test_a_winter_is_covered_from_its_first_hour_to_its_last_or_not_at_all() -> None:
    payload = reply("2025-12-01T00:00", 240)
    found = parse([payload])
    assert found.covers(found.first_h, found.first_h + 239)
    assert not found.covers(found.first_h - 24, found.first_h + 200)
    assert not found.covers(found.first_h, found.first_h + 400)
    payload["hourly"]["precipitation_previous_day1"][50:100] = [None] * 50
    assert not parse([payload]).covers(found.first_h, found.first_h + 239)


def fetch(service: Loopback, folder: Path, first: str, last: str) -> Archived:
    with polite_session(folder, backoff_s=0.01) as session:
        return archived_forecasts(
            SITE,
            pd.Timestamp(first, tz="UTC"),
            pd.Timestamp(last, tz="UTC"),
            now=NOW,
            session=session,
            base_url=f"{service.url}/v1",
        )


def by_dates(asked: Asked) -> Reply:
    first, last = (pd.Timestamp(asked.query[key]) for key in ("start_date", "end_date"))
    return Reply(reply(f"{first:%Y-%m-%dT00:00}", 24 * ((last - first).days + 1)))


def test_it_asks_for_the_record_from_the_archives_start_on_in_pieces(tmp_path: Path) -> None:
    with Loopback(by_dates) as service:
        found = fetch(service, tmp_path, "2019-10-01", "2024-06-15 23:00")
    asked = [one.query for one in service.asked]
    assert [one["start_date"] for one in asked] == ["2024-01-01", "2024-03-31"]
    assert [one["end_date"] for one in asked] == ["2024-03-30", "2024-06-15"]
    assert asked[0]["timezone"] == "GMT"
    assert asked[0]["latitude"] == "39.1235"
    wanted = {f"{v.theirs}_previous_day{n}" for v in VARIABLES for n in range(1, 8)}
    assert set(asked[0]["hourly"].split(",")) == wanted
    assert "apikey" not in asked[0]
    assert len(found.columns["temp_c"]) == 24 * 167


def test_a_record_before_the_archive_is_refused_without_a_request(tmp_path: Path) -> None:
    with Loopback(by_dates) as service:
        with pytest.raises(SourceError, match="no archived forecasts for this record"):
            fetch(service, tmp_path, "1990-10-01", "2004-06-15")
        assert service.asked == []


def test_the_services_own_words_are_passed_on(tmp_path: Path) -> None:
    reason = "Parameter 'start_date' is out of allowed range"
    refusal = Reply({"error": True, "reason": reason}, status=400)
    with Loopback(refusal) as service, pytest.raises(SourceError, match="out of allowed range"):
        fetch(service, tmp_path, "2024-10-01", "2024-10-15")

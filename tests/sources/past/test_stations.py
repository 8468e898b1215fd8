"""Station records without the network: the library reads a local list and local files."""

from __future__ import annotations

import gzip
import logging
import os
import socket
import sqlite3
import time
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import SourceError
from spraywindow.place import Place
from spraywindow.sources.past.stations import station_record
from tests.conftest import SHARED, needs_records
from tests.loopback import Loopback, Reply

PLACE = Place(50.6, 8.65, 200.0, "Europe/Berlin")
NEAR, FAR, HIGH = "10532", "10533", "10534"


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A station list of two level stations and one on a hill, and a folder for their files."""
    from meteostat.api.config import config
    from meteostat.providers.meteostat import hourly

    database = tmp_path / "stations.db"
    with sqlite3.connect(database) as made:
        made.executescript(
            "create table stations (id, country, region, latitude, longitude, elevation, timezone);"
            "create table names (station, language, name);"
            "create table identifiers (station, key, value);"
            "create table inventory (station, provider, parameter, start, end, completeness);"
        )
        for name, latitude, height in ((NEAR, 50.61, 203), (FAR, 50.75, 180), (HIGH, 50.62, 900)):
            row = (name, "DE", "HE", latitude, 8.65, height, "Europe/Berlin")
            made.execute("insert into stations values (?,?,?,?,?,?,?)", row)
            made.execute("insert into names values (?, 'en', ?)", (name, f"Place {name}"))
    made.close()
    monkeypatch.setenv("MS_STATIONS_DB_FILE", str(database))
    monkeypatch.setattr(config, "stations_db_file", str(database))
    monkeypatch.setattr(hourly, "ENDPOINT", f"{tmp_path}/{{year}}-{{station}}.csv.gz")
    return tmp_path


def put(folder: Path, station: str, year: int, text: str) -> Path:
    target = folder / f"{year}-{station}.csv.gz"
    target.write_bytes(gzip.compress(text.encode()))
    return target


def lines(year: int, *rows: str) -> str:
    head = (
        "year,month,day,hour,temp,temp_source,rhum,rhum_source,prcp,prcp_source,"
        "wspd,wspd_source,wpgt,wpgt_source,cldc,cldc_source\n"
    )
    return head + "\n".join(f"{year},1,2,{row}" for row in rows) + "\n"


def hour(number: int, rain: str, source: str = "isd_lite", temp: float = 10.0) -> str:
    return (
        f"{number},{temp},{source},50,{source},{rain},{source if rain else ''},"
        f"36,{source},72,{source},9,{source}"
    )


def record(folder: Path, first: str, last: str, **more: object) -> pd.DataFrame:
    return station_record(PLACE, first, last, cache_dir=folder / "kept", **more)  # type: ignore[arg-type]


def test_units_and_the_one_shift(archive: Path) -> None:
    put(archive, NEAR, 2020, lines(2020, *(hour(h, str(h), temp=h) for h in range(6))))
    table = record(archive, "2020-01-02T00:00", "2020-01-02T04:00")
    # Rain and gusts of the hour that ends at a stamp; instants stay on theirs.
    assert list(table["rain_mm"]) == [1, 2, 3, 4, 5]
    assert list(table["temp_c"]) == [0, 1, 2, 3, 4]
    assert table["wind_ms"].iloc[0] == pytest.approx(10.0)
    assert table["gust_ms"].iloc[0] == pytest.approx(20.0)
    assert table["cloud"].isna().all()  # 9 oktas: sky obscured
    # FAO-56 eq. 11 and annex 3: half saturation at 4 degC.
    assert table["dew_point_c"].iloc[4] == pytest.approx(-5.5, abs=0.1)
    assert "CC BY 4.0" in table.attrs["source"]["credit"]


def test_an_empty_answer_is_an_error(archive: Path) -> None:
    # The library gives an empty table for a file that is absent, cut off or no table at all.
    with pytest.raises(SourceError, match="gave nothing"):
        record(archive, "2020-01-02", "2020-01-03")
    whole = put(archive, NEAR, 2020, lines(2020, hour(0, "0")))
    whole.write_bytes(whole.read_bytes()[:40])
    with pytest.raises(SourceError, match="gave nothing"):
        record(archive, "2020-01-02", "2020-01-03")
    put(archive, NEAR, 2020, "<html>")
    with pytest.raises(SourceError, match="gave nothing"):
        record(archive, "2020-01-02", "2020-01-03")


def test_the_reason_that_the_library_only_logs_is_told(archive: Path) -> None:
    with pytest.raises(SourceError, match="No such file"):
        record(archive, "2020-01-02", "2020-01-03")


def test_missing_rain_is_never_dry(archive: Path) -> None:
    put(archive, NEAR, 2020, lines(2020, *(hour(h, "" if h == 3 else "0.2") for h in range(6))))
    put(archive, FAR, 2020, lines(2020, *(hour(h, "0") for h in range(6))))
    table = record(archive, "2020-01-02T00:00", "2020-01-02T04:00")
    np.testing.assert_array_equal(table["rain_mm"], [0.2, 0.2, np.nan, 0.2, 0.2])


def test_the_wettest_near_station_counts(archive: Path) -> None:
    put(archive, NEAR, 2020, lines(2020, *(hour(h, "0") for h in range(6))))
    put(archive, FAR, 2020, lines(2020, *(hour(h, "7" if h == 2 else "0") for h in range(6))))
    put(archive, HIGH, 2020, lines(2020, *(hour(h, "50", temp=-9) for h in range(6))))
    table = record(archive, "2020-01-02T00:00", "2020-01-02T04:00")
    assert list(table["rain_mm"]) == [0, 7, 0, 0, 0]  # and the hill is left out
    assert table["temp_c"].min() == 10.0


def test_forecasts_do_not_fill_the_gaps(archive: Path) -> None:
    kinds = ["isd_lite", "dwd_mosmix", "isd_lite", "metno_forecast", "isd_lite", "isd_lite"]
    text = lines(2020, *(hour(h, "0", kind) for h, kind in enumerate(kinds)))
    put(archive, NEAR, 2020, text)
    table = record(archive, "2020-01-02T00:00", "2020-01-02T04:00")
    assert list(table["rain_mm"].isna()) == [True, False, True, False, False]
    assert list(table["temp_c"].isna()) == [False, True, False, True, False]


def test_rain_of_no_observation_is_refused_even_if_the_library_lets_it_through(
    archive: Path,
) -> None:
    from spraywindow.sources.past.station_rows import merge_stations

    time_index = pd.date_range("2020-01-02", periods=2, freq="h", name="time")
    rows = pd.DataFrame(
        {
            "temp": 10.0,
            "rhum": 50.0,
            "prcp": 0.0,
            "prcp_source": ["isd_lite", "isd_lite dwd_mosmix"],
        },
        index=pd.MultiIndex.from_product([[NEAR], time_index], names=["station", "time"]),
    )
    grid = time_index.tz_localize("UTC") - pd.Timedelta(hours=1)
    table, _ = merge_stations(rows, [NEAR], grid, frozenset({"isd_lite"}))
    assert list(table["rain_mm"].isna()) == [False, True]


def test_what_is_kept_is_read_again_after_its_day(archive: Path) -> None:
    # The library keeps everything for a month unless told otherwise.
    year = pd.Timestamp.now().year
    span = (f"{year}-01-02T00:00", f"{year}-01-02T04:00")
    put(archive, NEAR, year, lines(year, *(hour(h, "0") for h in range(6))))
    record(archive, *span)
    kept = list((archive / "kept" / "meteostat").glob("*.pickle"))
    assert kept  # in our folder
    for file in kept:
        os.utime(file, (time.time() - 172_800,) * 2)
    put(archive, NEAR, year, lines(year, *(hour(h, "5") for h in range(6))))
    assert record(archive, *span)["rain_mm"].iloc[0] == 5


def test_the_library_is_left_as_it_was(archive: Path) -> None:
    from meteostat.api.config import config

    before = (
        config.include_model_data, config.cache_ttl, config.cache_directory, config.cache_enable,
    )  # fmt: skip
    put(archive, NEAR, 2020, lines(2020, hour(1, "0")))
    record(archive, "2020-01-02T00:00", "2020-01-02T01:00")
    assert before == (
        config.include_model_data, config.cache_ttl, config.cache_directory, config.cache_enable,
    )  # fmt: skip
    assert socket.getdefaulttimeout() is None


def test_long_records_are_asked_for_in_parts(archive: Path) -> None:
    for year in (2010, 2014, 2019):
        put(archive, NEAR, year, lines(year, *(hour(h, "1") for h in range(6))))
    table = record(archive, "2010-01-01", "2019-12-31")
    assert table["rain_mm"].isna().all()  # it knows far less than half of the hours
    assert table["temp_c"].notna().sum() == 18
    assert any("no station knows half" in note for note in table.attrs["notes"])


def test_rain_is_counted_by_winter(archive: Path) -> None:
    put(archive, NEAR, 2020, lines(2020, *(hour(h, "" if h > 3 else "0") for h in range(1, 6))))
    table = record(archive, "2020-01-02T00:00", "2020-01-02T04:00")
    assert "winter 2019/20: rain known in 60% of the hours" in table.attrs["notes"]


def test_no_station_and_no_list(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from meteostat.api.config import config

    away = Place(0.0, 0.0, 0.0, "UTC")
    with pytest.raises(SourceError, match="no station within 50 km"):
        station_record(away, "2020-01-02", "2020-01-03", cache_dir=archive)
    monkeypatch.delenv("MS_STATIONS_DB_FILE")
    with Loopback(Reply(status=404)) as server:
        monkeypatch.setattr(config, "stations_db_endpoints", [server.url + "/stations.db"])
        with pytest.raises(SourceError, match="list of stations cannot be read"):
            record(archive, "2020-01-02", "2020-01-03")


def test_a_broken_station_list_is_not_kept(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from meteostat.api.config import config

    monkeypatch.delenv("MS_STATIONS_DB_FILE")
    good = (archive / "stations.db").read_bytes()
    put(archive, NEAR, 2020, lines(2020, hour(0, "0"), hour(1, "0")))
    with Loopback(Reply(b"<html>no database</html>" * 9), Reply(good)) as server:
        monkeypatch.setattr(config, "stations_db_endpoints", [server.url + "/stations.db"])
        with pytest.raises(SourceError, match="list of stations"):
            record(archive, "2020-01-02T00:00", "2020-01-02T01:00")
        assert len(record(archive, "2020-01-02T00:00", "2020-01-02T01:00")) == 2


def test_a_silent_server_is_not_waited_for(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from meteostat.providers.meteostat import hourly

    with Loopback(Reply(hang=True)) as server:
        monkeypatch.setattr(hourly, "ENDPOINT", server.url + "/{year}-{station}.csv.gz")
        began = time.monotonic()
        with pytest.raises(SourceError, match="gave nothing"):
            record(archive, "2020-01-02", "2020-01-03", timeout_s=0.3)
        assert time.monotonic() - began < 10


def test_the_whole_check_has_one_limit(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from meteostat.api.config import config
    from meteostat.providers.meteostat import hourly

    dripping = Reply(b"x" * 999, drip_s=0.05)
    for silent in (Reply(hang=True), dripping):
        with Loopback(silent) as server:
            monkeypatch.setattr(hourly, "ENDPOINT", server.url + "/{year}-{station}.csv.gz")
            began = time.monotonic()
            with pytest.raises(SourceError, match=r"meteostat: no answer within 0.5 s"):
                record(archive, "2000-01-02", "2019-01-03", timeout_s=0.3, longest_s=0.5)
            assert time.monotonic() - began < 5
    # the work left behind logs on, and without a handler Python prints it
    assert logging.getLogger("meteostat").handlers
    monkeypatch.delenv("MS_STATIONS_DB_FILE")
    with Loopback(dripping) as server:
        monkeypatch.setattr(config, "stations_db_endpoints", [server.url + "/stations.db"])
        with pytest.raises(SourceError, match=r"no answer within 0.5 s"):
            record(archive, "2020-01-02", "2020-01-03", longest_s=0.5)


def test_a_year_that_failed_is_named(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # The library gives the other years and only logs this one.
    from meteostat.providers.meteostat import hourly

    def year(number: int) -> list[Reply]:
        rows = lines(number, *(hour(h, "0") for h in range(6)))
        return [Reply(gzip.compress(rows.encode()))]

    down = [Reply("x", 503)]
    routes: dict[str, list[Any]] = {
        f"/2020-{NEAR}": year(2020), f"/2021-{NEAR}": down, f"/2022-{NEAR}": year(2022),
    }  # fmt: skip
    with Loopback(routes=routes) as server:
        monkeypatch.setattr(hourly, "ENDPOINT", server.url + "/{year}-{station}.csv.gz")
        table = record(archive, "2020-01-02", "2022-01-03")
        (said,) = (note for note in table.attrs["notes"] if "not every answer" in note)
        assert "came for 2021 (HTTP Error 503" in said  # and no file (404) is no failure
        assert table["temp_c"].notna().sum() == 12
        server.routes[f"/2021-{NEAR}"] = year(2021)
        table = record(archive, "2020-01-02", "2022-01-03")
        assert table["temp_c"].notna().sum() == 18  # the failure was not kept
        assert not any("not every answer" in note for note in table.attrs["notes"])


def test_text_among_the_numbers_is_no_crash(archive: Path) -> None:
    put(archive, NEAR, 2020, lines(2020, hour(0, "0").replace(",50,", ",damp,"), hour(1, "0")))
    with pytest.raises(SourceError, match=r"gave nothing.*damp"):
        record(archive, "2020-01-02T00:00", "2020-01-02T01:00")


def test_a_cache_that_cannot_be_used_is_the_same_error_as_elsewhere(archive: Path) -> None:
    (archive / "kept").write_text("")
    with pytest.raises(SourceError, match=r"cache cannot be used.*SPRAYWINDOW_CACHE"):
        record(archive, "2020-01-02", "2020-01-03")


def test_what_is_kept_damaged_is_read_again(archive: Path) -> None:
    put(archive, NEAR, 2020, lines(2020, *(hour(h, "0") for h in range(6))))
    put(archive, FAR, 2020, lines(2020, *(hour(h, "1") for h in range(6))))
    span = ("2020-01-02T00:00", "2020-01-02T04:00")
    good = record(archive, *span)
    for file in (archive / "kept" / "meteostat").glob("*.pickle"):
        file.write_bytes(file.read_bytes()[:50])
    pd.testing.assert_frame_equal(record(archive, *span), good)


def test_what_cannot_be_kept_is_not_lost(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from meteostat.core.cache import CacheService

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(CacheService, "_write_pickle", staticmethod(full))
    put(archive, NEAR, 2020, lines(2020, *(hour(h, "0") for h in range(6))))
    put(archive, FAR, 2020, lines(2020, *(hour(h, "1") for h in range(6))))
    assert record(archive, "2020-01-02T00:00", "2020-01-02T04:00")["rain_mm"].tolist() == [1] * 5


def test_no_network_is_told_without_addresses(
    archive: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from meteostat.providers.meteostat import hourly

    monkeypatch.setattr(hourly, "ENDPOINT", "http://127.0.0.1:9/{year}-{station}.csv.gz")
    said = "got 'no connection'; check the network, .*or give a weather file$"
    with pytest.raises(SourceError, match=said):
        record(archive, "2020-01-02", "2020-01-03")


@needs_records
def test_a_recorded_answer(archive: Path) -> None:
    source = SHARED / "payloads" / "meteostat" / "hourly_2024_10532_trimmed_gap.csv"
    put(archive, NEAR, 2024, source.read_text())
    raw = pd.read_csv(source)
    times = pd.to_datetime(raw[["year", "month", "day", "hour"]], utc=True)
    table = record(archive, "2024-09-01T00:00", "2024-09-08T22:00")
    # Seven hours of 25 August to 2 September 21 UTC are observed, the rest are forecasts.
    began = times[(raw.prcp_source == "dwd_poi") & (raw.month == 9)].iloc[0]
    assert table["rain_mm"].loc[: began - pd.Timedelta(hours=2)].isna().all()
    assert table["temp_c"].loc[: began - pd.Timedelta(hours=1)].isna().all()
    observed = raw.prcp[times >= began].to_numpy()
    known = table["rain_mm"].loc[began - pd.Timedelta(hours=1) :]
    np.testing.assert_array_equal(known, observed[: len(known)])

"""The NASA POWER reanalysis: read as pvlib reads it, tried again, kept by the year."""

from __future__ import annotations

import json
import math
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import SourceError
from spraywindow.place import Place
from spraywindow.sources.past.nasa_power import (
    CELL_DEG,
    COLUMNS,
    NAME,
    parse,
    reanalysis_record,
    shared_point,
)
from tests.loopback import Asked, Loopback, Reply

PLACE = Place(40.6, 22.4, 50.0, "Europe/Athens")
UNITS = {
    "T2M": "C",
    "T2MDEW": "C",
    "WS10M": "m/s",
    "PRECTOTCORR": "mm/hour",
    "ALLSKY_SFC_SW_DWN": "Wh/m^2",
    "WD10M": "Degrees",
}
VALUES = {
    "T2M": 8.0,
    "T2MDEW": 3.0,
    "WS10M": 2.0,
    "PRECTOTCORR": 0.3,
    "ALLSKY_SFC_SW_DWN": 100.0,
    "WD10M": 180.0,
}


def answer(asked: Asked, **change: Any) -> Reply:
    """What the service documents: one block an asked parameter, keyed by hour."""
    end = pd.Timestamp(asked.query["end"]) + pd.Timedelta(hours=23)
    times = pd.date_range(pd.Timestamp(asked.query["start"]), end, freq="h")
    stamps = list(times.strftime("%Y%m%d%H"))
    values: dict[str, dict[str, float]] = {
        name: dict.fromkeys(stamps, VALUES[name]) for name in asked.query["parameters"].split(",")
    }
    values["PRECTOTCORR"][stamps[5]] = -999.0
    values["T2M"][stamps[7]] = 12.0
    units = UNITS | change.get("units", {})
    for name in change.get("drop", ()):
        values.pop(name)
    body = {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [22.4, 40.6, change.get("height", 90.0)]},
        "properties": {"parameter": values},
        "header": {
            "title": "hourly",
            "api": {},
            "fill_value": -999.0,
            "time_standard": change.get("standard", "UTC"),
            "start": asked.query["start"],
            "end": asked.query["end"],
        },
        "parameters": {name: {"units": units[name], "longname": name} for name in COLUMNS},
        "times": {},
    }
    return Reply(body)


def record(server: Loopback, folder: Path, first: str, last: str, **more: Any) -> pd.DataFrame:
    more = {"backoff_s": 0.01, **more}
    return reanalysis_record(PLACE, first, last, cache_dir=folder, url=server.url + "/p", **more)


def changed(change: Callable[[dict[str, Any]], object]) -> Callable[[Asked], Reply]:
    def step(asked: Asked) -> Reply:
        body = json.loads(json.dumps(answer(asked).body))
        change(body)
        return Reply(body)

    return step


def test_the_hours_are_those_that_pvlib_reads_and_asks_for() -> None:
    from pvlib.iotools import get_nasa_power

    bodies: list[Any] = []

    def keep(asked: Asked) -> Reply:
        bodies.append(answer(asked).body)
        return Reply(bodies[-1])

    with Loopback(keep) as server:
        days = (pd.Timestamp("2019-01-01"), pd.Timestamp("2019-01-03"))
        theirs, _ = get_nasa_power(
            PLACE.latitude, PLACE.longitude, *days, list(COLUMNS), community="re",
            map_variables=False, url=server.url,
        )  # fmt: skip
        requests_session(server, days)
        asked = [one.query for one in server.asked]
    assert asked[0] == asked[1]
    ours = parse(bodies[0])
    for name, (column, _) in COLUMNS.items():
        np.testing.assert_array_equal(ours[column], theirs[name])
    assert ours.index.equals(theirs.index)


def requests_session(server: Loopback, days: tuple[pd.Timestamp, pd.Timestamp]) -> None:
    import requests

    from spraywindow.sources.past.nasa_power import fetch

    with requests.Session() as session:
        fetch(session, server.url, PLACE, *days)


def test_hours_in_our_names_without_a_shift(tmp_path: Path) -> None:
    with Loopback(answer) as server:
        table = record(server, tmp_path, "2019-01-01T00:00", "2019-01-02T12:00")
    assert len(table) == 37
    assert table["temp_c"]["2019-01-01T07:00Z"] == 12.0  # the service stamps the start
    assert np.isnan(table["rain_mm"]["2019-01-01T05:00Z"])  # -999 is no rain value
    assert table["rain_mm"].iloc[0] == 0.3
    assert table["solar_wm2"].iloc[0] == 100.0
    assert "NASA" in table.attrs["source"]["credit"]
    assert any("local showers" in note for note in table.attrs["notes"])
    asked = server.asked[0].query
    assert asked["time-standard"] == "utc"


def test_whole_years_are_kept_and_the_running_one_for_some_hours(tmp_path: Path) -> None:
    with Loopback(answer) as server:
        first = record(server, tmp_path, "2018-11-01", "2020-02-10")
        asked = len(server.asked)
        again = record(server, tmp_path, "2018-11-01", "2020-02-10")
        assert (asked, len(server.asked)) == (3, 3)
        pd.testing.assert_frame_equal(first, again, check_freq=False)
        record(server, tmp_path, "2018-11-01", "2020-02-11")  # another hour is wanted
        assert len(server.asked) == 4
        for file in (tmp_path / "power").iterdir():
            os.utime(file, (time.time() - 7 * 3600,) * 2)  # older than OLDEST_COPY_H
        record(server, tmp_path, "2018-11-01", "2020-02-11")
        assert len(server.asked) == 5
    names = {file.name.rpartition("_")[2] for file in (tmp_path / "power").glob("[!r]*")}
    assert names == {"2018.csv.gz", "2019.csv.gz"}


def test_neighbours_share_an_answer_and_keep_their_heights(tmp_path: Path) -> None:
    rng = np.random.default_rng(13)
    # a district of 1 by 1.25 degrees around: parts of cells of 1/2 by 5/8 and of 1 degree, [2]
    sites = [
        Place(float(north), float(east), height, "Europe/Athens")
        for north, east, height in zip(
            rng.uniform(40.0, 41.0, 100), rng.uniform(22.5, 23.75, 100), [50.0, 900.0] * 50,
            strict=True,
        )
    ]  # fmt: skip
    with Loopback(answer) as server:
        tables = [
            reanalysis_record(
                site, "2019-12-31T20:00", "2020-01-02", cache_dir=tmp_path, url=server.url,
            )
            for site in sites
        ]  # fmt: skip
        asked = [(one.query["latitude"], one.query["longitude"]) for one in server.asked]
    assert len(set(asked)) * 2 == len(asked)  # a point once a year
    assert len(asked) <= 2 * 3 * 5  # and not 200
    points = {shared_point(site) for site in sites}
    assert len({(each.latitude, each.longitude) for each in points}) == len(set(asked))
    high = [any("the cell's mean height" in n for n in each.attrs["notes"]) for each in tables]
    assert high == [False, True] * 50


@pytest.mark.parametrize("place", [(40.6, 22.4), (-33.9, -70.2), (0.1, -0.1), (89.9, 179.9)])
def test_the_point_asked_for_is_of_the_same_cells(place: tuple[float, float]) -> None:
    asked = shared_point(Place(*place, 0.0, "UTC"))
    for at, middle, size in zip(place, (asked.latitude, asked.longitude), CELL_DEG, strict=True):
        assert round(at / size) == round(middle / size)
        assert math.floor(at) == math.floor(middle)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"units": {"PRECTOTCORR": "mm/day"}}, "PRECTOTCORR: no rain_mm in a known unit"),
        ({"units": {"ALLSKY_SFC_SW_DWN": "MJ/hr"}}, "ALLSKY_SFC_SW_DWN"),
        ({"drop": ["T2MDEW"]}, "T2MDEW"),
        ({"standard": "LST"}, "other times than asked for"),
    ],
)
def test_other_units_and_times_are_refused(
    change: dict[str, Any], says: str, tmp_path: Path
) -> None:
    with (
        Loopback(lambda asked: answer(asked, **change)) as server,
        pytest.raises(SourceError, match=says),
    ):
        record(server, tmp_path, "2019-01-01", "2019-01-02")
    assert not (tmp_path / "power").exists()


@pytest.mark.parametrize(
    ("reply", "says"),
    [
        (Reply({"messages": ["bad request"]}, status=422), r"2019: refused.* 422 \(bad request\)"),
        (Reply("<html>502</html>", status=502), "2019: refused the request with 502"),
        (Reply("<html>fine</html>"), "web page"),
        (Reply({"properties": {}}), "no properties.parameter|the answer has no"),
        (Reply([]), "no properties"),
        (Reply(b'{"properties": {"parameter": {"T2M"', length=False), "not complete JSON"),
    ],
)
def test_a_broken_answer_is_one_clear_error(reply: Reply, says: str, tmp_path: Path) -> None:
    with Loopback(reply) as server, pytest.raises(SourceError, match=says) as caught:
        record(server, tmp_path, "2019-01-01", "2019-01-02")
    assert "\n" not in str(caught.value)


ODD: dict[str, tuple[Callable[[dict[str, Any]], object], str]] = {
    "no units": (lambda b: b.update(parameters=None), "the answer has no parameters"),
    "a list of units": (lambda b: b.update(parameters=[]), "parameters is odd"),
    "a null unit": (lambda b: b["parameters"].update(T2M=None), "T2M: no temp_c in a known unit"),
    "null values": (lambda b: values_of(b).update(T2M=None), "T2M: no temp_c"),
    "text": (lambda b: values_of(b)["T2M"].update({"2019010103": "x"}), "list of numbers"),
    "an odd hour": (lambda b: values_of(b)["T2M"].update({"noon": 1.0}), "an hour of T2M"),
    "nine digits": (lambda b: values_of(b)["T2M"].update({"201901011": 1.0}), "an hour of T2M"),
    "no place": (lambda b: b.update(geometry=None), "the answer has no geometry"),
    "no header": (lambda b: b.update(header=None), "the answer has no header"),
    "all unknown": (
        lambda b: values_of(b).update(T2M=dict.fromkeys(values_of(b)["T2M"])),
        "no temp_c in the hours asked for",
    ),
    "none of the hours": (
        lambda b: [values_of(b).update({n: {"2019010100": 1.0}}) for n in COLUMNS],
        "no temp_c and no rain_mm in the hours asked for",
    ),
}


def values_of(body: dict[str, Any]) -> dict[str, Any]:
    values: dict[str, Any] = body["properties"]["parameter"]
    return values


@pytest.mark.parametrize("name", ODD)
def test_an_odd_answer_is_one_clear_error(name: str, tmp_path: Path) -> None:
    change, says = ODD[name]
    with Loopback(changed(change)) as server, pytest.raises(SourceError, match=says) as caught:
        record(server, tmp_path, "2019-01-02", "2019-01-03")
    assert "\n" not in str(caught.value)


def test_hours_in_another_order_are_put_in_order(tmp_path: Path) -> None:
    def reverse(body: dict[str, Any]) -> None:
        for name, values in values_of(body).items():
            values_of(body)[name] = dict(reversed(values.items()))

    with Loopback(answer) as server, Loopback(changed(reverse)) as other:
        straight = record(server, tmp_path / "a", "2019-01-01", "2019-01-02")
        pd.testing.assert_frame_equal(
            straight, record(other, tmp_path / "b", "2019-01-01", "2019-01-02")
        )


def test_hours_that_lack_are_unknown_and_their_year_is_not_kept(tmp_path: Path) -> None:
    def cut(body: dict[str, Any]) -> None:
        for name, values in values_of(body).items():
            values_of(body)[name] = {h: v for h, v in values.items() if not "2018033" < h < "20181"}

    with Loopback(changed(cut), answer) as server:
        table = record(server, tmp_path, "2018-01-01", "2018-12-31T23:00")
        assert len(table) == 8760
        lacking = table["temp_c"].isna()
        assert lacking["2018-03-30T00:00Z":"2018-09-30T23:00Z"].all()
        assert f"{lacking.sum() + 1} of 8760 hours" in " ".join(table.attrs["notes"])  # one -999
        again = record(server, tmp_path, "2018-01-01", "2018-12-31T23:00")
        assert again["temp_c"].notna().all()


@pytest.mark.parametrize("status", [429, 500, 502, 503, 504])
def test_a_busy_service_is_asked_again(status: int, tmp_path: Path) -> None:
    busy = Reply("no", status)
    with Loopback(busy, busy, answer) as server:
        assert len(record(server, tmp_path, "2019-01-01", "2019-01-02")) == 25
        assert len(server.asked) == 3
    with Loopback(busy) as server:
        with pytest.raises(SourceError, match=f"{NAME}, 2019: refused the request with {status}"):
            record(server, tmp_path / "other", "2019-01-01", "2019-01-02")
        assert len(server.asked) == 3


def test_the_pause_that_the_service_asks_for_is_kept(tmp_path: Path) -> None:
    with Loopback(Reply("no", 429, headers={"Retry-After": "1"}), answer) as server:
        began = time.monotonic()
        record(server, tmp_path, "2019-01-01", "2019-01-02")
        assert time.monotonic() - began >= 1
    with Loopback(Reply("no", 429, headers={"Retry-After": "3600"})) as server:
        with pytest.raises(SourceError, match=r"429.*Retry-After: 3600"):
            record(server, tmp_path / "other", "2019-01-01", "2019-01-02")
        assert len(server.asked) == 1


WHOLE = ("2018-01-01", "2018-12-31T23:00")


@pytest.fixture(scope="module")
def kept_year(tmp_path_factory: pytest.TempPathFactory) -> tuple[pd.DataFrame, Path]:
    """A year as fetched, and the file that it is kept in."""
    folder = tmp_path_factory.mktemp("cache")
    with Loopback(answer) as server:
        good = record(server, folder, *WHOLE)
    (kept,) = (folder / "power").iterdir()
    return good, kept


@pytest.mark.parametrize("damage", ["cut", "empty", "text", "short", "other columns", "a folder"])
def test_a_kept_year_that_is_damaged_is_fetched_again(
    damage: str, tmp_path: Path, kept_year: tuple[pd.DataFrame, Path]
) -> None:
    good, sound = kept_year
    raw, kept = sound.read_bytes(), tmp_path / "power" / sound.name
    kept.parent.mkdir()
    if damage == "a folder":
        kept.mkdir()
    elif damage == "short":
        pd.read_csv(sound, index_col="time").iloc[:-24].to_csv(kept)
    elif damage == "other columns":
        pd.read_csv(sound, index_col="time").drop(columns="rain_mm").to_csv(kept)
    else:
        kept.write_bytes({"cut": raw[: len(raw) // 2], "empty": b"", "text": b"x"}[damage])
    with Loopback(answer) as server:
        pd.testing.assert_frame_equal(record(server, tmp_path, *WHOLE), good)
        assert len(server.asked) == 1
        record(server, tmp_path, *WHOLE)
        assert len(server.asked) == (2 if damage == "a folder" else 1)  # kept again


def test_a_kept_year_that_is_sound_is_not_fetched(kept_year: tuple[pd.DataFrame, Path]) -> None:
    good, sound = kept_year
    with Loopback(answer) as server:
        pd.testing.assert_frame_equal(record(server, sound.parents[1], *WHOLE), good)
        assert server.asked == []


def test_a_cache_that_cannot_be_used_is_the_same_error_as_elsewhere(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with Loopback(answer) as server:
        with pytest.raises(SourceError, match=r"cache cannot be used.*SPRAYWINDOW_CACHE"):
            record(server, tmp_path / "file", *WHOLE)
        assert not server.asked


def test_a_year_that_cannot_be_kept_is_not_lost(tmp_path: Path) -> None:
    (tmp_path / "power").write_text("a file where the folder should be")
    with Loopback(answer) as server:
        table = record(server, tmp_path, "2017-01-01", "2018-12-31T23:00")
    assert table["temp_c"].notna().all()
    assert sum("cannot be kept in" in note for note in table.attrs["notes"]) == 1


def test_it_says_when_the_last_year_was_fetched(tmp_path: Path) -> None:
    with Loopback(answer) as server:
        fetched = record(server, tmp_path, *WHOLE).attrs["source"]["fetched"]
        assert abs(pd.Timestamp.now("UTC") - fetched) < pd.Timedelta(minutes=1)
        (kept,) = (tmp_path / "power").iterdir()
        os.utime(kept, (1_500_000_000,) * 2)
        fetched = record(server, tmp_path, *WHOLE).attrs["source"]["fetched"]
    assert fetched == pd.Timestamp(1_500_000_000, unit="s", tz="UTC")


def test_no_network_and_a_silent_server(tmp_path: Path) -> None:
    said = f"^{NAME}, 2019: no connection; check the network, or give a weather file$"
    with pytest.raises(SourceError, match=said):
        reanalysis_record(
            PLACE, "2019-01-01", "2019-01-02", cache_dir=tmp_path, url="http://127.0.0.1:9/"
        )
    for silent in (Reply(hang=True), Reply({"a": list(range(40))}, drip_s=0.05)):
        with Loopback(silent) as server:
            began = time.monotonic()
            with pytest.raises(SourceError, match=r"2019: no answer in time"):
                record(server, tmp_path, "2019-01-01", "2019-01-02", timeout_s=0.3)
            assert time.monotonic() - began < 5


def test_a_cell_at_another_height_is_named(tmp_path: Path) -> None:
    with Loopback(lambda asked: answer(asked, height=900.0)) as server:
        table = record(server, tmp_path, "2019-01-01", "2019-01-01T05:00")
    assert any("900 m" in note for note in table.attrs["notes"])

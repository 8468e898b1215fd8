from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import SourceError
from spraywindow.place import Place
from spraywindow.sources.reanalysis import COLUMNS, NAME, reanalysis_record
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
    return reanalysis_record(PLACE, first, last, cache_dir=folder, url=server.url + "/p", **more)


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


def test_whole_years_are_kept_and_the_running_one_is_not(tmp_path: Path) -> None:
    with Loopback(answer) as server:
        first = record(server, tmp_path, "2018-11-01", "2020-02-10")
        asked = len(server.asked)
        again = record(server, tmp_path, "2018-11-01", "2020-02-10")
        assert (asked, len(server.asked)) == (3, 4)
    pd.testing.assert_frame_equal(first, again, check_freq=False)
    assert {file.name.split("_")[2] for file in (tmp_path / "power").iterdir()} == {
        "2018.csv.gz",
        "2019.csv.gz",
    }


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
    "reply",
    [
        Reply({"messages": ["bad request"]}, status=422),
        Reply("<html>502</html>", status=502),
        Reply("<html>fine</html>"),
        Reply({"properties": {}}),
        Reply([]),
        Reply(b'{"properties": {"parameter": {"T2M"', length=False),
    ],
)
def test_a_broken_answer_is_one_clear_error(reply: Reply, tmp_path: Path) -> None:
    with Loopback(reply) as server, pytest.raises(SourceError, match="no usable answer") as caught:
        record(server, tmp_path, "2019-01-01", "2019-01-02")
    assert "\n" not in str(caught.value)


def test_no_network_and_a_silent_server(tmp_path: Path) -> None:
    said = f"^{NAME}: no connection; check the network, or give a weather file$"
    with pytest.raises(SourceError, match=said):
        reanalysis_record(
            PLACE, "2019-01-01", "2019-01-02", cache_dir=tmp_path, url="http://127.0.0.1:9/"
        )
    with Loopback(Reply(hang=True)) as server:
        began = time.monotonic()
        with pytest.raises(SourceError, match=r"within 0.3 s"):
            record(server, tmp_path, "2019-01-01", "2019-01-02", timeout_s=0.3)
        assert time.monotonic() - began < 5


def test_a_cell_at_another_height_is_named(tmp_path: Path) -> None:
    with Loopback(lambda asked: answer(asked, height=900.0)) as server:
        table = record(server, tmp_path, "2019-01-01", "2019-01-01T05:00")
    assert any("900 m" in note for note in table.attrs["notes"])

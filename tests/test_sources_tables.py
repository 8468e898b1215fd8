from __future__ import annotations

import gzip
import sys
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from spraywindow.errors import InputError
from spraywindow.sources.columns import load_map
from spraywindow.sources.tables import read_weather
from tests.weather_files import HEADER, MAP, fails, hours, rows, write


def test_own_names_need_no_map(tmp_path: Path) -> None:
    text = HEADER + "2024-01-01T00:00Z,10,5,2,0\n2024-01-01T01:00Z,9,5,2,0.2\n"
    table = read_weather(write(tmp_path, text))
    assert list(table["rain_mm"]) == [0.0, 0.2]
    assert str(table.index.tz) == "UTC"
    assert table.attrs["source"]["name"] == "w.csv"


def test_semicolons_decimal_commas_mark_and_gzip(tmp_path: Path) -> None:
    text = "\ufeff" + HEADER.replace(",", ";") + "2024-01-01T00:00Z;10,5;5,25;2;0,2\n"
    plain = read_weather(write(tmp_path, text))
    assert (plain["temp_c"].iloc[0], plain["rain_mm"].iloc[0]) == (10.5, 0.2)
    packed = read_weather(write(tmp_path, gzip.compress(text.encode()), "w.csv.gz"))
    pd.testing.assert_frame_equal(plain, packed)


def test_parquet_with_times(tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    times = pd.date_range("2024-01-01", periods=3, freq="h", tz="Europe/Athens")
    frame = pd.DataFrame({"t": times, "temp": 10.0, "dew": 5.0, "wind": 2.0, "rain": 0.0})
    frame.to_parquet(tmp_path / "w.parquet")
    table = read_weather(tmp_path / "w.parquet", MAP)
    assert table.index[0] == times[0]


def test_parquet_without_its_extra(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    path = write(tmp_path, b"PAR1" + b"\0" * 20 + b"PAR1")
    assert "spraywindow[parquet]" in fails(path)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("", "the file is empty"),
        (HEADER, "no rows"),
        ("<!DOCTYPE html><html>502</html>", "web page"),
        ('{"error": true}', "JSON"),
        (b"PK\x03\x04" + b"0" * 50, "workbook"),
        (b"\x00\x01\x02\x03" * 40, "binary"),
        (gzip.compress(HEADER.encode() * 5000)[:60], "cut off"),
        (HEADER + "2024-01-01T00:00Z,1,1,1,0\n2024-01-01T01:00Z,1,1,1,0,9,9\n", "more fields"),
        (HEADER + "2024-01-01T00:00Z,10,5,2,0\n2024-01-01T01:00Z,1", "cut off in its last"),
        (HEADER + "2024-01-01T00:00Z,10,5,5,2,0\n", "decimal comma"),
        ("when,temp,dew_point,wind_ms,rain_mm\nx,1,1,1,0\n", "for temp_c did you mean temp?"),
    ],
)
def test_what_is_no_table_of_weather(content: str | bytes, says: str, tmp_path: Path) -> None:
    assert says in fails(write(tmp_path, content))


def test_absent_file_and_folder(tmp_path: Path) -> None:
    assert "cannot be read" in fails(tmp_path / "none.csv")
    assert "cannot be read" in fails(tmp_path)


def test_rows_are_bounded(tmp_path: Path) -> None:
    path = write(tmp_path, rows(hours("2024-01-01", 30)))
    assert "more than 20 rows" in fails(path, MAP, rows_limit=20)
    assert len(read_weather(path, MAP, rows_limit=30)) == 30


def test_rows_are_chosen(tmp_path: Path) -> None:
    text = "s,t,temp,dew,wind,rain\na,2024-01-01 00:00,1,0,1,0\nb,2024-01-01 00:00,2,0,1,0\n"
    path = write(tmp_path, text)
    table = read_weather(path, {**MAP, "file": {"where": {"s": "b"}}})
    assert list(table["temp_c"]) == [2.0]
    assert "no row left" in fails(path, {**MAP, "file": {"where": {"s": "c"}}})


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"temp_c": {"column": "temp", "unit": "furlong"}}, "unknown unit"),
        ({"temp_c": {"column": "temp", "unit": "mm"}}, "a length where a temperature belongs"),
        ({"temp_c": {"column": "temp"}}, "no unit"),
        ({"temp_c": {"column": "temp", "unit": "degC", "mising": [1]}}, "did you mean missing"),
        ({"tempc": {"column": "temp", "unit": "degC"}}, "did you mean temp_c"),
        ({"temp_c": {"column": "temp", "unit": "degC", "stamp": "end"}}, "for totals"),
        ({"rain_mm": {"column": "rain", "unit": "mm", "covers": "soon"}}, "a duration such as"),
        ({"wind_ms": {"column": "wind", "unit": "m/s", "height": "2"}}, "without its unit"),
        ({"time": {"column": "t", "timezone": "Mars/North"}}, "unknown time zone"),
        ({"temp_c": {"column": "tempp", "unit": "degC"}}, "did you mean temp?"),
    ],
)
def test_a_wrong_map_is_named(change: dict[str, Any], says: str, tmp_path: Path) -> None:
    path = write(tmp_path, rows(hours("2024-01-01", 3)))
    assert says in fails(path, MAP | change)


def test_all_problems_of_a_map_at_once() -> None:
    with pytest.raises(InputError, match=r"(?s)no table for rain_mm.*|.*furlong") as caught:
        load_map({"temp_c": {"column": "a", "unit": "furlong"}, "windy": {}})
    for said in ("windy", "furlong", "rain_mm", "[time]"):
        assert said in str(caught.value)


def test_a_map_from_a_file(tmp_path: Path) -> None:
    assert "not valid TOML" in fails(tmp_path, write(tmp_path, "[time", "bad.toml"))
    assert "cannot be read" in fails(tmp_path, tmp_path / "none.toml")


def test_a_required_column_may_be_said_to_lack(tmp_path: Path) -> None:
    table = read_weather(
        write(tmp_path, rows(hours("2024-01-01", 3))), MAP | {"rain_mm": "unknown"}
    )
    assert table["rain_mm"].isna().all()

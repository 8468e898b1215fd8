from __future__ import annotations

import gzip
import sys
import tracemalloc
from contextlib import ExitStack
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraywindow.errors import InputError
from spraywindow.sources.files import rows as raw
from spraywindow.sources.files.column_map import load_map
from spraywindow.sources.files.read_file import read_weather
from spraywindow.spray.catalogue import OIL
from spraywindow.weather.table import PERIOD_COLUMNS
from tests.weather_files import HEADER, MAP, fails, hours, rows, write
from tests.weeks import NOON, fortnight, hour


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


@pytest.mark.parametrize("columns", [None, MAP | {"time": {"column": "time"}}])
def test_parquet_with_its_index_saved(columns: dict[str, Any] | None, tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    times = pd.date_range("2024-01-01", periods=3, freq="h", tz="UTC", name="time")
    values = {"temp": 10.0, "dew": 5.0, "wind": 2.0, "rain": 0.0}
    names = dict(zip(values, HEADER.strip().split(",")[1:], strict=True))
    frame = pd.DataFrame(values, index=times)
    (frame if columns else frame.rename(columns=names)).to_parquet(tmp_path / "w.parquet")
    assert list(read_weather(tmp_path / "w.parquet", columns).index) == list(times)


def test_parquet_with_a_damaged_page_or_a_name_twice(tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    import pyarrow as arrow
    import pyarrow.parquet as parquet

    draw = np.random.default_rng(1)
    times = pd.date_range("2000-01-01", periods=20_000, freq="h", tz="UTC", name="time")
    frame = pd.DataFrame(draw.random((20_000, 4)), times, HEADER.strip().split(",")[1:])
    frame.to_parquet(tmp_path / "w.parquet")
    content = bytearray((tmp_path / "w.parquet").read_bytes())
    content[200_000:400_000] = bytes(200_000)
    text = fails(write(tmp_path, bytes(content), "bad.parquet"))
    assert "bad.parquet: the Parquet file is damaged" in text
    table = arrow.Table.from_pandas(frame.reset_index())
    parquet.write_table(table.append_column("rain_mm", table["temp_c"]), tmp_path / "w.parquet")
    assert "two columns are called rain_mm" in fails(tmp_path / "w.parquet")


@pytest.mark.parametrize("kind", ["csv", "parquet"])
@pytest.mark.parametrize("step", ["15min", "h"])
def test_a_table_reads_back_as_it_was_written(kind: str, step: str, tmp_path: Path) -> None:
    if kind == "parquet":
        pytest.importorskip("pyarrow")
    times = hours("2024-01-01", 60, step)
    cooler = rows(times).replace(f"{times[9]},10", f"{times[9]},8")
    table = read_weather(write(tmp_path, cooler), MAP)
    if step == "h":  # as a service gives it
        table = table.assign(
            **dict.fromkeys(PERIOD_COLUMNS, np.nan),
            temp_min_c=table["temp_c"] - 2,
            temp_max_c=table["temp_c"] + 2,
        )
        table.iloc[6:12, 3:7] = [[np.nan, 4.0, 6.0, hour] for hour in range(6)]
    getattr(table, f"to_{kind}")(tmp_path / f"again.{kind}")
    again = read_weather(tmp_path / f"again.{kind}")
    pd.testing.assert_frame_equal(table, again, check_freq=False)
    assert again.attrs["notes"] == []
    gap = table.drop(table.index[[3, 4]])
    getattr(gap, f"to_{kind}")(tmp_path / f"gap.{kind}")
    again = read_weather(tmp_path / f"gap.{kind}")
    expected = gap.reindex(table.index)
    pd.testing.assert_frame_equal(expected, again, check_freq=False, check_names=False)


def test_text_in_an_extreme_or_a_total_is_refused(tmp_path: Path) -> None:
    head = HEADER.strip() + ",temp_min_c,temp_max_c\n"
    text = head + "2024-01-01T00:00Z,10,5,2,0,-2,12\n2024-01-01T01:00Z,10,5,2,0,cold,12\n"
    said = fails(write(tmp_path, text))
    assert "temp_min_c (temp_min_c), row 2: text in numbers" in said
    assert "'cold'" in said


def test_a_frost_stated_in_a_file_with_a_missing_row_is_kept(tmp_path: Path) -> None:
    table = fortnight(temp_min_c={NOON + 3: -1.0}, temp_max_c=14.0)
    assert hour(table, OIL)["verdict"] == "unknown"
    table.drop(table.index[NOON - 100]).to_csv(tmp_path / "w.csv")
    again = read_weather(tmp_path / "w.csv")
    assert again["temp_min_c"].iloc[NOON + 3] == -1.0
    assert hour(again, OIL)["verdict"] == "unknown"


def test_a_column_that_stands_twice(tmp_path: Path) -> None:
    head = HEADER.strip() + ",rain_mm,note,note\n"
    path = write(
        tmp_path, head + "2024-01-01T00:00Z,10,5,2,0,0,a,b\n2024-01-01T01:00Z,9,5,2,0,5,,\n"
    )
    text = fails(path)
    assert "two columns are called 'rain_mm'" in text
    assert "got '0 and 5'" in text
    same = head + "2024-01-01T00:00Z,10,5,2,0.5,0.50,a,b\n2024-01-01T01:00Z,9,5,2,,,,\n"
    assert list(read_weather(write(tmp_path, same))["rain_mm"].isna()) == [False, True]


LINES = st.lists(
    st.sampled_from(["1,2", "1", "", "1,2,3", '1,"2,3"', "1,2,", "1,2, ;"]), max_size=9
)


@given(LINES, st.integers(0, 2), st.booleans(), st.sampled_from([",", r"\s+"]))
def test_lines_are_counted_as_one_by_one(
    tmp_path_factory: pytest.TempPathFactory, lines: list[str], skip: int, ended: bool, sep: str
) -> None:
    sign = "," if sep == "," else None
    text = "\n".join(lines).replace(",", sign or " ") + "\n" * ended
    path = write(tmp_path_factory.getbasetemp(), text)
    said = ""
    whole = text.splitlines()
    for number, line in enumerate(whole, start=1):
        fields = line.split(sign) if sign or line.split() else []
        if number > skip and '"' not in line and "".join(fields[2:]).strip(" ;"):
            said = f"line {number}:"
            break
    else:
        last = whole[-1] if len(whole) > skip and not text.endswith("\n") else '"'
        if '"' not in last and len(last.split(sign)) < 2:
            said = "cut off in its last line"
    # blocks of a few bytes, so that lines cross their borders
    with mock.patch.object(raw, "_BLOCK_BYTES", 5), ExitStack() as stack:
        if said:
            stack.enter_context(pytest.raises(InputError, match=said))
        raw.check_lines(path, sep, 2, skip)


def test_one_mistyped_year_fills_no_memory(tmp_path: Path) -> None:
    stamps = [*hours("2024-01-01", 48), "2199-01-03 00:00"]
    tracemalloc.start()
    text = fails(write(tmp_path, rows(stamps)), MAP)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert "century, with few rows; expected real dates; got '2024-01-01 to 2199-01-03'" in text
    assert most < 50e6
    # pandas 2 knows no year beyond 2262, and takes the stamp for none
    beyond = fails(write(tmp_path, rows([*stamps[:48], "9999-01-03 00:00"])), MAP)
    assert "got '2024-01-01 to 9999-01-03'" in beyond or "got '9999-01-03 00:00'" in beyond
    long = MAP | {"rain_mm": MAP["rain_mm"] | {"covers": "9000000h"}}
    assert "more than a century" in fails(write(tmp_path, rows(stamps[:48])), long)


def test_a_record_of_more_than_a_century_is_read_whole(tmp_path: Path) -> None:
    times = pd.date_range("1880-01-01", "2025-01-01", freq="6h", tz="UTC")  # 145 years
    frame = pd.DataFrame({"t": times, "temp": 10.0, "dew": 5.0, "wind": 2.0, "rain": 0.0})
    frame.to_parquet(tmp_path / "w.parquet")
    layout = MAP | {"rain_mm": MAP["rain_mm"] | {"covers": "6h", "stamp": "end"}}
    table = read_weather(tmp_path / "w.parquet", layout)
    assert (table.index[0].year, table.index[-1]) == (1879, times[-1])
    assert table.index[-1] - table.index[0] >= times[-1] - times[0]


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
        (gzip.compress(HEADER.encode() * 5000, mtime=0)[:60], "cut off"),
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
        ({"temp_c": {"column": "temp"}}, "temp_c.unit: no unit; expected one of degC, degF, K"),
        ({"wind_ms": {"column": "wind"}}, "no unit; expected one of m/s, km/h, mph, kn"),
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


@pytest.mark.parametrize("sign", ["\u2028", "\u0085", "\v", "\f", "\x1c"])
def test_only_what_ends_a_line_for_pandas_ends_it(sign: str, tmp_path: Path) -> None:
    header, *lines = rows(hours("2024-01-01", 3)).splitlines()
    plain = read_weather(write(tmp_path, "\n".join([header, *lines, ""])), MAP)
    noted = [f"no{sign}te,{header}", *(f"x{sign}y,{line}" for line in lines), ""]
    for separator in (",", ";"):
        path = write(tmp_path, "\n".join(noted).replace(",", separator))
        pd.testing.assert_frame_equal(read_weather(path, MAP), plain)
    path = write(tmp_path, "\n".join([f"{header}{sign}x", *lines, ""]))
    assert "no column 'rain'" in fails(path, MAP)

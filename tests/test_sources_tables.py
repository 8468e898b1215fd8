from __future__ import annotations

import gzip
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import InputError, SprayWindowError, WeatherError
from spraywindow.sources.columns import load_map
from spraywindow.sources.tables import read_weather

HEADER = "time,temp_c,dew_point_c,wind_ms,rain_mm\n"
MAP: dict[str, Any] = {
    "time": {"column": "t", "timezone": "UTC"},
    "temp_c": {"column": "temp", "unit": "degC"},
    "dew_point_c": {"column": "dew", "unit": "degC"},
    "wind_ms": {"column": "wind", "unit": "m/s"},
    "rain_mm": {"column": "rain", "unit": "mm"},
}


def write(path: Path, text: str | bytes, name: str = "w.csv") -> Path:
    target = path / name
    target.write_bytes(text if isinstance(text, bytes) else text.encode())
    return target


def rows(stamps: list[str], rain: list[object] | None = None, temp: object = 10) -> str:
    rain = rain or [0] * len(stamps)
    lines = [f"{t},{temp},5,2,{mm}" for t, mm in zip(stamps, rain, strict=True)]
    return "t,temp,dew,wind,rain\n" + "\n".join(lines) + "\n"


def hours(start: str, count: int, freq: str = "h") -> list[str]:
    return [str(t) for t in pd.date_range(start, periods=count, freq=freq)]


def fails(path: Path, columns: Any = None, **more: Any) -> str:
    with pytest.raises(SprayWindowError) as caught:
        read_weather(path, columns, **more)
    text = str(caught.value)
    assert "\n" not in text
    return text


# The file


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


# The map


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


# The clock


def test_naive_stamps_need_a_zone(tmp_path: Path) -> None:
    text = HEADER + "2024-01-01T00:00,10,5,2,0\n"
    assert "time.timezone" in fails(write(tmp_path, text))


def test_offsets_are_converted_and_not_mixed_with_none(tmp_path: Path) -> None:
    stamps = ["2024-01-01T00:00+02:00", "2024-01-01T00:00+01:00"]
    table = read_weather(write(tmp_path, rows(stamps)), MAP)
    assert [str(t) for t in table.index.hour] == ["22", "23"]
    mixed = write(tmp_path, rows(["2024-01-01T00:00Z", "2024-01-01T01:00"]))
    assert "some do not" in fails(mixed, MAP)


def test_what_is_no_stamp(tmp_path: Path) -> None:
    text = fails(write(tmp_path, rows(["13/01/2024 00:00", "13/01/2024 01:00"])), MAP)
    assert "2 stamps are not times" in text
    assert "time.format" in text


def local(zone: str, **more: Any) -> dict[str, Any]:
    return MAP | {"time": {"column": "t", "timezone": zone, **more}}


def test_fixed_offset_and_half_hour_zones(tmp_path: Path) -> None:
    path = write(tmp_path, rows(hours("2024-01-01", 3)))
    assert read_weather(path, local("UTC-08:00")).index[0].hour == 8
    india = read_weather(path, local("Asia/Kolkata"))
    assert india.index[0] == pd.Timestamp("2023-12-31T18:30Z")
    quarters = write(tmp_path, rows(hours("2024-01-01", 8, "15min"), [1] * 8))
    table = read_weather(quarters, local("Asia/Kolkata"))
    assert list(table.index.minute) == [30, 30]  # whole hours on the local clock
    assert list(table["rain_mm"]) == [4, 4]


def test_the_hour_that_the_clock_skips(tmp_path: Path) -> None:
    good = ["2024-03-10 01:00", "2024-03-10 03:00"]
    zone = local("America/New_York")
    assert len(read_weather(write(tmp_path, rows(good)), zone)) == 2
    bad = write(tmp_path, rows([good[0], "2024-03-10 02:00", good[1]]))
    assert "2024-03-10 02:00:00" in fails(bad, zone)


def test_the_hour_that_comes_twice(tmp_path: Path) -> None:
    zone = local("America/New_York")
    twice = [f"2024-11-03 0{hour}:00" for hour in (0, 1, 1, 2)]
    forward = read_weather(write(tmp_path, rows(twice, [1, 2, 3, 4])), zone)
    assert list(forward.index.hour) == [4, 5, 6, 7]
    assert list(forward["rain_mm"]) == [1, 2, 3, 4]
    back = read_weather(write(tmp_path, rows(twice[::-1], [4, 3, 2, 1])), zone)
    pd.testing.assert_frame_equal(forward, back)
    single = [twice[0], twice[1], twice[3], "2024-11-03 03:00", "2024-11-03 04:00"]
    once = read_weather(write(tmp_path, rows(single)), zone)
    assert list(once["rain_mm"].isna()) == [False, True, True, False, False, False]
    assert any("cannot be told apart" in note for note in once.attrs["notes"])


def test_the_double_hour_in_halves(tmp_path: Path) -> None:
    stamps = [f"2024-11-03 {t}" for t in ("00:30", "01:00", "01:30", "01:00", "01:30", "02:00")]
    table = read_weather(write(tmp_path, rows(stamps, [1] * 6)), local("America/New_York"))
    np.testing.assert_array_equal(table["rain_mm"], [np.nan, 2, 2, np.nan])


def test_twenty_four_o_clock(tmp_path: Path) -> None:
    stamps = ["01/31/2024 23:00", "01/31/2024 24:00"]
    table = read_weather(write(tmp_path, rows(stamps)), local("UTC", format="%m/%d/%Y %H:%M"))
    assert table.index[-1] == pd.Timestamp("2024-02-01T00:00Z")


def test_stamps_near_the_hour_are_set_on_it(tmp_path: Path) -> None:
    stamps = [f"2024-01-01 0{h}:5{m}" for h, m in ((0, 4), (1, 2), (2, 3))]
    path = write(tmp_path, rows([*stamps[:1], "2024-01-01 01:20", *stamps[1:]]))
    assert "time.round" in fails(write(tmp_path, rows(stamps), "b.csv"), MAP)
    table = read_weather(path, local("UTC", round="10min"))
    assert list(table.index.hour) == [1, 2, 3]
    assert "1 rows between the hours were left out" in table.attrs["notes"]


# Order


def test_shuffled_and_doubled_hours(tmp_path: Path) -> None:
    h = hours("2024-01-01", 4)
    shuffled = write(tmp_path, rows([h[0], h[2], h[1], h[3]]))
    assert "out of order" in fails(shuffled, MAP)
    differ = write(tmp_path, rows([h[0], h[1], h[1]], [0, 0, 5]))
    assert "stand twice" in fails(differ, MAP)
    same = read_weather(write(tmp_path, rows([h[0], h[1], h[1]])), MAP)
    assert len(same) == 2
    assert "1 rows that repeat another were dropped" in same.attrs["notes"]
    turned = read_weather(write(tmp_path, rows(h[::-1], [4, 3, 2, 1])), MAP)
    assert list(turned["rain_mm"]) == [1, 2, 3, 4]


# Values


def test_units_scale_height_and_codes(tmp_path: Path) -> None:
    text = "t,temp,rh,wind,rain\n2024-01-01 00:00,500,50,10,T\n2024-01-01 01:00,-9999,M,10,0.10s\n"
    columns = {
        "time": MAP["time"],
        "temp_c": {"column": "temp", "unit": "degF", "scale": 0.1, "missing": -9999},
        "rh_pct": {"column": "rh", "unit": "%", "missing": "M"},
        "wind_ms": {"column": "wind", "unit": "m/s", "height": "2 m"},
        "rain_mm": {"column": "rain", "unit": "in", "trace": "T", "flags": "s"},
    }
    table = read_weather(write(tmp_path, text), columns)
    np.testing.assert_allclose(table["temp_c"], [10.0, np.nan])
    # FAO-56 eq. 47: the wind at 2 m is 0.748 of that at 10 m.
    np.testing.assert_allclose(table["wind_ms"], 10 / 0.748, rtol=1e-3)
    np.testing.assert_allclose(table["rain_mm"], [0.0, 2.54])
    assert table["dew_point_c"].isna().tolist() == [False, True]
    # Magnus with the constants of FAO-56 (eq. 11 and annex 3): half saturation at 10 degC.
    assert table["dew_point_c"].iloc[0] == pytest.approx(0.06, abs=0.1)
    assert any("1 traces" in note for note in table.attrs["notes"])


def test_text_in_numbers_is_refused(tmp_path: Path) -> None:
    text = fails(write(tmp_path, rows(hours("2024-01-01", 3), [0, "wet", 0])), MAP)
    assert "'wet'" in text
    assert "row 2" in text


@pytest.mark.parametrize("code", [-9999, 999.9])
def test_undeclared_missing_codes(code: float, tmp_path: Path) -> None:
    stamps = hours("2024-01-01", 100)
    path = write(tmp_path, rows(stamps, [0] * 90 + [code] * 10))
    assert f"missing = [{code:g}]" in fails(path, MAP)
    declared = MAP | {"rain_mm": MAP["rain_mm"] | {"missing": [code]}}
    assert read_weather(path, declared)["rain_mm"].isna().sum() == 10


def test_two_hundred_degrees_and_a_swapped_dew_point(tmp_path: Path) -> None:
    assert "is the unit right" in fails(
        write(tmp_path, rows(hours("2024-01-01", 3), temp=200)), MAP
    ) or "missing = [200]" in fails(write(tmp_path, rows(hours("2024-01-01", 3), temp=200)), MAP)
    swapped = MAP | {"temp_c": MAP["dew_point_c"], "dew_point_c": MAP["temp_c"]}
    assert "swapped" in fails(write(tmp_path, rows(hours("2024-01-01", 3))), swapped)


def test_an_isolated_impossible_value_is_not_interpolated_or_summed(tmp_path: Path) -> None:
    stamps = hours("2024-01-01", 2000, "3h")
    text = rows(stamps, ["" for _ in stamps]).replace(
        f"{stamps[7]},10,5,2,", f"{stamps[7]},10,5,999,"
    )
    table = read_weather(write(tmp_path, text), MAP | {"rain_mm": "unknown"})
    assert table["wind_ms"].max() == 2.0
    assert table["wind_ms"].isna().sum() == 5


def test_sky_obscured_is_unknown(tmp_path: Path) -> None:
    text = rows(hours("2024-01-01", 2)).replace("rain\n", "rain,n\n").replace(",0\n", ",0,9\n")
    table = read_weather(write(tmp_path, text), MAP | {"cloud": {"column": "n", "unit": "oktas"}})
    assert table["cloud"].isna().all()


# Steps and stamps


def test_a_total_stamped_at_its_end_moves_once(tmp_path: Path) -> None:
    path = write(tmp_path, rows(hours("2024-01-01", 3), [1, 2, 3]))
    table = read_weather(path, MAP | {"rain_mm": MAP["rain_mm"] | {"stamp": "end"}})
    assert table["rain_mm"]["2024-01-01T01:00Z"] == 3
    assert np.isnan(table["rain_mm"]["2024-01-01T02:00Z"])
    assert table["temp_c"]["2024-01-01T02:00Z"] == 10


def test_a_coarse_total_must_say_its_length(tmp_path: Path) -> None:
    path = write(tmp_path, rows(hours("2024-01-01", 5, "3h")))
    assert 'rain_mm.covers = "3h"' in fails(path, MAP)


def test_hourly_and_longer_totals_together(tmp_path: Path) -> None:
    text = "t,temp,dew,wind,rain,six\n" + "\n".join(
        f"{t},10,5,2,{mm},{six}"
        for t, mm, six in zip(
            hours("2024-01-01", 7),
            ["", 0, 0, "", "", 0, 0],
            ["", "", "", "", "", "", 5],
            strict=True,
        )
    )
    more = [
        {"column": "six", "unit": "mm", "stamp": "end", "covers": "6h"},
        {"column": "rain", "unit": "mm", "stamp": "end"},
    ]
    table = read_weather(write(tmp_path, text), MAP | {"rain_mm": more})
    period = table.loc["2024-01-01T02:00Z":"2024-01-01T03:00Z"]
    assert list(period["rain_total_mm"]) == [5, 5]
    assert list(period["rain_total_h"]) == [2, 2]
    assert table["rain_total_mm"].notna().sum() == 2


def test_gusts_and_rain_that_go_unreported(tmp_path: Path) -> None:
    text = "t,temp,dew,wind,rain,gust\n2024-01-01 00:00,10,5,2,,\n2024-01-01 01:00,,,,,\n"
    columns = MAP | {
        "gust_ms": {"column": "gust", "unit": "m/s", "absent": "none_reported"},
        "rain_mm": MAP["rain_mm"] | {"absent": "none_reported"},
    }
    table = read_weather(write(tmp_path, text + "2024-01-01 02:00,9,5,2,1,8\n"), columns)
    np.testing.assert_array_equal(table["gust_ms"], [2, np.nan, 8])
    np.testing.assert_array_equal(table["rain_mm"], [0, np.nan, 1])  # no report is not dry


def test_steps_that_fit_no_hour(tmp_path: Path) -> None:
    path = write(tmp_path, rows(hours("2024-01-01", 9, "7min")))
    assert "fit no hour" in fails(path, MAP)


def test_what_was_written_reads_back(tmp_path: Path) -> None:
    path = write(tmp_path, rows(hours("2024-01-01", 5, "3h"), [0, 4, 0, 3, 0]))
    table = read_weather(path, MAP | {"rain_mm": MAP["rain_mm"] | {"covers": "3h"}})
    table.to_csv(tmp_path / "again.csv")
    again = read_weather(tmp_path / "again.csv")
    pd.testing.assert_frame_equal(table, again, check_freq=False)


def test_a_small_file_loads_no_service(tmp_path: Path) -> None:
    path = write(tmp_path, HEADER + "2024-01-01T00:00Z,10,5,2,0\n")
    code = (
        "import sys; from spraywindow.sources.tables import read_weather; "
        f"read_weather({str(path)!r}); "
        "heavy = {'meteostat', 'requests', 'requests_cache', 'pvlib', 'pyarrow.parquet'}; "
        "sys.exit(str(heavy & set(sys.modules)) if heavy & set(sys.modules) else 0)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)


def test_errors_are_of_the_right_kind(tmp_path: Path) -> None:
    with pytest.raises(WeatherError, match="out of order"):
        read_weather(
            write(tmp_path, rows(["2024-01-01 01:00", "2024-01-01 00:00", "2024-01-01 02:00"])), MAP
        )

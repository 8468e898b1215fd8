"""Members from files: CF names and units, totals made whole, slopes left out."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import InputError, SprayWindowError
from spraywindow.sources.members.members import whole_totals, without_long_lines
from spraywindow.sources.members.read_file import read_members
from spraywindow.weather import weather_source
from tests.conftest import SHARED, needs_records

GEFS = SHARED / "data" / "ensemble-point" / "gefs_hourly_31members_2022-10-02_fcre.parquet"
NO = np.nan


def long_form(**other: Any) -> pd.DataFrame:
    """Two members, four hours; the second lacks its last temperature."""
    hours = pd.date_range("2026-01-10", periods=4, freq="h", tz="UTC")
    given: dict[str, Any] = {
        "air_temperature": [280.0, 281.0, 280.0, 282.0],
        "relative_humidity": [0.5, 0.5, 1.02, 0.5],
        "precipitation_flux": [0.0, 1 / 3600, 0.0, 2 / 3600],
        "eastward_wind": [3.0] * 4,
        "northward_wind": [-4.0] * 4,
        **other,
    }
    rows = [
        {"datetime": at, "parameter": member, "variable": name, "prediction": value,
         "reference_datetime": hours[0]}
        for name, values in given.items()
        for member in (1, 2)
        for at, value in zip(hours, values, strict=True)
    ]  # fmt: skip
    frame = pd.DataFrame(rows)
    last = (frame["parameter"] == 2) & (frame["datetime"] == hours[-1])
    return frame[~(last & (frame["variable"] == "air_temperature"))]


def written(path: Path, frame: pd.DataFrame) -> Path:
    target = path / "members.parquet"
    frame.to_parquet(target)
    return target


def test_cf_quantities_come_in_our_units(tmp_path: Path) -> None:
    out = read_members(written(tmp_path, long_form()), credit="whom to thank")
    assert out.count == 2
    assert out.columns["temp_c"][:, 0].tolist() == pytest.approx([6.85, 7.85, 6.85, 8.85])
    assert np.isnan(out.columns["temp_c"][3, 1])  # what a member lacks is unknown
    assert out.columns["rain_mm"][:, 0].tolist() == pytest.approx([0, 1, 0, 2])
    assert np.allclose(out.columns["wind_ms"], 5.0)
    assert np.allclose(out.columns["wind_from_deg"], np.degrees(np.arctan2(-3, 4)) % 360)
    # half of saturation at 6.85 degC: FAO-56 annex 3, by hand
    assert out.columns["dew_point_c"][0, 0] == pytest.approx(-2.83, abs=0.005)
    assert out.columns["dew_point_c"][2, 0] == pytest.approx(6.85)  # above saturation is rounding
    source = weather_source(out.table(0), out.index[0] + pd.Timedelta(hours=5))
    assert (source.age_h, source.credit) == (5.0, "whom to thank")


def test_sums_stamped_at_the_end_of_their_hour_move_and_instants_stay(tmp_path: Path) -> None:
    out = read_members(written(tmp_path, long_form()), stamp="end")
    assert out.columns["rain_mm"][:3, 0].tolist() == pytest.approx([1, 0, 2])
    assert np.isnan(out.columns["rain_mm"][3]).all()
    assert out.columns["temp_c"][0, 0] == pytest.approx(6.85)


def test_an_amount_that_was_spread_is_made_whole() -> None:
    rain, periods = whole_totals(np.array([0.0, 0.2, 0.2, 0.2, 0.0, -0.02, 0.5, 0.1, 0.1, NO]))
    np.testing.assert_array_equal(rain, [0, NO, NO, NO, 0, 0, 0.5, NO, NO, NO])
    np.testing.assert_allclose(periods[0], [NO, 0.6, 0.6, 0.6, NO, NO, NO, 0.2, 0.2, NO])
    np.testing.assert_array_equal(periods[1], [NO, 3, 3, 3, NO, NO, NO, 2, 2, NO])
    np.testing.assert_array_equal(periods[2], [NO, 0, 1, 2, NO, NO, NO, 0, 1, NO])
    rain, periods = whole_totals(np.full(13, 0.1))
    assert np.isnan(rain).all()
    assert np.isnan(periods).all()  # of more than twelve hours nothing is known


def test_a_slope_over_more_than_three_hours_was_interpolated() -> None:
    line = np.array([5.0, 6, 7, 8, 6, 4, 2, 0, 1, 1, 1, 1, 1, 1])
    expected = [5, 6, 7, 8, NO, NO, NO, 0, 1, 1, 1, 1, 1, 1]
    np.testing.assert_array_equal(without_long_lines(line), expected)


@needs_records
def test_recorded_members() -> None:
    out = read_members(GEFS)
    assert (out.count, len(out.index)) == (31, 841)
    assert out.attrs["source"]["issued"] == pd.Timestamp("2022-10-02", tz="UTC")
    raw = pd.read_parquet(GEFS)
    raw = raw[(raw["parameter"] == 7) & (raw["variable"] == "precipitation_flux")]
    # whole again: no hour of the first ten days lost or gained rain
    first = slice(0, 240)
    total, hours = (out.columns[name][first, 6] for name in ("rain_total_mm", "rain_total_h"))
    mm = np.nansum(total / hours) + np.nansum(out.columns["rain_mm"][first, 6])
    given = raw.sort_values("datetime")["prediction"].to_numpy()[first] * 3600
    assert mm == pytest.approx(given[given > 0].sum())
    assert set(np.unique(hours[~np.isnan(hours)])) <= {3.0, 6.0, 12.0}  # what they were made of
    # GEFS comes in steps of 3 h to day ten and of 6 h after: straight in between
    assert not np.isnan(out.columns["temp_c"][first]).any()
    known = ~np.isnan(out.columns["temp_c"][246:840]).mean(axis=1).astype(bool)
    assert set(out.index.hour[246:840][known]) == {0, 6, 12, 18}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda f: f.drop(columns="prediction"), "no column.*prediction"),
        (lambda f: f.drop(columns="parameter"), "no column of members"),
        (lambda f: f[f["variable"] != "precipitation_flux"], "no precipitation_flux"),
        (lambda f: f[f["variable"] != "relative_humidity"], "no dew_point_temperature or"),
        (lambda f: pd.concat([f, f]), "stands twice"),
        (lambda f: f.assign(reference_datetime=f["datetime"]), "one issue"),
        (lambda f: f.assign(datetime=f["datetime"] + pd.Timedelta("30min")), "not on an hour"),
        (lambda f: f.assign(datetime=[f"noon {t}" for t in f["datetime"]]), "stamp is not a time"),
        (lambda f: f.assign(reference_datetime="noon"), "time of issue is none"),
        (lambda f: f.assign(prediction="warm"), "holds more than numbers"),
        (lambda f: f.assign(prediction=f["prediction"] - 200), "member 1: .*impossible values"),
    ],
)  # fmt: skip
def test_what_is_no_forecast_of_members_is_refused(tmp_path: Path, change: Any, words: str) -> None:
    with pytest.raises(SprayWindowError, match=words):
        read_members(written(tmp_path, change(long_form())))


def dataset(units: str = "kg m-2 s-1") -> Any:
    import xarray

    hours = pd.date_range("2026-01-10", periods=4, freq="h")
    shape = (4, 3)
    return xarray.Dataset(
        {
            "t2m": (("time", "number"), np.full(shape, 280.0),
                    {"standard_name": "air_temperature", "units": "K"}),
            "d2m": (("time", "number"), np.full(shape, 3.0),
                    {"standard_name": "dew_point_temperature", "units": "degC"}),
            "tp": (("time", "number"), np.array([[0, 1, 2]] * 4) * [[1], [0], [1], [0]] / 3600.0,
                   {"standard_name": "precipitation_flux", "units": units}),
        },
        {"time": hours, "number": [0, 1, 2], "forecast_reference_time": hours[0]},
    )  # fmt: skip


@pytest.mark.parametrize("engine", ["scipy", "h5netcdf"])  # the classic format and netCDF 4
def test_netcdf_is_read_by_its_own_units(tmp_path: Path, engine: Any) -> None:
    dataset().to_netcdf(tmp_path / "m.nc", engine=engine)
    out = read_members(tmp_path / "m.nc")
    assert out.count == 3
    assert np.allclose(out.columns["temp_c"], 6.85)
    assert np.allclose(out.columns["dew_point_c"], 3.0)
    assert out.columns["rain_mm"][0].tolist() == pytest.approx([0, 1, 2])
    assert np.isnan(out.columns["wind_ms"]).all()  # not there: unknown
    assert out.attrs["source"]["issued"] == pd.Timestamp("2026-01-10", tz="UTC")
    dataset("inches").to_netcdf(tmp_path / "odd.nc")
    with pytest.raises(InputError, match="precipitation_flux comes in 'inches'"):
        read_members(tmp_path / "odd.nc")
    dataset().expand_dims(place=2).to_netcdf(tmp_path / "two.nc")
    with pytest.raises(InputError, match="one place"):
        read_members(tmp_path / "two.nc")


def test_an_extra_that_is_absent_or_a_file_that_is_none_is_one_clear_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "m.nc").write_bytes(b"CDF\x01" + b"\xff" * 40)
    with pytest.raises(InputError, match="cannot be read"):
        read_members(tmp_path / "m.nc")
    monkeypatch.setitem(sys.modules, "xarray", None)
    with pytest.raises(InputError, match=r"netCDF needs an extra; .*spraywindow\[netcdf\]"):
        read_members(tmp_path / "m.nc")
    (tmp_path / "m.parquet").write_bytes(b"PAR1 and no more")
    with pytest.raises(InputError, match="damaged"):
        read_members(tmp_path / "m.parquet")
    (tmp_path / "m.csv").write_text("a,b\n1,2\n")
    with pytest.raises(InputError, match="Parquet or netCDF"):
        read_members(tmp_path / "m.csv")
    with pytest.raises(InputError, match="cannot be read"):
        read_members(tmp_path / "none.nc")

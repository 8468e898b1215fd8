"""Gridded forecasts, on files written in the form of open forecasts (none can be fetched here).

The oracle of values and cells is cfgrib, on the same files; of hours, the reader of coarse tables.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from spraywindow import Place, read_grid, read_weather
from spraywindow.errors import InputError
from spraywindow.sources import settle_totals
from spraywindow.sources.grids.cells import Sites, find_cells
from spraywindow.sources.grids.fields import Key, in_our_unit
from spraywindow.sources.grids.hours import _rain, _Series
from spraywindow.sources.grids.tables import site_table
from tests.command import command
from tests.grid_files import (
    COLUMNS,
    LATITUDE,
    LONGITUDE,
    ROWS,
    Message,
    instant,
    weather,
    write_grib,
)
from tests.site_files import write_site
from tests.weather_files import write

REAL = Path(xr.__file__).parent / "tests" / "data" / "example.grib"
SITES = {
    "valley": Place(38.30, 21.60, 200.0, "Europe/Athens"),
    "hill": Place(38.70, 22.90, 900.0, "Europe/Athens"),
}
DRY = {(0, 1): 0.0, (0, 2): 0.0, (0, 3): 0.0}
NO = np.nan


def grib(folder: Path, messages: list[Message], name: str = "run.grib2") -> Path:
    return write_grib(folder / name, messages)


def test_sums_of_the_run_are_differenced_and_longer_steps_stay_whole(tmp_path: Path) -> None:
    # by hand: 1 mm in hour 1, 3 mm somewhere in hours 3 to 5, none in 6 to 8
    rain = {(0, 1): 0.0, (0, 2): 0.001, (0, 3): 0.001, (0, 6): 0.004, (0, 9): 0.004}
    data = read_grid(grib(tmp_path, weather([0, 1, 2, 3, 6, 9], rain)), SITES)
    one = data.sel(site="valley")
    np.testing.assert_allclose(one["rain_mm"], [0, 1, 0, NO, NO, NO, 0, 0, 0, NO], atol=1e-5)
    total = one["rain_total_mm"].to_numpy()
    np.testing.assert_allclose(total, [NO] * 3 + [3] * 3 + [NO] * 4, atol=1e-5)
    assert one["rain_total_hour"].to_numpy()[3:6].tolist() == [0, 1, 2]


def test_steps_of_their_own_and_of_six_hour_buckets_tell_the_same(tmp_path: Path) -> None:
    run = {(0, end): float(mm) / 1000 for end, mm in ((3, 0), (6, 2), (9, 5), (12, 5))}
    own = {(0, 3): 0.0, (3, 6): 0.002, (6, 9): 0.003, (9, 12): 0.0}
    bucket = {(0, 3): 0.0, (0, 6): 0.002, (6, 9): 0.003, (6, 12): 0.003}
    read = [
        read_grid(grib(tmp_path, weather([0, 3, 6, 9, 12], rain)), SITES)
        for rain in (run, own, bucket, run | bucket)
    ]
    for other in read[1:]:
        for name in ("rain_mm", "rain_total_mm", "rain_total_h"):
            np.testing.assert_allclose(other[name], read[0][name], atol=1e-5)


def test_a_sum_that_falls_is_refused(tmp_path: Path) -> None:
    rain = {(0, 1): 0.004, (0, 2): 0.001}  # single hours, labelled as sums of the run
    with pytest.raises(InputError, match=r"rain summed from one hour on falls.*single steps"):
        read_grid(grib(tmp_path, weather([0, 1, 2], rain)), SITES)


def test_steps_that_overlap_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="steps of rain overlap"):
        read_grid(grib(tmp_path, weather([0, 3, 6], {(0, 4): 0.0, (3, 6): 0.0})), SITES)


@pytest.mark.parametrize("method", ["nearest", "bilinear"])
def test_cells_and_values_are_those_that_cfgrib_reads(method: str, tmp_path: Path) -> None:
    field = 270.0 + np.arange(ROWS * COLUMNS).reshape(ROWS, COLUMNS) % 17
    path = grib(tmp_path, weather([0, 1], {(0, 1): 0.0}, temp=lambda step: field + step))
    ours = read_grid(path, SITES, method=method)["temp_c"]
    keys = {"filter_by_keys": {"shortName": "2t"}, "indexpath": ""}
    theirs = xr.open_dataset(path, engine="cfgrib", backend_kwargs=keys)["t2m"]
    at = {
        name: xr.DataArray([getattr(place, name) for place in SITES.values()], dims="site")
        for name in ("latitude", "longitude")
    }
    want = (
        theirs.sel(at, method="nearest") if method == "nearest"
        else theirs.interp(at, method="linear")
    )  # fmt: skip
    np.testing.assert_allclose(ours, want.to_numpy() - 273.15, atol=1e-4)


def test_a_site_reads_as_its_three_hourly_table_would(tmp_path: Path) -> None:
    steps = list(range(0, 31, 6))
    rng = np.random.default_rng(13)
    temp = dict(zip(steps, rng.normal(278.0, 4.0, len(steps)).round(2), strict=True))
    rain = {(a, a + 6): float(rng.choice([0.0, 0.002])) for a in steps[:-1]}
    messages = weather(steps, rain, temp=lambda step: temp[step])
    ours = site_table(read_grid(grib(tmp_path, messages), SITES), "valley")
    lines = ["time,temp,dew,wind,from,rain"] + [
        f"2026-01-{12 + step // 24}T{step % 24:02}:00Z,{temp[step] - 273.15},"
        f"{temp[step] - 278.15},5,323.1301,{rain.get((step - 6, step), NO) * 1000}"
        for step in steps
    ]
    columns = {
        "time": {"column": "time"},
        "temp_c": {"column": "temp", "unit": "degC"},
        "dew_point_c": {"column": "dew", "unit": "degC"},
        "wind_ms": {"column": "wind", "unit": "m/s"},
        "wind_from_deg": {"column": "from", "unit": "deg"},
        "rain_mm": {"column": "rain", "unit": "mm", "covers": "6h", "stamp": "end",
                    "missing": "nan"},
    }  # fmt: skip
    table = read_weather(write(tmp_path, "\n".join(lines) + "\n"), columns)
    pd.testing.assert_frame_equal(
        ours[table.columns], table.loc[ours.index], rtol=1e-4, atol=2e-3, check_freq=False
    )
    assert ours["temp_min_c"].notna().any()  # 6 h apart: how far it may lie from the line
    assert ours.attrs["forecast_from"] == ours.attrs["source"]["issued"] == ours.index[0]


def test_totals_of_many_sites_settle_as_those_of_one() -> None:
    rng = np.random.default_rng(7)
    spans = [(0, 1), (1, 2), (2, 5), (5, 11), (11, 35)]
    values = rng.choice([0.0, 0.3, 2.5, NO], size=(len(spans), 40, 1))
    grid = np.arange(36, dtype=np.int64) * 60
    block = _rain(grid, _Series(spans, values))
    for site in range(40):
        rain, periods = np.full(36, NO), np.full((3, 36), NO)
        for (start, end), total in zip(spans, values[:, site, 0], strict=True):
            if end - start == 1:
                rain[start] = total
        for (start, end), total in zip(spans, values[:, site, 0], strict=True):
            if end - start > 1:
                rain, periods, _ = settle_totals(
                    rain, periods, np.array([start]), np.array([total]), end - start
                )
        np.testing.assert_array_equal(block["rain_mm"][:, site, 0], rain)
        np.testing.assert_array_equal(block["rain_total_mm"][:, site, 0], periods[0])
        np.testing.assert_array_equal(block["rain_total_hour"][:, site, 0], periods[2])


def test_gusts_cloud_radiation_and_heights(tmp_path: Path) -> None:
    more = [Message("10fg", 0, 3, 8.0), Message("10fg", 3, 6, 9.0)]
    more += instant("tcc", {0: 0.5, 1: 0.25})
    more += [Message("ssrd", 0, 1, 3.6e5), Message("ssrd", 0, 2, 1.08e6)]
    more += [Message("z", 0, 0, 9806.65)]  # 1000 m
    rain = {(0, 1): 0.0, (0, 3): 0.0, (0, 6): 0.0}
    data = read_grid(grib(tmp_path, weather([0, 1, 2, 3, 6], rain) + more), SITES)
    one = data.sel(site="hill")
    assert one["gust_ms"].to_numpy()[:6].tolist() == [8, 8, 8, 9, 9, 9]
    assert one["cloud"].to_numpy()[:2].tolist() == [0.5, 0.25]
    np.testing.assert_allclose(one["solar_wm2"][:3], [100.0, 200.0, NO], rtol=1e-5)
    assert data["height_difference"].to_numpy().tolist() == pytest.approx([800.0, 100.0])
    assert "1 sites lie more than 200 m" in data["height_difference"].attrs["comment"]
    assert "valley" in data["height_difference"].attrs["comment"]
    assert "the cell lies 100 m above the site" in site_table(data, "hill").attrs["notes"]


def test_an_instant_gust_is_the_higher_one_of_its_step(tmp_path: Path) -> None:
    messages = weather([0, 1, 2, 3], DRY) + instant("i10fg", {0: 4.0, 1: 9.0, 2: 5.0, 3: 2.0})
    gusts = read_grid(grib(tmp_path, messages), SITES)["gust_ms"].sel(site="hill")
    np.testing.assert_allclose(gusts, [9, 9, 5, NO])


def test_members_stand_on_an_axis(tmp_path: Path) -> None:
    first = weather([0, 1], {(0, 1): 0.0}, member=0)
    second = weather([0, 1], {(0, 1): 0.002}, member=7, temp=lambda step: 275.0)
    paths = [grib(tmp_path, first, "a.grib2"), grib(tmp_path, second, "b.grib2")]
    data = read_grid(paths, SITES)
    assert data["temp_c"].dims == ("time", "site", "member")
    assert data["member"].to_numpy().tolist() == [0, 7]
    np.testing.assert_allclose(data["rain_mm"][0, 0], [0.0, 2.0], atol=1e-5)
    with pytest.raises(InputError, match="of members"):
        site_table(data, "hill")
    single = grib(tmp_path, weather([0, 1], {(0, 1): 0.0}), "c.grib2")
    with pytest.raises(InputError, match="a single run among members"):
        read_grid([*paths, single], SITES)


def test_a_cell_without_a_value_is_unknown_and_weighs_only_where_it_counts(tmp_path: Path) -> None:
    field = np.full((ROWS, COLUMNS), 280.0)
    field[3, 2] = NO  # 38.25 N, 21.5 E: the valley's cell
    path = grib(tmp_path, weather([0, 1], {(0, 1): 0.0}, temp=lambda step: field))
    for method in ("nearest", "bilinear"):
        temp = read_grid(path, SITES, method=method)["temp_c"]
        assert np.isnan(temp.sel(site="valley")).all()
        assert not np.isnan(temp.sel(site="hill")).any()


def test_sites_outside_are_named(tmp_path: Path) -> None:
    path = grib(tmp_path, weather([0, 1], {(0, 1): 0.0}))
    away = SITES | {"far": Place(45.0, 21.0, 0.0, "Europe/Athens")}
    for method in ("nearest", "bilinear"):
        with pytest.raises(InputError, match=r"1 sites lie outside the grid; got 'far'"):
            read_grid(path, away, method=method)


def test_longitudes_close_over_the_globe() -> None:
    east, north = np.meshgrid(np.arange(0.0, 360.0, 10.0), np.arange(80.0, -81.0, -10.0))
    sites = Sites.of({"a": Place(5.0, -2.0, 0.0, "UTC"), "b": Place(-5.0, 179.0, 0.0, "UTC")})
    cells = find_cells(north.ravel(), east.ravel(), 36, sites, "bilinear", "globe")
    turned = np.cos(np.radians(east - 3.0)).ravel()
    np.testing.assert_allclose(cells.pick(north.ravel()), [5.0, -5.0], atol=1e-9)
    np.testing.assert_allclose(cells.pick(turned), np.cos(np.radians([-5.0, 176.0])), atol=5e-3)


def netcdf(folder: Path, **change: str | None) -> Path:
    """The form of CF: end-stamped sums with bounds, over rows of latitude and longitude."""
    times = pd.date_range("2026-01-12", periods=3, freq="3h")
    shape = (3, ROWS, COLUMNS)
    dims = ("time", "latitude", "longitude")
    given = {
        "t": ("air_temperature", "K", np.full(shape, 280.0), "time: point"),
        "d": ("dew_point_temperature", "degC", np.full(shape, 2.0), "time: point"),
        "w": ("wind_speed", "m s-1", np.full(shape, 2.0), "time: point"),
        "p": ("precipitation_amount", "kg m-2", np.full(shape, 1.5), "time: sum"),
    }
    data = xr.Dataset(
        {
            name: (dims, values, {"standard_name": standard, "units": unit, "cell_methods": method})
            for name, (standard, unit, values, method) in given.items()
        },
        {"time": times, "latitude": LATITUDE, "longitude": LONGITUDE,
         "forecast_reference_time": times[0]},
    )  # fmt: skip
    data["h"] = (dims[1:], np.full(shape[1:], 450.0),
                 {"standard_name": "surface_altitude", "units": "m"})  # fmt: skip
    data["time"].attrs["bounds"] = "ends"
    data["time"].encoding["units"] = "hours since 2026-01-01"
    data["ends"] = (("time", "two"), np.stack([times - pd.Timedelta(hours=3), times], axis=1))
    data["p"].attrs |= {key: value for key, value in change.items() if value is not None}
    if "bounds" in change:
        data = data.drop_vars("ends")
        del data["time"].attrs["bounds"]
    target = folder / "cf.nc"
    data.to_netcdf(target)
    return target


def test_netcdf_comes_to_the_same(tmp_path: Path) -> None:
    data = read_grid(netcdf(tmp_path), SITES, credit="whom to thank")
    one = data.sel(site="hill")
    assert one["time"].to_numpy()[0] == np.datetime64("2026-01-11T21:00")
    assert one["rain_total_mm"].to_numpy()[:9].tolist() == [1.5] * 9
    assert np.isnan(one["temp_c"].to_numpy()[:3]).all()
    np.testing.assert_allclose(one["temp_c"][3:], 6.85, atol=1e-4)
    assert float(one["height_difference"]) == -450.0
    assert (data.attrs["credit"], data.attrs["forecast_from"][:10]) == (
        "whom to thank", "2026-01-12",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"bounds": None}, "its periods are not told"),
        ({"units": "furlong"}, "another unit than is known for it"),
        ({"cell_methods": "time: point"}, "steps of another kind"),
    ],
)
def test_a_netcdf_total_that_cannot_be_told_is_refused(
    change: dict[str, str | None], told: str, tmp_path: Path
) -> None:
    with pytest.raises(InputError, match=told):
        read_grid(netcdf(tmp_path, **change), SITES)


def cut(path: Path) -> Path:
    path.write_bytes(path.read_bytes()[:-300])
    return path


@pytest.mark.parametrize(
    ("messages", "told"),
    [
        (weather([0, 1], {}), r"no rain \(tp\)"),
        (weather([0, 1], {(0, 1): 0.0})[2:], r"no temperature at 2 m \(2t\)"),
        ([*weather([0, 1], DRY), Message("2t", 1, 1, 290.0)], "stands twice and differs"),
        ([*weather([0, 1], DRY), Message("2t", 2, 2, 280.0, run=20260113)], "several runs"),
    ],
)
def test_what_the_fields_lack_or_contradict(
    messages: list[Message], told: str, tmp_path: Path
) -> None:
    with pytest.raises(InputError, match=told):
        read_grid(grib(tmp_path, messages), SITES)


def test_damaged_files_and_other_files_are_told_in_one_line(tmp_path: Path) -> None:
    whole = weather([0, 1], DRY)
    with pytest.raises(InputError, match="damaged or cut off"):
        read_grid(cut(grib(tmp_path, whole)), SITES)
    with pytest.raises(InputError, match="expected GRIB or netCDF"):
        read_grid(write(tmp_path, "time,temp_c\n"), SITES)
    with pytest.raises(InputError, match="cannot be read, or is empty"):
        read_grid(tmp_path / "none.grib2", SITES)
    (tmp_path / "bad.nc").write_bytes(b"\x89HDF\r\n\x1a\n" + b"x" * 100)
    with pytest.raises(InputError, match="netCDF file cannot be read"):
        read_grid(tmp_path / "bad.nc", SITES)


def test_an_instant_where_a_mean_belongs_and_another_unit_are_refused(tmp_path: Path) -> None:
    messages = [*weather([0, 1], DRY), *instant("sdswrf", {0: 200.0, 1: 300.0})]
    with pytest.raises(InputError, match=r"sdswrf: steps of another kind.*expected '?avg"):
        read_grid(grib(tmp_path, messages), SITES)
    key = Key("rain_mm", "accum", 0, 1, -1)
    assert in_our_unit(np.array([0.002]), key, "m", "tp").tolist() == [2.0]
    assert in_our_unit(np.array([2.0]), key, "kg m**-2", "tp").tolist() == [2.0]
    with pytest.raises(InputError, match=r"tp: another unit.*got 'kg m\*\*-2 s\*\*-1'"):
        in_our_unit(np.array([2.0]), key, "kg m**-2 s**-1", "tp")


def test_a_real_file_of_upper_levels_holds_no_weather_of_the_ground() -> None:
    # ERA5 of 2017-01-01, members on pressure levels: it comes with xarray
    with pytest.raises(InputError, match="no temperature"):
        read_grid(REAL, SITES)


def test_the_commands_read_their_sites_from_one_file(tmp_path: Path) -> None:
    steps = range(0, 120, 3)
    rain = {(0, step): 0.001 for step in steps[1:]}  # it rained at first
    path = write_grib(tmp_path / "run.grib2", weather(steps, rain), dataDate=20260108)
    one = write_site(tmp_path / "a.toml", name="Ossa Terrace", latitude=38.4)
    two = write_site(tmp_path / "b.toml", name="Lime Kiln Yard", longitude=21.6, latitude=38.5)
    evening = ("--weather", path, "--now", "2026-01-08 18:00", "--json")
    said = [command("slots", "--site", each, *evening).answer for each in (one, two)]
    assert [each["source"]["age_h"] for each in said] == [16.0, 16.0]  # local 18:00 is 16 UTC
    together = command("visits", one, two, *evening).answer
    alone = command("visits", one, *evening).answer
    answers = ("site", "material", "verdict", "reason", "chances")
    for choice in alone["choices"]:
        same = [all(choice[key] == other[key] for key in answers) for other in together["choices"]]
        assert sum(same) == 1
    assert {each["site"] for each in together["choices"]} == {"Ossa Terrace", "Lime Kiln Yard"}
    said = command("slots", "--site", one, *evening, "--columns", one)
    assert (said.code, said.err.count("\n")) == (2, 1)
    assert "fields take no column map" in said.err
    with pytest.raises(InputError, match="the fields of a grid"):
        read_weather(path)


@pytest.mark.parametrize("lacking", ["eccodes", "scipy.spatial"])
def test_without_the_extra_one_line_says_what_to_install(
    lacking: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = grib(tmp_path, weather([0, 1], DRY))
    monkeypatch.setitem(sys.modules, lacking, None)
    with pytest.raises(InputError, match=r'pip install "spraywindow\[grib\]"'):
        read_grid(path, SITES)


def test_winds_along_a_turned_grid_come_from_nowhere_known(tmp_path: Path) -> None:
    messages = weather([0, 1], {(0, 1): 0.0})
    turned: dict[str, int | float | str] = {
        "gridType": "rotated_ll", "latitudeOfSouthernPoleInDegrees": -90.0,
        "longitudeOfSouthernPoleInDegrees": 0.0,
    }  # fmt: skip
    for along, told in ((1, False), (0, True)):  # flag table 3.3 of GRIB: along the grid, or east
        path = write_grib(tmp_path / "t.grib2", messages, **turned, uvRelativeToGrid=along)
        data = read_grid(path, SITES)
        np.testing.assert_allclose(data["wind_ms"], 5.0)
        assert ("wind_from_deg" in data) is told
        assert any("turned grid" in note for note in data.attrs["notes"]) is not told

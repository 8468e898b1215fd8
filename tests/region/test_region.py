"""Many sites at once give what each gives alone; what a dataset does not tell is refused."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from spraywindow.errors import InputError, WeatherError
from spraywindow.place import Place
from spraywindow.region.blocks import STRETCH_H, Question
from spraywindow.region.score import score_region, usable_mornings
from spraywindow.region.season import season_region
from spraywindow.region.tables import sites_dataset
from spraywindow.sources.files.read_file import read_weather
from spraywindow.sources.members.read_file import read_members
from spraywindow.spray.access import Access
from spraywindow.spray.catalogue import COPPER, OIL
from spraywindow.spray.conditions import Setting
from spraywindow.spray.hours import score_hours
from spraywindow.spray.material import Material
from spraywindow.spray.slots import day_chances, day_margins
from spraywindow.weather.table import check_hourly
from spraywindow.winters.outlook import season_outlook
from tests.conftest import SHARED, needs_records
from tests.example_maps import SYNOP
from tests.season_values import MATERIALS, NEED, PROGRAM
from tests.weeks import PLACE, fortnight, random_weather

PLACES = (
    Place(38.0, 23.0, 100.0, "Europe/Athens"),
    Place(28.6, 77.2, 216.0, "Asia/Kolkata"),  # half an hour off
    Place(-34.9, 138.6, 50.0, "Australia/Adelaide"),  # half an hour off, with summer time
    Place(37.6, -121.0, 27.0, "America/Los_Angeles"),
)
NAMES = ("Elm", "Moss", "Quay", "Rill")
H = pd.Timedelta(hours=1)


def tables(hours: int = 400) -> list[pd.DataFrame]:
    """One a site, one of them with holes."""
    missing = (0.0, 0.02, 0.0, 0.3)
    return [
        random_weather(seed, hours, hole) for seed, hole in zip((3, 5, 8, 13), missing, strict=True)
    ]


def region(hours: int = 400) -> xr.Dataset:
    return sites_dataset(tables(hours), PLACES, NAMES)


def same_as_alone(
    found: xr.Dataset, table: pd.DataFrame, place: Place, material: Material,
    stage: int | None = 0, **options: Any,
) -> None:  # fmt: skip
    """Every verdict, margin, holding limit and limit, hour by hour."""
    alone = score_hours(table, place, material, stage, **options)
    codes = alone["verdict"].cat.codes.to_numpy()
    np.testing.assert_array_equal(found["verdict"], np.where(codes == 2, -1, codes))
    np.testing.assert_array_equal(found["margin"], alone["margin"].astype(np.float32))
    held = found["held_by"].attrs["flag_meanings"].split()
    names = [name.replace(" ", "_") for name in alone["held_by"].astype(str)]
    assert [held[code] for code in found["held_by"].to_numpy()] == names
    judged = [str(name) for name in found["limit"].to_numpy()]
    assert set(alone.columns[4:]) <= set(judged)
    for name in alone.columns[4:]:
        np.testing.assert_array_equal(
            found["limit_margin"].sel(limit=name), alone[name].astype(np.float32), name
        )


@pytest.mark.parametrize("material", [OIL, COPPER], ids=lambda m: m.name)
def test_each_site_is_judged_as_if_it_were_alone(material: Material) -> None:
    found = score_region(region(), material, 0, limits=True)
    for number, (table, place) in enumerate(zip(tables(), PLACES, strict=True)):
        same_as_alone(found.isel(site=number), table, place, material)
    assert found["verdict"].dtype == np.int8
    assert found["margin"].dtype == found["limit_margin"].dtype == np.float32
    assert set(np.unique(found["verdict"])) == {-1, 0, 1}
    assert not found["site_state"].any()


@needs_records
def test_a_real_record_of_years_in_stretches(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(SYNOP)
    path = SHARED / "data" / "greece-synop" / "Souda_1975-2004_3h.csv.gz"
    record = read_weather(path, tmp_path / "map.toml").loc["1990-10":"1993-04"]
    whole = check_hourly(record)
    assert len(whole) > 2 * STRETCH_H
    data = sites_dataset([whole, whole.shift(24)], [PLACE, PLACE], ["Elm", "Moss"])
    found = score_region(data, OIL, 0, limits=True)
    same_as_alone(found.isel(site=0), whole, PLACE, OIL)
    same_as_alone(found.isel(site=1), whole.shift(24), PLACE, OIL)


@needs_records
def test_members_of_an_ensemble_are_one_more_axis() -> None:
    name = "gefs_hourly_31members_2022-10-02_fcre.parquet"
    members = read_members(SHARED / "data" / "ensemble-point" / name)
    place = Place(37.303, -79.837, 500.0, "America/New_York")
    lone = sites_dataset([members.table(0)], [place], ["Elm"]).drop_vars("site")
    data = lone.isel(site=0).drop_vars([*lone.data_vars]).assign({
        name: (("time", "member"), values) for name, values in members.columns.items()
    })  # fmt: skip
    issued = members.attrs["forecast_from"]
    found = score_region(data, COPPER, 0, limits=True, forecast_from=issued)
    for number in (0, 7, members.count - 1):
        same_as_alone(found.isel(member=number), members.table(number), place, COPPER)


def test_the_same_bytes_for_any_chunks_also_those_across_time() -> None:
    whole = score_region(region(), [OIL, COPPER], 0, limits=True)
    for chunks in ({"time": -1, "site": 1}, {"time": -1, "site": 3}, {"time": 50, "site": -1}):
        lazy = score_region(region().chunk(chunks), [OIL, COPPER], 0, limits=True)
        assert lazy["verdict"].chunks is not None
        assert ("across time" in lazy.attrs["comment"]) == (chunks["time"] == 50)
        done = lazy.compute(scheduler="synchronous")
        for name in whole.data_vars:
            assert done[name].dims == whole[name].dims
            assert done[name].to_numpy().tobytes() == whole[name].to_numpy().tobytes()


def test_a_grid_has_its_places_by_row_and_column() -> None:
    table = random_weather(3, 200)
    data = sites_dataset([table], [PLACE], ["Elm"]).isel(site=0).drop_vars(["site"])
    shaped = {
        name: data[name].expand_dims(y=2, x=3).transpose("time", "y", "x") for name in table.columns
    }
    grid = (
        data.assign(shaped)
        .drop_vars(["latitude", "longitude"])
        .assign_coords(latitude=("y", [38.0, 38.5]), longitude=("x", [22.0, 22.5, 383.0]))
    )
    found = score_region(grid, OIL)
    assert found["verdict"].dims == ("time", "y", "x")
    alone = score_hours(table, Place(38.5, 23.0, 100.0, "UTC"), OIL)
    np.testing.assert_array_equal(found["margin"][:, 1, 2], alone["margin"].astype(np.float32))


def test_settings_and_labels_of_a_site_are_its_own() -> None:
    tall, low = Setting(tree_height_m=6.0, shelter=0.5), Setting(tree_height_m=3.0, shelter=0.5)
    data = region().assign_coords(
        tree_height_m=("site", [6.0, 3.0, 6.0, 3.0]), label=("site", ["a", "b", "a", "b"])
    )
    (cold,) = (limit for limit in OIL.limits if limit.name == "cold")
    strict = OIL.with_limits(cold=replace(cold, value=10.0))
    found = score_region(
        data, {"a": OIL, "b": strict}, 0, setting=Setting(shelter=0.5), limits=True
    )
    for number, (table, place) in enumerate(zip(tables(), PLACES, strict=True)):
        label, setting = (strict, low) if number % 2 else (OIL, tall)
        same_as_alone(found.isel(site=number), table, place, label, setting=setting)
    with pytest.raises(InputError, match="no material for the label; got 'b'"):
        score_region(data, {"a": OIL})


CF = {
    "temp_c": ("tas", "air_temperature", "K"),
    "dew_point_c": ("tdps", "dew_point_temperature", "K"),
    "wind_ms": ("sfcWind", "wind_speed", "km/h"),
    "rain_mm": ("pr", "precipitation_flux", "kg m-2 s-1"),
    "gust_ms": ("wsgs", "wind_speed_of_gust", "m s-1"),
    "wind_from_deg": ("wd", "wind_from_direction", "degree"),
    "cloud": ("clt", "cloud_area_fraction", "%"),
}


def by_cf(data: xr.Dataset, ends: bool = False) -> xr.Dataset:
    """The same hours as a climate centre would write them, totals stamped at either end."""
    factor = {"K": (1, 273.15), "km/h": (3.6, 0), "kg m-2 s-1": (1 / 3600, 0), "%": (100, 0)}
    out = {}
    for ours, (name, standard, unit) in CF.items():
        scale, offset = factor.get(unit, (1, 0))
        values = data[ours] * scale + offset
        if ends and ours in ("rain_mm", "gust_ms"):
            values = values.shift(time=1)
        out[name] = values.assign_attrs(standard_name=standard, units=unit)
    bounds = data["time_bounds"] - (np.timedelta64(1, "h") if ends else np.timedelta64(0, "h"))
    return xr.Dataset(out).assign_coords(time_bounds=bounds)


@pytest.mark.parametrize("ends", [False, True])
def test_names_and_units_are_those_of_the_cf_conventions(ends: bool) -> None:
    ours = region().drop_vars("rain_chance")
    found, known = score_region(by_cf(ours, ends), OIL), score_region(ours, OIL)
    hours = slice(0, 300)  # the last total is not there where it is stamped at its end
    np.testing.assert_array_equal(found["verdict"][hours], known["verdict"][hours])
    np.testing.assert_allclose(found["margin"][hours], known["margin"][hours], atol=1e-5)


def without_bounds(data: xr.Dataset) -> xr.Dataset:
    return data.drop_vars("time_bounds")


def of_three_hours(data: xr.Dataset) -> xr.Dataset:
    wide = data["time_bounds"].copy()
    wide[:, 0] = wide[:, 0] - np.timedelta64(2, "h")
    return data.assign_coords(time_bounds=wide)


def with_attrs(name: str, **attrs: Any) -> Any:
    def changed(data: xr.Dataset) -> xr.Dataset:
        out = by_cf(data.drop_vars("rain_chance"))
        out[name].attrs |= attrs
        return out

    return changed


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (without_bounds, "rain_mm, gust_ms, rain_chance: which hours they are of is not told"),
        (of_three_hours, "other periods than an hour; got 3 h"),
        (with_attrs("tas", units="hPa"), "tas: it comes in another unit; expected such as degC"),
        (with_attrs("pr", units="mm"), "pr: units; expected kg m-2 s-1; got 'mm'"),
        (with_attrs("pr", cell_methods="time: point"), "rain at an instant is no sum"),
        (lambda d: d.drop_vars("latitude"), "no latitude; expected a coordinate latitude or lat"),
        (lambda d: d.drop_vars("temp_c"), "no temperature; variables are"),
        (lambda d: d.assign(t2=d["temp_c"].assign_attrs(standard_name="air_temperature",
         units="K")), "temp_c and t2 both give temp_c"),
        (lambda d: d.assign_coords(elevation=d["elevation"] + 9000), "4 sites with a elevation"),
        (lambda d: d.isel(time=0), "no dimension of times"),
    ],
)  # fmt: skip
def test_what_a_dataset_does_not_tell_is_refused(change: Any, told: str) -> None:
    with pytest.raises(InputError) as refused:
        score_region(change(region()), OIL)
    assert told in str(refused.value)
    assert "\n" not in str(refused.value)


def test_shuffled_hours_are_refused_and_missing_ones_unknown() -> None:
    data = region()
    with pytest.raises(WeatherError, match="out of order"):
        score_region(data.isel(time=slice(None, None, -1)), OIL)
    gap = score_region(data.drop_isel(time=range(100, 110)), OIL)
    assert gap.sizes["time"] == data.sizes["time"]
    assert gap.attrs["comment"] == "10 missing hours are unknown"
    assert (gap["verdict"][100:110] != 0).all()


def test_values_in_a_wrong_unit_leave_their_site_out() -> None:
    data = region()
    data["temp_c"][:, 1] += 273.15  # kelvin, said to be degrees
    found = score_region(data, OIL)
    assert found["site_state"].to_numpy().tolist() == [0, 2, 0, 0]
    assert found["site_state"].attrs["flag_meanings"].split()[2] == "impossible_values"
    assert (found["verdict"][:, 1] == -1).all()
    assert found["margin"][:, 1].isnull().all()


def test_answers_carry_their_limits_and_whom_to_name() -> None:
    found = score_region(region().assign_attrs(institution="Lark Office"), OIL)
    assert found.attrs["credit"] == "Lark Office"
    limits = {each["name"]: each for each in json.loads(found.attrs["limits"])["oil"]}
    assert limits["heat"]["source"] == "WSU: above 85 °F may damage"
    assert found.attrs["not_judged"] == "stage"
    assert found["verdict"].encoding["_FillValue"] == -1


def test_local_days_are_each_sites_own() -> None:
    calm = [table.assign(rain_mm=0.0) for table in tables()[:3]]
    data = sites_dataset(calm, PLACES[:3], NAMES[:3])
    access = Access(start_h=8.0, weekdays=frozenset({0, 1, 2, 3, 4}))
    found = usable_mornings(data, COPPER, access=access)
    for number, (table, place) in enumerate(zip(calm, PLACES, strict=False)):
        hours = score_hours(table, place, COPPER)
        best = day_margins(hours, access=access).dropna()
        own = found["margin"][:, number].to_series().dropna()
        assert own.index.equals(pd.DatetimeIndex(best.index))
        np.testing.assert_array_equal(own, best.astype(np.float32))
        assert ((found["usable"][:, number] == 1).to_series()[best.index]).all()
    assert set(found["start"].to_numpy()[:, 1].tolist()) & {8.5, 9.5, 10.5}


def test_chances_of_a_forecast_are_those_of_each_site() -> None:
    issued = tables()[0].index[264]
    found = usable_mornings(region(), OIL, forecast_from=issued)
    for number, (table, place) in enumerate(zip(tables(), PLACES, strict=True)):
        alone = day_chances(score_hours(table, place, OIL, forecast_from=issued))
        of_site = found.isel(site=number).sel(day=alone.index)
        for name in ("chance", "chance_dry"):
            np.testing.assert_array_equal(of_site[name], alone[name].astype(np.float32))
    with pytest.raises(InputError, match="a forecast that is too long"):
        usable_mornings(region(STRETCH_H + 1).isel(site=[0]), OIL, forecast_from=issued)


def test_too_much_unknown_rain_leaves_a_record_out() -> None:
    data = sites_dataset([fortnight(), fortnight(rain_mm=np.nan)], [PLACE, PLACE], NAMES[:2])
    found = usable_mornings(data, COPPER)
    assert found["site_state"].to_numpy().tolist() == [0, 1]
    assert (found["usable"][:, 0] == 1).any()
    assert (found["usable"][:, 1] == -1).all()
    no_zone = data.drop_vars("timezone")
    with pytest.raises(InputError, match="no timezone: local days are needed"):
        usable_mornings(no_zone, COPPER)


def test_the_policy_of_a_site_is_that_of_its_season(few_winters: Path) -> None:
    import datetime as dt

    winters = check_hourly(read_weather(few_winters))
    dry = winters.assign(rain_mm=np.nan)
    first = dt.date(2026, 12, 1)
    data = sites_dataset([winters, dry], [PLACE, PLACE], NAMES[:2])
    found = season_region(data, PROGRAM, MATERIALS, first=first, need=NEED)
    alone = season_outlook(winters, PLACE, PROGRAM, MATERIALS, first=first, need=NEED)
    share = alone.finish_coming
    site = found.isel(site=0)
    assert site["finish_share"] == np.float32(share.share)
    assert (site["finish_low"], site["finish_high"]) == (
        np.float32(share.low), np.float32(share.high),
    )  # fmt: skip
    np.testing.assert_array_equal(site["rounds"].dropna("winter"), alone.rounds_coming)
    np.testing.assert_allclose(site["usable_mornings"], alone.usable.mean(axis=1), rtol=1e-6)
    assert found["site_state"].to_numpy().tolist() == [0, 1]
    assert found["finish_share"].isnull().to_numpy().tolist() == [False, True]


def test_stretches_cover_every_hour_once_and_see_as_far_as_any_window() -> None:
    index = pd.date_range("2000-01-01", periods=3 * STRETCH_H, freq="h", tz="UTC")
    (spell,) = (limit for limit in OIL.limits if limit.name == "dry spell")
    far = OIL.with_limits(**{"dry spell": replace(spell, hours=336.0)})
    question = Question((), index, ((Setting(), (far,)),), ())
    at = 0
    for seen, kept in question.stretches():
        assert seen.start + kept.start == at
        at = seen.start + kept.stop
        assert seen.start == max(0, seen.start + kept.start - question.reach_h)
    assert at == len(index)
    assert question.reach_h >= 336

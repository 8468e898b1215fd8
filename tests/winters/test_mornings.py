"""Winters side by side say what the same hours say one after the other."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from spraywindow.place import Place
from spraywindow.sources.demo.samples import DEMO_PLACE, demo_forecast
from spraywindow.spray.access import Access
from spraywindow.spray.catalogue import COPPER, OIL
from spraywindow.spray.conditions import Setting
from spraywindow.spray.hours import score_hours
from spraywindow.spray.material import Material
from spraywindow.spray.slots import day_margins
from spraywindow.winters.block import (
    alike,
    best_jobs,
    job_margins,
    last_known_rain,
    score_block,
    winter_block,
)
from spraywindow.winters.easing import days_without_limit
from tests.season_values import ACCESS, winters

PLACES = {
    "home": DEMO_PLACE,
    "south, clock changes at midnight": Place(-33.4, -70.6, 500.0, "America/Santiago"),
    "half-hour zone": Place(-34.9, 138.6, 50.0, "Australia/Adelaide"),
    "five and a half hours": Place(28.6, 77.2, 216.0, "Asia/Kolkata"),
}


@pytest.mark.parametrize("place", PLACES.values(), ids=PLACES.keys())
@pytest.mark.parametrize("material", [OIL, COPPER], ids=lambda material: material.name)
def test_a_block_gives_the_days_of_the_whole_record(place: Place, material: Material) -> None:
    # the record's own days, by the public functions, are the oracle; spans the clock changes
    starts = [dt.date(year, 9, 1) for year in (2014, 2016, 2019)]
    days = 90
    block = winter_block(winters(), place, Setting(), starts, days)
    found = job_margins(block, score_block(block, material), 2, ACCESS)
    whole = day_margins(score_hours(winters(), place, material), 2, access=ACCESS)
    for column, start in enumerate(starts):
        wanted = whole.reindex(pd.date_range(start, periods=days)).to_numpy()
        # the same days; margins to the rounding of the sun's position, which counts from the
        # table's first day
        np.testing.assert_array_equal(np.isnan(found[:, column]), np.isnan(wanted))
        np.testing.assert_allclose(found[:, column], wanted, rtol=0, atol=1e-9)
    assert np.isfinite(found).any()


@pytest.mark.parametrize("zone", ["Australia/Adelaide", "Asia/Kolkata", "Europe/Athens"])
@pytest.mark.parametrize("skipped", [0, 1])
def test_blocks_stand_on_their_hours_wherever_the_record_begins(zone: str, skipped: int) -> None:
    # local midnight lies between two UTC hours in a half-hour zone
    table = winters().iloc[skipped : 24 * 400]
    place = Place(-34.9, 138.6, 50.0, zone)
    block = winter_block(table, place, Setting(), [dt.date(2014, 3, 20), dt.date(2013, 12, 30)], 30)
    for column in (0, 1):
        first = pd.Timestamp(int(block.epoch_h[column]) * 3600, unit="s", tz="UTC")
        wanted = table["temp_c"].loc[first : first + pd.Timedelta(hours=len(block.day) - 1)]
        np.testing.assert_array_equal(block.conditions.columns["temp_c"][:, column], wanted)
        stamps = wanted.index.tz_convert(zone)
        days = (stamps.tz_localize(None).normalize() - pd.Timestamp(block.starts[column])).days
        np.testing.assert_array_equal(block.day[:, column], days)


def test_the_best_job_stands_where_it_says() -> None:
    block = winter_block(winters(), DEMO_PLACE, Setting(), [dt.date(2015, 12, 1)], 60)
    scores = score_block(block, OIL)
    margin, row = best_jobs(block, scores, 3, Access())
    days = np.flatnonzero(np.isfinite(margin[:, 0]))
    assert len(days) > 3
    for day in days:
        job = slice(row[day, 0], row[day, 0] + 3)
        assert (block.day[job, 0] == day).all()
        assert scores.margin[job, 0].min() == margin[day, 0]
    assert (row[~np.isfinite(margin)] == -1).all()


def test_days_without_a_limit_are_those_of_a_material_without_it() -> None:
    block = winter_block(winters(), DEMO_PLACE, Setting(), [dt.date(2015, 12, 1)], 90)
    without = days_without_limit(block, score_block(block, OIL), OIL, 2, ACCESS)
    for name in ("dry spell", "wet wood"):
        fewer = OIL.with_limits(**{name: None})
        wanted = np.isfinite(job_margins(block, score_block(block, fewer), 2, ACCESS))
        assert (without[name] == wanted).all()
        assert without[name].sum() > without[""].sum()


def test_hours_outside_the_record_are_unknown_and_never_go() -> None:
    block = winter_block(winters(), DEMO_PLACE, Setting(), [dt.date(2025, 8, 20)], 60)
    margins = job_margins(block, score_block(block, COPPER), 2, Access())
    assert np.isnan(margins[12:]).all()


def test_a_splice_is_the_forecast_and_then_each_winter() -> None:
    forecast = demo_forecast()
    first = dt.date(2026, 1, 13)
    starts = [dt.date(year, 1, 13) for year in (2015, 2016)]
    block = winter_block(winters(), DEMO_PLACE, Setting(), starts, 30, forecast=(first, forecast))
    temp = block.conditions.columns["temp_c"]
    differ = ~np.isclose(temp[:, 0], temp[:, 1], equal_nan=True)
    joined = int(np.flatnonzero(differ)[0])
    hours = (last_known_rain(forecast) - forecast.index[0]) / pd.Timedelta(hours=1) + 1
    in_front = temp[:joined, 0]
    assert np.count_nonzero(~np.isnan(in_front)) == hours
    np.testing.assert_array_equal(in_front[~np.isnan(in_front)], forecast["temp_c"].to_numpy())
    assert block.conditions.forecast is not None
    assert block.conditions.forecast.sum() == 8 * 24


def test_a_splice_makes_the_columns_alike() -> None:
    record, forecast = winters().iloc[:72], demo_forecast().drop(columns="solar_wm2")
    past, ahead = alike(record.drop(columns="gust_ms"), forecast)
    assert set(past) == set(ahead)
    assert (past["rain_chance"] == 0).all()
    assert "gust_ms" not in ahead  # carried by one of them only: not judged
    assert np.isnan(ahead["solar_wm2"]).all()  # carried by one of them only: unknown

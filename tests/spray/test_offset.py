"""What notes teach of dry bark: medians worked by hand, and the nights of a leaf-wetness sensor."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from spraywindow.place import Place
from spraywindow.spray.access import background_of
from spraywindow.spray.catalogue import OIL
from spraywindow.spray.hours import score_hours
from spraywindow.spray.learned import RECENT, learn_offset
from spraywindow.weather.air import dew_point_from_humidity
from tests.conftest import SHARED, needs_records


def test_without_notes_nothing_is_taught() -> None:
    found = learn_offset([])
    assert (found.middle, found.notes) == (0.0, 0)
    assert math.isnan(found.error)


@pytest.mark.parametrize(
    ("notes", "middle"),
    [
        # one note: shrunk by half, off by 60 with it and without: half of that
        ([60.0], 15.0),
        # shrunk 2/3 of 60; off by 60 and 30, the median 45, against 60 without: 60 / 105 of it
        ([60.0, 60.0], 40.0 * 60 / 105),
        # never off: nothing to learn
        ([0.0, 0.0, 0.0], 0.0),
        # to and fro: the median of 30, -30, 30, -30 is 0
        ([30.0, -30.0, 30.0, -30.0], 0.0),
    ],
)
def test_medians_by_hand(notes: list[float], middle: float) -> None:
    assert learn_offset(notes).middle == pytest.approx(middle)
    # the other way round it teaches the other way
    assert learn_offset([-each for each in notes]).middle == pytest.approx(-middle)


def test_a_morning_that_stays_wet_till_noon_spoils_nothing() -> None:
    usual = [20.0, 30.0, 20.0, 30.0, 20.0, 30.0, 20.0, 30.0]
    wet = [*usual[:4], 300.0, *usual[4:]]
    assert np.mean(wet) - np.mean(usual) > 30.0  # what a mean would make of it
    assert learn_offset(wet).middle - learn_offset(usual).middle < 10.0


def test_only_the_last_notes_count() -> None:
    old, new = [200.0] * 7, [10.0] * RECENT
    assert learn_offset(old + new) == learn_offset(new)


@needs_records
@pytest.mark.parametrize("sun", [True, False])
def test_ten_notes_bring_the_hour_of_a_sensor_nearer(sun: bool) -> None:
    """Rain-free nights that a leaf-wetness sensor calls wet, on an island off California.

    The hour that the bark is surely dry is 1.7 h off there without notes, 2.4 h without the sun
    told; ten notes of the days before are to mend a part of it.
    """
    folder = SHARED / "data" / "leaf-wetness"
    table = pd.read_csv(folder / "sci-cair-clean.csv", index_col=0)
    table = table.rename(columns=lambda name: name.split(" (")[0])
    table.index = pd.DatetimeIndex(pd.to_datetime(table["time"]))
    told = pd.read_csv(folder / "sci-caircsun.csv")
    told.index = pd.DatetimeIndex(
        pd.to_datetime(told["Date"].str[:8] + " " + told["PST"].str[9:], format="%m/%d/%y %H:%M:%S")
    )
    radiation = told["SlrRadWm2_AVG"]
    table["sun"] = radiation[~radiation.index.duplicated()].reindex(table.index)
    table = table[~table.index.duplicated()].asfreq("h")
    table.index = (table.index - pd.Timedelta(hours=1)).tz_localize("Etc/GMT+8").tz_convert("UTC")
    temp = table["air temperature"].to_numpy(dtype=float)
    humidity = table["relative humidity"].clip(1, 100).to_numpy(dtype=float)
    weather = pd.DataFrame({
        "temp_c": temp, "dew_point_c": np.minimum(dew_point_from_humidity(temp, humidity), temp),
        "wind_ms": table["wind speed"] / 0.75, "rain_mm": table["rain"],
    }, index=table.index)  # fmt: skip
    if sun:
        weather["solar_wm2"] = table["sun"].clip(0, 1400)
    place = Place(34.01, -119.85, 60.0, "America/Los_Angeles")
    dry = background_of(score_hours(weather, place, OIL)).surely_dry
    local = pd.DatetimeIndex(table.index).tz_convert("Etc/GMT+8")
    wet = pd.Series(table["leaf wetness"].to_numpy() < 1.9)  # volts, as the data's page has it
    known, rain = table["leaf wetness"].notna().to_numpy(), table["rain"].to_numpy()
    off = []
    for rows in pd.Series(range(len(local))).groupby(local.normalize()).indices.values():
        early = rows[1:17]
        if len(rows) < 24 or not known[early].all() or rain[early].sum() > 0:
            continue
        if wet[rows[3:6]].sum() < 2:
            continue
        hours = [_first(~wet.to_numpy()[rows]), _first(dry.to_numpy()[rows])]
        if None not in hours:
            off.append(float(np.subtract(*hours)))
    assert len(off) > 300
    with_notes = [off[n] - learn_offset(off[n - 10 : n]).middle for n in range(10, len(off))]
    assert np.abs(with_notes).mean() < 0.9 * np.abs(off).mean()


def _first(dry: np.ndarray) -> int | None:
    """The first of two dry hours from 6 h on."""
    return next((hour for hour in range(6, 17) if dry[hour] and dry[hour + 1]), None)

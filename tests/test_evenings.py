"""An evening of the replay is what ``slots`` would have said that evening."""

from __future__ import annotations

import datetime as dt
import tomllib

import numpy as np
import pandas as pd
import pytest

from spraywindow.orchard.evening import evening
from spraywindow.orchard.site import Site, site_of
from spraywindow.season.evenings import EVENING_H, seen_mornings
from spraywindow.season.past import past_season
from spraywindow.season.replay import ErrorModel, Foresight, beyond_unknown
from spraywindow.sources.samples import DEMO_PLACE, sample_path
from spraywindow.spray.chance import USUAL_ERRORS
from tests.season_values import ACCESS, FIRST, MATERIALS, NEED, PROGRAM, season, winters


@pytest.fixture(scope="module")
def bare_site() -> Site:
    """The demo's site, with no stage seen and nothing done, so that only the weather decides."""
    tables = tomllib.loads(sample_path("orchard.toml").read_text(encoding="utf-8"))
    for block in tables["blocks"]:
        block.pop("stage"), block.pop("observed")
        block["bud_swell_from"] = "30 Jun"
    for entry in tables["program"]["rounds"]:
        entry["done"] = []
    tables["season"] = {"usual_leaf_fall": "1 Nov"}
    return site_of(tables)


@pytest.mark.parametrize("which", [0, 1], ids=["oil", "copper"])
def test_an_evening_of_the_replay_is_what_slots_says(bare_site: Site, which: int) -> None:
    built = past_season(
        winters(), DEMO_PLACE, PROGRAM, MATERIALS, first=FIRST, need=NEED, access=ACCESS,
        setting=bare_site.setting,
    )  # fmt: skip
    seen = seen_mornings(built, winters(), DEMO_PLACE, Foresight(10), 4)
    name = built.materials[which].name
    for column in (0, 4, 9):
        start = built.block.starts[built.used[column]]
        for day in range(1, 60, 4):
            tomorrow = start + dt.timedelta(days=day)
            now = pd.Timestamp(tomorrow - dt.timedelta(days=1), tz=DEMO_PLACE.timezone)
            now += pd.Timedelta(hours=EVENING_H)
            answer = evening(bare_site, winters(), now.tz_convert("UTC"), name).tomorrow
            margin = seen.margin[day, 0, which, column]
            assert (answer.verdict == "go") == np.isfinite(margin), (tomorrow, answer)
            if answer.slot is not None:
                assert answer.slot.margin == pytest.approx(margin)
                row = seen.start[day, which, column]
                hour = built.block.epoch_h[built.used[column]] + row
                assert answer.slot.best_start == pd.Timestamp(hour * 3600, unit="s", tz="UTC")


def test_foresight_knows_the_next_mornings_as_they_turned_out_but_for_a_forecasts_frost() -> None:
    seen = seen_mornings(season(), winters(), DEMO_PLACE, Foresight(10), 4)
    found, truth = np.isfinite(seen.margin[:, 0]), np.isfinite(season().chances)
    assert not (found & ~truth).any()  # stricter about frost, never laxer
    assert found.sum() > 0.9 * truth.sum()
    again = np.isfinite(seen.margin[:-1, 1])
    np.testing.assert_array_equal(again, found[1:])  # the same morning, one evening earlier


def test_weather_after_the_days_known_changes_nothing_seen() -> None:
    truth = {"temp_c": np.arange(200.0)[:, None], "rain_mm": np.zeros((200, 1))}
    lead = np.arange(200) - 50
    known = beyond_unknown(truth, lead, 2)
    assert np.isnan(known["rain_mm"][98:]).all()
    assert not np.isnan(known["rain_mm"][:98]).any()


def columns(hours: int, evenings: int) -> dict[str, np.ndarray]:
    shape = (hours, evenings)
    rain = np.zeros(shape)
    rain[120:126] = 2.0
    return {
        "temp_c": np.full(shape, 10.0), "dew_point_c": np.full(shape, 5.0),
        "wind_ms": np.full(shape, 6.0), "rain_mm": rain,
    }  # fmt: skip


def test_errors_have_the_usual_size_and_grow_with_the_lead() -> None:
    # many places of the error's cycle, one forecast each
    evenings, hours = 3000, 7 * 24
    lead = np.arange(hours)
    start = (np.arange(evenings) * 977)[None, :]
    valid = start + lead[:, None]
    known = ErrorModel(seed=3).known(columns(hours, evenings), lead, valid)
    error = known["temp_c"] - 10.0
    for day in (0, 3, 6):
        wanted = float(USUAL_ERRORS["temperature"].at(np.array([24.0 * (day + 1)]))[0])
        assert error[24 * day + 12].std() == pytest.approx(wanted, rel=0.08)


def test_an_hours_error_shrinks_from_evening_to_evening_and_keeps_its_sign() -> None:
    hours = 7 * 24
    lead = np.arange(hours)
    model = ErrorModel(seed=5)
    rows = np.arange(2000) * 331
    errors = []
    for before in (6, 3, 0):  # the same valid hours, seen from three evenings
        valid = (rows - 24 * before)[None, :] + lead[:, None]
        known = model.known(columns(hours, len(rows)), lead, valid)
        errors.append(known["temp_c"][24 * before] - 10.0)
    assert errors[0].std() > errors[1].std() > errors[2].std()
    assert np.corrcoef(errors[0], errors[1])[0, 1] > 0.7
    assert np.corrcoef(errors[1], errors[2])[0, 1] > 0.4


def test_the_record_is_left_alone_and_the_seed_decides() -> None:
    truth = columns(240, 4)
    lead = np.arange(240) - 100
    valid = np.arange(240)[:, None] + np.arange(4) * 24
    first, again, other = (ErrorModel(seed=s).known(truth, lead, valid) for s in (1, 1, 2))
    for name in truth:
        np.testing.assert_array_equal(first[name][:100], truth[name][:100])
        np.testing.assert_array_equal(first[name], again[name])
    assert (first["temp_c"][100:200] != other["temp_c"][100:200]).any()
    assert (first["dew_point_c"][100:200] <= first["temp_c"][100:200]).all()
    assert (first["rain_mm"][100:] >= 0).all()

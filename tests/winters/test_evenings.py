"""An evening of the replay is what ``slots`` would have said that evening."""

from __future__ import annotations

import datetime as dt
import tomllib
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.jobs.slots.answer import evening
from spraywindow.site.site import Site, site_of
from spraywindow.sources.demo.samples import DEMO_PLACE, sample_path
from spraywindow.sources.files.read_file import read_weather
from spraywindow.winters.evenings import EVENING_H, FEWEST_WINTERS, seen_mornings
from spraywindow.winters.other_rules import outcomes_after
from spraywindow.winters.past import PastWinters, past_season
from spraywindow.winters.replays import ErrorModel, Foresight, beyond_unknown
from tests.conftest import SHARED, needs_records
from tests.example_maps import SYNOP
from tests.season_values import ACCESS, FIRST, MATERIALS, NEED, PROGRAM, season, winters


def bare_tables() -> dict[str, Any]:
    """The demo's first block, with no stage seen and nothing done: only the weather decides."""
    tables = tomllib.loads(sample_path("orchard.toml").read_text(encoding="utf-8"))
    (block,) = tables["blocks"] = tables["blocks"][:1]
    block.pop("stage"), block.pop("observed")
    block["bud_swell_from"] = "30 Jun"
    for entry in tables["program"]["rounds"]:
        entry["done"] = []
    tables["season"] = {"usual_leaf_fall": "1 Nov"}
    return tables


@pytest.fixture(scope="module")
def bare_site() -> Site:
    return site_of(bare_tables())


@dataclass(frozen=True)
class Weighed(Foresight):
    """The coming days as they turned out, with the chance of each slot worked out."""

    @property
    def measures(self) -> bool:
        return True


def compare(
    site: Site, table: pd.DataFrame, built: PastWinters, columns: tuple[int, ...], step: int
) -> tuple[int, int]:
    """Hold evenings of the replay against `slots`; how many were compared, and how many go."""
    (seen,) = seen_mornings(built, table, site.place, [Weighed(10)], 4)
    compared = going = 0
    for column in columns:
        number = built.used[column]
        start = built.block.starts[number]
        last = int(min(built.ending.actual[:, column].max(), len(built.chances) - 1))
        for day, which in product(range(0, last + 1, step), range(len(built.materials))):
            tomorrow = start + dt.timedelta(days=day)
            now = pd.Timestamp(tomorrow - dt.timedelta(days=1), tz=site.place.timezone)
            now += pd.Timedelta(hours=EVENING_H)
            name = built.materials[which].name
            # nobody gives `slots` all the winters
            near = table.loc[now - pd.Timedelta(days=12) : now + pd.Timedelta(days=14)]
            whole = evening(site, near, now.tz_convert("UTC"), name)
            answer = whole.tomorrow
            for morning in range(4):
                chances = (
                    seen.chance[day, morning, which, column],
                    seen.chance_dry[day, morning, which, column],
                )
                told = whole.answers[morning]
                if site.access.works_on(told.date):
                    assert (told.chance, told.chance_dry) == pytest.approx(chances, nan_ok=True)
            margin = seen.margin[day, 0, which, column]
            assert (answer.verdict == "go") == np.isfinite(margin), (tomorrow, name, answer)
            compared += 1
            if answer.slot is not None:
                going += 1
                hour = built.block.epoch_h[number] + seen.start[day, 0, which, column]
                best = pd.Timestamp(int(hour) * 3600, unit="s", tz="UTC")
                assert answer.slot.best_start == best, (tomorrow, name)
                assert answer.slot.margin == pytest.approx(margin)
                assert answer.slot.chance == pytest.approx(seen.chance[day, 0, which, column])
    return compared, going


def test_an_evening_of_the_replay_is_what_slots_says(bare_site: Site) -> None:
    # 1.5 K frost hollow, dew off an hour later, a job of 3 h: the site's own must count too
    tables = bare_tables()
    tables["place"] |= {"frost_hollow": "1.5 degC", "dew_off": "1 h"}
    tables["crew"]["job"] = "3 h"
    own = site_of(tables)
    one, two = winters().loc["2013-09":"2014-08"], winters().loc["2017-09":"2019-08"]
    for site, table, columns, step in ((bare_site, one, (0,), 2), (own, two, (0, 1), 5)):
        built = past_season(
            table, DEMO_PLACE, PROGRAM, MATERIALS, first=FIRST, need=NEED,
            access=site.access, setting=site.setting, duration_h=site.job_h,
        )  # fmt: skip
        compared, going = compare(site, table, built, columns, step)
        assert compared > 60
        assert 0.2 < going / compared < 0.8


@needs_records
def test_so_is_an_evening_of_a_record_of_three_hourly_reports(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(SYNOP)
    path = SHARED / "data" / "greece-synop" / "Larisa_1975-2004_3h.csv.gz"
    table = read_weather(path, tmp_path / "map.toml").loc["1995-08":"1998-06"]
    tables = bare_tables()
    tables["place"] |= {"latitude": 39.65, "longitude": 22.45, "elevation": "73 m"}
    del tables["place"]["neighbours"]  # two thirds of the daytime there are calm: any way
    site = site_of(tables)
    built = past_season(
        table, site.place, PROGRAM, MATERIALS, first=FIRST, need=NEED, access=site.access,
        setting=site.setting,
    )  # fmt: skip
    compared, going = compare(site, table, built, (1,), 2)
    assert compared > 80
    assert going > 20


def test_foresight_knows_the_next_mornings_as_they_turned_out_but_for_a_forecasts_frost() -> None:
    (seen,) = seen_mornings(season(), winters(), DEMO_PLACE, [Foresight(10)], 4)
    inside = np.arange(len(season().chances))[:, None, None] <= season().ending.actual
    found = np.isfinite(seen.margin[:, 0])
    truth = np.isfinite(season().chances) & inside
    # the feasibility report judges its mornings as the evening does
    np.testing.assert_array_equal(found & inside, np.isfinite(season().foreseen) & inside)
    assert not (found & inside & ~truth).any()  # stricter about frost, never laxer
    assert found.sum() > 0.9 * truth.sum()
    again = np.isfinite(seen.margin[:-1, 1])
    one_evening_earlier = inside[1:]
    np.testing.assert_array_equal(again[one_evening_earlier], found[1:][one_evening_earlier])


def test_weather_after_the_days_known_changes_nothing_seen() -> None:
    truth = {"temp_c": np.arange(200.0)[:, None], "rain_mm": np.zeros((200, 1))}
    lead = np.arange(200) - 50
    known = beyond_unknown(truth, lead, 2)
    assert np.isnan(known["rain_mm"][98:]).all()
    assert not np.isnan(known["rain_mm"][:98]).any()


def test_a_long_dry_spell_is_seen_to_its_end() -> None:
    materials = {"oil": MATERIALS["oil"].with_dry_spell(168.0), "copper": MATERIALS["copper"]}
    built = past_season(
        winters(), DEMO_PLACE, PROGRAM, materials, first=FIRST, need=NEED, access=ACCESS
    )
    (seen,) = seen_mornings(built, winters(), DEMO_PLACE, [Foresight(12)], 4)
    inside = np.arange(len(built.chances))[:, None] <= built.ending.actual[0]
    truth = np.isfinite(built.chances[:, 0]) & inside
    assert truth.sum() > 20
    assert np.isfinite(seen.margin[:, 0, 0])[truth].mean() > 0.8  # but for a forecast's frost
    last = np.isfinite(seen.margin[:-3, 3, 0])
    np.testing.assert_array_equal(last[inside[3:]], np.isfinite(seen.margin[3:, 0, 0])[inside[3:]])


def test_what_is_forecast_begins_at_six_in_the_evening_local_time() -> None:
    asked = []

    @dataclass(frozen=True)
    class Watch(Foresight):
        def known(self, truth: Any, lead_h: Any, valid_h: Any) -> Any:
            asked.append(valid_h[lead_h == 0][0])
            return super().known(truth, lead_h, valid_h)

    seen_mornings(season(), winters(), DEMO_PLACE, [Watch()], 4)
    for column, hours in enumerate(asked):
        local = pd.to_datetime(hours * 3600, unit="s", utc=True).tz_convert(DEMO_PLACE.timezone)
        assert set(local.hour) == {18}
        first = season().block.starts[season().used[column]]
        assert local[0].date() == first - dt.timedelta(days=1)  # the evening before day 0


def test_chances_of_a_replay_come_true_as_often_as_they_say() -> None:
    # reliability and Brier score: Murphy (1973), J. Appl. Meteor. 12:595
    built, replays = season(), [ErrorModel(seed=number) for number in range(4)]
    said, general, came = [], [], []
    for seen in seen_mornings(built, winters(), DEMO_PLACE, replays, 2):
        after = outcomes_after(built, seen.offered, seen.starts)
        judged = seen.offered & ~after.doubtful & np.isfinite(seen.chance_dry[:, 0])
        said.append(seen.chances[:, 0][judged])
        general.append(seen.general_chances[:, 0][judged])
        came.append(after.effective[judged])
    p, q, y = map(np.concatenate, (said, general, came))
    assert len(y) > 500
    assert abs(p.mean() - y.mean()) < 0.02
    assert ((p - y) ** 2).mean() < ((q - y) ** 2).mean()


def built_of(weather: pd.DataFrame) -> PastWinters:
    return past_season(
        weather, DEMO_PLACE, PROGRAM, MATERIALS, first=FIRST, need=NEED, access=ACCESS
    )


def test_a_winter_never_bears_itself_out_nor_do_a_few() -> None:
    table, year = winters().copy(), 2019
    window = table.loc[f"{year}-12-10" : f"{year + 1}-01-31"].index

    def earned(weather: pd.DataFrame) -> np.ndarray:
        built = built_of(weather)
        column = built.labels.index(f"{year}/{(year + 1) % 100}")
        (seen,) = seen_mornings(built, weather, DEMO_PLACE, [Foresight(8)], 2)
        return seen.earned[:3, :, :, column]  # evenings that see nothing of what follows

    before = earned(table)
    table.loc[window, "rain_mm"] = np.where(table.loc[window, "rain_mm"] > 0, 0.0, 1.0)
    assert np.isfinite(before).any()
    np.testing.assert_allclose(earned(table), before)
    built = built_of(winters().loc["2022-07":])
    assert 0 < len(built.labels) < FEWEST_WINTERS
    (seen,) = seen_mornings(built, winters(), DEMO_PLACE, [ErrorModel()], 2)
    assert np.isnan(seen.earned).all()
    np.testing.assert_array_equal(seen.chances, seen.general_chances)

"""``spraywindow mix``: volumes, loads, calibration and totals against published figures."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from spraywindow.errors import InputError
from spraywindow.units import convert
from tests.year_site import SPRAYER, answer, ask, run, tables

NOW = "2025-01-03 18:00"
COPPER = {"rate": "4 lb/100 gal", "copper": "50 %"}


def test_dilute_rows_take_what_the_tree_row_volume_says(tmp_path: Path) -> None:
    # Penn State and Cornell: 10 ft wide, 8 ft high, rows of 18 ft: 193,600 ft3 and 194 gal an
    # acre for dense trees, 136 for well pruned ones
    block = {"height": "8 ft", "row_spacing": "18 ft", "row_length": "2420 ft"}
    for pruning, gallons in (("dense", 194), ("well pruned", 136)):
        site = tables(block=block, sprayer=SPRAYER | {"way": "rows", "pruning": pruning})
        found = answer(tmp_path, "mix", NOW, site, "--material", "oil")
        assert convert(found["spray_l"], "L", "gal") == pytest.approx(gallons, abs=0.7)
        assert convert(found["blocks"][0]["area_m2"], "m2", "acre") == pytest.approx(1, abs=1e-3)


def test_two_hundred_gallons_at_two_percent_are_four_of_oil(tmp_path: Path) -> None:
    # Rutgers: 200 gal an acre are 4 gal of oil
    found = answer(tmp_path, "mix", NOW, tables(sprayer=SPRAYER), "--material", "oil")
    assert found["product_total"] / found["spray_l"] == pytest.approx(4 / 200, abs=1e-5)


def test_the_calibration_is_the_trades_formula(tmp_path: Path) -> None:
    # 5940 x 3.75 gal/min / (5 mph x 222 in) = 20.07 gal an acre
    sprayer = {"tank": "100 gal", "way": "rows", "flow": "3.75 gal/min", "speed": "5 mph"}
    site = tables(sprayer=sprayer, block={"row_spacing": "222 in"})
    found = answer(tmp_path, "mix", NOW, site, "--material", "oil")["calibration"]
    assert convert(found["given_l_per_ha"], "L/ha", "gal/acre") == pytest.approx(20.07, abs=0.01)
    # at the better speed, the same flow gives what is wanted
    assert found["better_speed_ms"] / found["speed_ms"] == pytest.approx(
        found["given_l_per_ha"] / found["wanted_l_per_ha"], rel=1e-3
    )


def test_loads_and_products_add_up(tmp_path: Path) -> None:
    site = tables(sprayer=SPRAYER | {"tank": "50 L"})
    found = answer(tmp_path, "mix", NOW, site, "--material", "oil")
    loads = found["loads"]
    assert loads["full"] * 50 + loads["last_l"] == pytest.approx(found["spray_l"], abs=0.1)
    assert loads["full"] * loads["product_per_full_load"] + loads["product_last_load"] == (
        pytest.approx(found["product_total"], abs=1e-3)
    )
    seconds = found["blocks"][0]["seconds_per_tree"]
    flow = found["calibration"]["flow_l_per_min"]
    assert seconds * flow / 60 * 20 == pytest.approx(found["spray_l"], rel=1e-3)


def test_a_job_longer_than_the_crews_slot_is_told(tmp_path: Path) -> None:
    slow = tables(sprayer=SPRAYER | {"flow": "0.2 gal/min"}, crew={"job": "2 h"})
    found = answer(tmp_path, "mix", NOW, slow, "--material", "oil")
    assert found["time"]["slot_whole_h"] > 2
    assert any('write job = "' in warning for warning in found["warnings"])


def copper_site(**changes: Any) -> dict[str, Any]:
    block = {"row_spacing": "18 ft", "row_length": "260 ft"}
    return tables(block=block, sprayer=SPRAYER, mix={"copper": COPPER}, **changes)


def test_copper_is_added_up_over_years_and_warned_of_never_changed(tmp_path: Path) -> None:
    limits = [{"name": "law", "most": "28 kg/ha", "years": 7}]
    used = [{"day": "2022-01-20", "copper": "27 kg/ha"}, {"day": "2015-01-01", "copper": "9 kg/ha"}]
    site = copper_site(copper={"limits": limits, "used": used})
    found = answer(tmp_path, "mix", NOW, site, "--material", "copper")
    plain = answer(tmp_path, "mix", NOW, copper_site(), "--material", "copper")
    row = found["limits"][0]
    assert row["so_far"] == pytest.approx(27, abs=1e-3)  # what is older than seven years is out
    per_round = found["product_total"] * 0.5 / (found["blocks"][0]["area_m2"] / 10_000)
    assert row["with_job"] - row["so_far"] == pytest.approx(per_round, rel=1e-3)
    assert row["over"] == "with this job"
    assert "over 28 kg/ha of copper metal" in found["warnings"][0]
    assert found["product_total"] == plain["product_total"]


def test_rounds_done_count_and_a_told_use_replaces_the_guess(tmp_path: Path) -> None:
    program = {"rounds": [{"material": "copper", "rounds": 3, "done": ["2024-12-10"]}]}
    plain = answer(tmp_path, "mix", NOW, copper_site(program=program), "--material", "copper")
    used = {"used": [{"day": "2024-12-10", "copper": "1.5 kg/ha"}]}
    told = answer(
        tmp_path, "mix", NOW, copper_site(program=program, copper=used), "--material", "copper"
    )
    assert plain["season"][0]["rounds"] == told["season"][0]["rounds"] == 1
    assert told["season"][0]["copper_kg_per_ha"] == pytest.approx(1.5)
    assert plain["season"][0]["copper_kg_per_ha"] > 1.6


def test_a_round_done_in_the_future_is_refused(tmp_path: Path) -> None:
    program = {"rounds": [{"material": "copper", "rounds": 3, "done": ["2025-01-10"]}]}
    result = ask(tmp_path, "mix", NOW, copper_site(program=program), "--material", "copper")
    assert isinstance(result.exception, InputError)
    assert "rounds of copper done: a date in the future" in str(result.exception)


@pytest.mark.parametrize(
    ("site", "more", "words"),
    [
        (tables(), (), ("[sprayer]", "tank", "flow")),
        (tables(sprayer=SPRAYER), ("--material", "copper"), ("no rate for copper", "[mix.")),
        (tables(sprayer=SPRAYER), ("--material", "soap"), ("unknown material", "oil, copper")),
        (tables(sprayer=SPRAYER), ("--block", "pears"), ("no such block", "peaches")),
    ],
)
def test_what_is_missing_is_named(
    tmp_path: Path, site: dict[str, Any], more: tuple[str, ...], words: tuple[str, ...]
) -> None:
    result = ask(tmp_path, "mix", NOW, site, *more)
    assert isinstance(result.exception, InputError)
    assert all(word in str(result.exception) for word in words)


def test_out_of_season_the_amounts_are_to_plan_with(tmp_path: Path) -> None:
    result = ask(tmp_path, "mix", "2025-07-12", tables(sprayer=SPRAYER))
    assert "Not now, to plan with only: peaches: still in leaf" in result.stdout
    assert "Next slot" not in result.stdout


def test_uneven_nozzles_and_a_rich_mix_are_warned_of(tmp_path: Path) -> None:
    caught = {"tank": "50 L", "caught": ["2 L", "2 L", "2.6 L"], "caught_in": "30 s"}
    site = tables(sprayer=caught, mix={"oil": {"rate": "4 %", "measure": "cups"}})
    result = ask(tmp_path, "mix", NOW, site)
    assert "clean or change: gun" in result.stdout
    assert "over the usual 3 %" in result.stdout
    assert " cups" in result.stdout


def test_the_demo_leaves_flowering_trees_out_and_fits_the_screen() -> None:
    result = run("mix", "--material", "copper")
    assert "not the early apricots: open flowers" in result.stdout
    assert "Next slot that long: Tue 13 Jan" in result.stdout
    assert max(map(len, result.stdout.splitlines())) <= 80
    assert [block["name"] for block in json.loads(run("mix", "--json").stdout)["blocks"]] == [
        "rows 1-4"
    ]

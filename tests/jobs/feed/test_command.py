"""``spraywindow feed``: refused while dormant; doses, nitrogen and compost as published."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.command import demo
from tests.year_site import FEEDING, answer, ask, tables

SPRING = "2025-04-12 10:00"
USUAL = {"dose": "4 cups", "nitrogen": "10 %", "usual_flowering": "10 Mar"}


def test_dormant_trees_are_not_fed_even_where_the_weather_is_good(tmp_path: Path) -> None:
    found = answer(tmp_path, "feed", "2025-03-05", tables(feeding=USUAL))
    assert found["verdict"] == "no-go"
    assert found["window"] is None
    assert "dormant" in found["blocks"][0]["reason"]


def test_a_flowering_that_nobody_saw_is_no_go_ahead(tmp_path: Path) -> None:
    found = answer(tmp_path, "feed", "2025-03-12", tables(feeding=USUAL))
    assert found["verdict"] == "unknown"
    assert "look at the trees" in found["blocks"][0]["reason"]


def test_awake_trees_are_fed_in_six_parts_in_the_users_measure(tmp_path: Path) -> None:
    # common practice: a cup four times a year, in six monthly parts
    found = answer(tmp_path, "feed", SPRING, tables(feeding=FEEDING | {
        "given": [{"day": "2025-03-12", "dose": "1 cup"}]}))  # fmt: skip
    block = found["blocks"][0]
    assert found["verdict"] == "go"
    assert found["measure"] == "cups"
    assert (block["given"], block["left"]) == (1.0, 3.0)
    assert [part["given"] for part in block["parts"]] == [True] + [False] * 5
    assert block["next_amount"] == pytest.approx(3 / 5)


def test_too_late_in_the_year(tmp_path: Path) -> None:
    # Clemson extension: none after mid-August
    found = answer(tmp_path, "feed", "2025-08-16", tables(feeding=FEEDING))
    assert found["verdict"] == "no-go"
    assert "none after 15 Aug 2025" in found["blocks"][0]["reason"]


def test_a_hundred_cups_are_warned_of_before_anything_else(tmp_path: Path) -> None:
    site = tables(feeding=FEEDING | {"dose": "100 cups"}, block={"trunk_diameter": "4 in"})
    found = answer(tmp_path, "feed", SPRING, site)
    # Colorado State: an eighth of a pound an inch of trunk
    assert found["blocks"][0]["nitrogen_most_kg"] == pytest.approx(0.5 * 0.45359237, rel=1e-3)
    assert "times the most for the trunk" in found["warnings"][0]
    text = ask(tmp_path, "feed", SPRING, site).text
    assert text.index("give less") < text.index("Day by day")


def test_a_dose_of_nothing_gives_nothing_and_says_why(tmp_path: Path) -> None:
    found = answer(tmp_path, "feed", SPRING, tables(feeding=FEEDING | {"dose": "0 cups"}))
    assert (found["verdict"], found["blocks"][0]["reason"]) == ("no-go", "the year's dose is 0")


def test_a_dose_given_in_the_future_is_refused(tmp_path: Path) -> None:
    late = FEEDING | {"given": [{"day": "2025-04-13", "dose": "1 cup"}]}
    assert "a date in the future" in ask(tmp_path, "feed", SPRING, tables(feeding=late)).refusal


def test_compost_fills_the_ring_from_gap_to_drip_line(tmp_path: Path) -> None:
    ground = {"compost": "1 in", "trunk_gap": "1 ft", "bag": "2 ft3"}
    found = answer(tmp_path, "feed", SPRING, tables(ground=ground))
    layer = found["ground"]["layers"][0]
    # closed form: a ring of pi/4 (10^2 - 2^2) square feet, an inch deep
    one = math.pi / 4 * (100 - 4) / 12 * 0.3048**3
    assert layer["blocks"][0]["per_tree_m3"] == pytest.approx(one, abs=1e-4)
    assert layer["site_m3"] == pytest.approx(20 * one, abs=1e-3)
    assert layer["bags"] == math.ceil(20 * one / (2 * 0.3048**3))
    assert found["verdict"] is None  # no [feeding]: the ground only


def test_a_trunk_gap_beyond_the_drip_line_names_block_and_most(tmp_path: Path) -> None:
    site = tables(ground={"compost": "1 in", "trunk_gap": "6 ft"})
    assert "ground.trunk_gap, peaches" in ask(tmp_path, "feed", SPRING, site).refusal


def test_a_site_without_the_tables_names_table_and_keys(tmp_path: Path) -> None:
    said = ask(tmp_path, "feed", SPRING, tables()).refusal
    assert all(word in said for word in ("[feeding]", "dose", "nitrogen"))


def test_given_to_a_block_that_is_not_there(tmp_path: Path) -> None:
    given = [{"day": "2025-04-01", "dose": "1 cup", "block": "pears"}]
    site = tables(feeding=FEEDING | {"given": given})
    assert "no such block" in ask(tmp_path, "feed", SPRING, site).refusal


def test_us_readers_read_no_metric_units(tmp_path: Path) -> None:
    site = tables(
        units="us", feeding=FEEDING | {"dose": "9 lb"},
        ground={"compost": "6 in", "trunk_gap": "4 in"},
    )  # fmt: skip
    words = ask(tmp_path, "feed", SPRING, site).text.split()
    assert not {"mm", "cm", "m³", "kg", "L", "g"} & set(words)


def test_the_demo_refuses_its_dormant_block_and_fits_the_screen() -> None:
    result = demo("feed")
    assert "Not rows 1-4: the trees are dormant" in result.text
    assert max(map(len, result.text.splitlines())) <= 80


def test_the_demo_can_be_asked_about_its_past_springs() -> None:
    found = demo("feed", "--now", "2025-04-10 10:00", "--json").answer
    assert {block["verdict"] for block in found["blocks"]} == {"go"}

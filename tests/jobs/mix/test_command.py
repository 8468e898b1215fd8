"""``spraywindow mix``: volumes, loads, calibration and totals against published figures."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from spraywindow.errors import InputError
from spraywindow.site.site import site_of
from spraywindow.units import convert
from tests.command import command, demo
from tests.year_site import SPRAYER, answer, ask, tables, write

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


def test_rows_are_calibrated_along_the_row(tmp_path: Path) -> None:
    # closed form: canopies of 3 x 3 m want 9 m2 x 0.1136 L/m3 = 1.0227 L a metre of row, however
    # far apart the rows stand; 60.4 L/min at 4 km/h give 60.4 / 66.67 = 0.906 L
    first = {"name": "A", "crop": "peach", "trees": 100, "height": "3 m", "spread": "3 m",
             "row_length": "1000 m", "row_spacing": "5 m"}  # fmt: skip
    sprayer = {"tank": "1000 L", "way": "rows", "flow": "60.4 L/min", "speed": "4 km/h"}
    for spacing in ("10 m", "5 m", None):
        second = first | {"name": "B", "row_spacing": spacing}
        blocks = [first, {key: value for key, value in second.items() if value}]
        for order in (blocks, blocks[::-1]):
            site = tables(sprayer=sprayer, blocks=order)
            found = answer(tmp_path, "mix", NOW, site, "--material", "oil")
            assert found["calibration"]["given_l_per_m"] == pytest.approx(0.906, abs=1e-4)
            assert found["calibration"]["wanted_l_per_m"] == pytest.approx(1.0227, abs=1e-4)
            assert found["calibration"]["better_flow_l_per_min"] == pytest.approx(68.18, abs=0.01)
            assert found["calibration"]["better_speed_ms"] == pytest.approx(0.9844, abs=1e-4)
            assert found["warnings"][0] == "the sprayer gives 11 % less than the trees want"
            assert (found["calibration"]["given_l_per_ha"] is None) == (spacing is None)


def test_blocks_that_want_different_amounts_get_each_its_speed(tmp_path: Path) -> None:
    # canopies of 3 x 3 m and of 3 x 6 m: the second wants twice the spray, half the speed; their
    # mean would suit neither
    site = tables(sprayer={"tank": "1000 L", "way": "rows", "flow": "90 L/min", "speed": "4 km/h"})
    small = site["blocks"][0] | {"name": "A", "height": "3 m", "spread": "3 m"}
    site["blocks"] = [small, small | {"name": "B", "height": "6 m"}]
    found = answer(tmp_path, "mix", NOW, site, "--material", "oil")
    speed_a, speed_b = (block["better_speed_ms"] for block in found["blocks"])
    assert speed_a == pytest.approx(2 * speed_b, abs=1e-3)
    assert found["warnings"][:2] == [
        "the sprayer gives 32 % more than A wants",  # 90 / 66.67 = 1.35 L a metre, not 1.02
        "the sprayer gives 34 % less than B wants",
    ]
    assert " at A, " in ask(tmp_path, "mix", NOW, site, "--material", "oil").text


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


def test_slots_question_a_job_shorter_than_the_mix_and_take_it_from_there(tmp_path: Path) -> None:
    """Sprayer and trees stand in the same file: one answer to how long a round takes."""
    slow = tables(sprayer=SPRAYER | {"flow": "0.2 gal/min"}, crew={"job": "2 h"})
    needs = answer(tmp_path, "mix", NOW, slow, "--material", "oil")["time"]["slot_whole_h"]
    said = ask(tmp_path, "slots", NOW, slow).words
    assert f"sought for 2 h, but a whole round takes this sprayer {needs} h of good hours" in said
    own = slow | {"crew": {"job": "auto"}}
    asked = ask(tmp_path, "slots", NOW, own).words
    assert "a whole round" not in asked
    assert site_of(own).job_h == needs
    assert answer(tmp_path, "mix", NOW, own, "--material", "oil")["warnings"] == []
    with pytest.raises(InputError, match=r'crew.job: job = "auto" without a sprayer'):
        site_of(tables(crew={"job": "auto"}))


def test_a_job_longer_than_a_day_is_split(tmp_path: Path) -> None:
    # 9 working hours; to write the job's 10 h or more into the file would make it invalid
    slow = tables(
        sprayer=SPRAYER | {"flow": "0.04 gal/min"}, crew={"job": "2 h"},
        access={"from": "08:00", "until": "17:00"},
    )  # fmt: skip
    found = answer(tmp_path, "mix", NOW, slow, "--material", "oil")
    hours = found["time"]["slot_whole_h"]
    assert 9 < hours <= 18
    assert found["warnings"] == [
        f"the job needs {hours} h of good hours, more than the 9 working hours of a day: "
        "split over 2 days"
    ]
    assert "that is more than a working day" in ask(tmp_path, "slots", NOW, slow).words


def logged(folder: Path, site: dict[str, Any], day: str, *more: str) -> None:
    """Enter an application into the site's record."""
    path = write(folder, site)
    said = command(
        "log", "add", "--site", path, "--now", NOW, "--no-fetch", "--start", f"{day} 10:00",
        "--end", "11:00", *more,
    )  # fmt: skip
    assert said.code == 0, said.err


def two_blocks() -> dict[str, Any]:
    """Fifteen trees and five, for two rounds of oil."""
    site = tables(
        sprayer=SPRAYER | {"tank": "20 L"},
        program={"rounds": [{"material": "oil", "rounds": 2}, {"material": "copper"}]},
        mix={"oil": {"rate": "2 %", "rounds_per_year": 2}},
    )
    site["blocks"] = [site["blocks"][0] | {"name": n, "trees": t} for n, t in (("A", 15), ("B", 5))]
    return site


OIL = ("--material", "oil", "--product", "Oil A")


def test_the_rest_of_a_round_begun_is_mixed(tmp_path: Path) -> None:
    whole = answer(tmp_path, "mix", NOW, two_blocks(), "--material", "oil")
    logged(tmp_path, two_blocks(), "2025-01-02", *OIL, "--share", "60 %")
    found = answer(tmp_path, "mix", NOW, two_blocks(), "--material", "oil")
    assert (whole["share"], found["share"]) == (1, pytest.approx(0.4))
    for key in ("spray_l", "product_total"):
        assert found[key] == pytest.approx(0.4 * whole[key], abs=0.01)
    for key in ("walking_h", "spraying_h"):
        assert found["time"][key] == pytest.approx(0.4 * whole["time"][key], abs=1e-3)
    assert (whole["loads"]["count"], found["loads"]["count"]) == (5, 2)  # of 20 L
    # a tree takes what it takes, and finishing the round makes it no second one
    assert [block["per_tree_l"] for block in found["blocks"]] == [
        block["per_tree_l"] for block in whole["blocks"]
    ]
    rounds = [row for row in found["limits"] if row["counts"] == "rounds of oil"]
    assert [(row["so_far"], row["with_job"], row["with_program"]) for row in rounds] == [
        (0.6, 1, 2)
    ] * 2
    text = ask(tmp_path, "mix", NOW, two_blocks(), "--material", "oil").text
    assert "The rest of a round begun, 40 %." in text
    # known to be in one block, the rest of the round is there
    only = answer(tmp_path, "mix", NOW, two_blocks(), "--material", "oil", "--block", "B")
    assert [(block["name"], block["share"]) for block in only["blocks"]] == [("B", 1)]


def test_the_rest_is_for_blocks_that_have_not_had_theirs(tmp_path: Path) -> None:
    logged(tmp_path, two_blocks(), "2025-01-02", *OIL, "--share", "75 %", "--set", "blocks=A")
    found = answer(tmp_path, "mix", NOW, two_blocks(), "--material", "oil")
    assert [(block["name"], block["share"]) for block in found["blocks"]] == [("B", 1)]
    assert found["left_out"] == [{"name": "A", "why": "it has had its part of the round begun"}]
    assert found["share"] == pytest.approx(0.25)
    # where the rest may not have it any more, the next round is a whole one of the others
    over = two_blocks()
    over["blocks"][1] |= {"stage": "full bloom", "observed": "2025-01-03"}
    after = answer(tmp_path, "mix", NOW, over, "--material", "oil")
    assert [(block["name"], block["share"]) for block in after["blocks"]] == [("A", 1)]
    assert after["share"] == 1
    rounds = [row for row in after["limits"] if row["counts"] == "rounds of oil"]
    assert [(row["so_far"], row["with_job"], row["with_program"]) for row in rounds] == [(1, 2, 2)]


def test_the_record_of_earlier_winters_counts_in_its_years(tmp_path: Path) -> None:
    # 1 kg of half copper on 0.25 ha in each of two winters: 2 kg/ha each
    limits = [{"name": "law", "most": "28 kg/ha", "years": 7}, {"name": "law", "most": "4 kg/ha"}]
    site = copper_site(copper={"limits": limits})
    for day in ("2022-12-10", "2024-12-10"):
        logged(tmp_path, site, day, "--material", "copper", "--product", "C",
               "--amount", "1 kg", "--set", "area=0.25 ha")  # fmt: skip
    found = answer(tmp_path, "mix", NOW, site, "--material", "copper")
    assert [row["so_far"] for row in found["limits"]] == [pytest.approx(4), pytest.approx(2)]
    assert found["season"][0]["product"] == pytest.approx(1)
    assert not any("No amount is recorded" in note for note in found["notes"])


def test_rounds_of_earlier_winters_are_no_rounds_of_this_one(tmp_path: Path) -> None:
    # five rounds owed as before; a label's year counts what lies in twelve months
    earlier = ["2023-12-10", "2024-01-02", "2024-01-20", "2024-01-21", "2024-02-10"]
    fields = {"material": "copper", "rounds": 5, "copper_per_round_kg_ha": 1.0, "apart": "5 days"}
    mixes = {"copper": COPPER | {"rounds_per_year": 9}}
    changes: dict[str, Any] = {
        "block": {"row_spacing": "18 ft", "row_length": "260 ft"}, "sprayer": SPRAYER, "mix": mixes,
    }  # fmt: skip

    def rows(done: list[str]) -> dict[str, Any]:
        program = {"rounds": [fields | {"done": done}], "copper_maximum_kg_ha": 20.0}
        site = tables(**changes, program=program)
        found = answer(tmp_path, "mix", NOW, site, "--material", "copper")
        return {row["limit"]: row for row in found["limits"]}

    fresh, listed = rows([]), rows(earlier)
    assert listed["program"] == fresh["program"]
    assert (listed["program"]["so_far"], listed["program"]["since"]) == (0, "2024-07-01")
    # 20 and 21 Jan and 10 Feb lie within a year of now; of five more every 5 days, four are made
    # by 18 Jan, when they still do: seven, and six on 23 Jan
    label = listed["label"]
    assert (label["so_far"], label["with_job"], label["with_program"]) == (3, 4, 7)


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


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {"program": {"rounds": [{"material": "copper", "done": ["2025-01-10"]}]}},
            "copper: done on a day to come; expected 2025-01-03",
        ),
        (
            {"copper": {"used": [{"day": "2025-01-10", "copper": "1 kg/ha"}]}},
            "copper.used: a date in the future; expected at most 2025-01-03",
        ),
    ],
)
def test_what_is_done_in_the_future_is_refused(
    tmp_path: Path, changes: dict[str, Any], words: str
) -> None:
    said = ask(tmp_path, "mix", NOW, copper_site(**changes), "--material", "copper")
    assert words in said.refusal


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
    said = ask(tmp_path, "mix", NOW, site, *more).refusal
    assert all(word in said for word in words)


def test_out_of_season_the_amounts_are_to_plan_with(tmp_path: Path) -> None:
    result = ask(tmp_path, "mix", "2025-07-12", tables(sprayer=SPRAYER))
    assert "Not now, to plan with only: peaches: still in leaf" in result.text
    assert "Next slot" not in result.text


def test_uneven_nozzles_and_a_rich_mix_are_warned_of(tmp_path: Path) -> None:
    caught = {"tank": "50 L", "caught": ["2 L", "2 L", "2.6 L"], "caught_in": "30 s"}
    site = tables(sprayer=caught, mix={"oil": {"rate": "4 %", "measure": "cups"}})
    result = ask(tmp_path, "mix", NOW, site)
    assert "clean or change: gun" in result.text
    assert "over the usual 3 %" in result.text
    assert " cups" in result.text


def test_the_demo_leaves_flowering_trees_out_and_fits_the_screen() -> None:
    result = demo("mix", "--material", "copper")
    assert "not the early apricots: open flowers" in result.text
    assert "Next slot that long: Tue 13 Jan" in result.text
    assert max(map(len, result.text.splitlines())) <= 80
    assert [block["name"] for block in demo("mix", "--json").answer["blocks"]] == ["rows 1-4"]

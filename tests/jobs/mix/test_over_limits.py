"""``spraywindow log add`` tells of label and regional limits; the entry stays as it is."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.command import command
from tests.year_site import SPRAYER, tables, write

NOW = "2026-01-12 18:00"
LIMITS = [{"name": "Reg. (EU) 2018/1981", "most": "28 kg/ha", "years": 7}]
MIX = {"rate": "1 g/L", "copper": "50 %"}


def orchard(mix: dict[str, Any] | None = None, **changes: Any) -> dict[str, Any]:
    plain = {"block": {"area": "1 ha"}, "mix": {"copper": MIX | (mix or {})}}
    return tables(**(plain | changes))


def cautions(
    folder: Path, site: dict[str, Any], day: str, *more: str, material: str = "copper"
) -> list[str]:
    """What is said of an entry; 10 kg unless an amount is given."""
    path = write(folder, site)
    amount = () if "--amount" in more or "none" in more else ("--amount", "10 kg")
    said = command(
        "log", "add", "--site", path, "--now", NOW, "--no-fetch", "--material", material,
        "--product", "P", "--start", f"{day} 10:00", "--end", "11:00", "--json", *amount,
        *(word for word in more if word != "none"),
    )  # fmt: skip
    lines: list[str] = said.answer["cautions"]
    return [line for line in lines if "limit" in line or "over the" in line or "counted" in line]


def test_the_european_limit_over_seven_years(tmp_path: Path) -> None:
    # 28 kg/ha in seven years: 5 kg of metal a winter on a hectare pass it with the sixth
    site = orchard(copper={"limits": LIMITS})
    for year in range(2020, 2025):
        assert cautions(tmp_path, site, f"{year}-12-10") == []
    assert cautions(tmp_path, site, "2025-12-10") == [
        "peaches: 30 kg/ha of copper metal in 7 years to 10 Dec 2025, over the 28 kg/ha of "
        "Reg. (EU) 2018/1981"
    ]
    path = write(tmp_path, site)
    listed = command("log", "list", "--site", path, "--now", NOW, "--json").answer
    assert [entry["product_kg"] for entry in listed["entries"]] == [10.0] * 6


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        ({"copper_per_year": "8 kg/ha"}, "10 kg/ha of copper metal in a year to 10 Jan 2026, over "
         "the 8 kg/ha of label"),
        ({"product_per_year": "19 kg/ha"}, "20 kg/ha in a year to 10 Jan 2026, over the 19 kg/ha"),
        ({"rounds_per_year": 1}, "2 rounds in a year to 10 Jan 2026, over the 1 round of label"),
    ],
)  # fmt: skip
def test_what_the_label_allows_in_a_year(tmp_path: Path, limit: dict[str, Any], words: str) -> None:
    site = orchard(limit)
    assert cautions(tmp_path, site, "2024-12-10") == []
    assert cautions(tmp_path, site, "2025-12-20") == []
    found = cautions(tmp_path, site, "2026-01-10")
    assert len(found) == 1
    assert words in found[0]


def test_an_entry_made_late_may_take_a_later_round_over(tmp_path: Path) -> None:
    site = orchard({"rounds_per_year": 1})
    assert cautions(tmp_path, site, "2026-01-10") == []
    assert "2 rounds in a year to 10 Jan 2026" in cautions(tmp_path, site, "2025-12-20")[0]


def test_parts_of_a_round_and_another_material_are_no_second_round(tmp_path: Path) -> None:
    site = orchard({"rounds_per_year": 1})
    assert cautions(tmp_path, site, "2026-01-05", "--share", "60 %") == []
    assert cautions(tmp_path, site, "2026-01-06", "--share", "40 %") == []
    assert cautions(tmp_path, site, "2026-01-07", "--amount", "1 L", material="oil") == []


def test_rounds_of_the_site_file_count(tmp_path: Path) -> None:
    program = {"rounds": [{"material": "copper", "done": ["2026-01-02"]}]}
    site = orchard({"rounds_per_year": 1}, program=program)
    assert "2 rounds in a year" in cautions(tmp_path, site, "2026-01-08")[0]
    ahead = {"rounds": [{"material": "copper", "done": ["2026-01-20"]}]}
    later = orchard({"rounds_per_year": 1}, program=ahead)
    assert len(cautions(tmp_path, later, "2025-12-30")) == 1  # a day to come does not count


def test_all_copper_counts_outside_the_program_too(tmp_path: Path) -> None:
    mixes = {"copper": MIX, "bordeaux": {"rate": "10 g/L", "copper": "20 %"}}
    site = orchard(
        mix=None, copper={"limits": [{"name": "law", "most": "6 kg/ha"}]}
    ) | {"mix": mixes, "materials": {"bordeaux": {"based_on": "copper"}}}  # fmt: skip
    assert cautions(tmp_path, site, "2026-01-02") == []
    found = cautions(tmp_path, site, "2026-01-08", material="bordeaux")
    assert "7 kg/ha of copper metal in a year" in found[0]


def test_what_cannot_be_held_against_a_limit_is_told(tmp_path: Path) -> None:
    site = orchard(copper={"limits": LIMITS})
    assert cautions(tmp_path, site, "2026-01-02", "none") == [
        "no amount that could be held against the limits: Reg. (EU) 2018/1981"
    ]
    with_sprayer = site | {"sprayer": SPRAYER}
    assert cautions(tmp_path, with_sprayer, "2026-01-03", "none") == [
        "no amount is entered: against the limits it counts as today's mix would take"
    ]
    bare = tables(copper={"limits": LIMITS})
    assert "its copper is not counted" in cautions(tmp_path, bare, "2026-01-04")[0]


def test_american_units(tmp_path: Path) -> None:
    # 10 kg/ha are 8.92 lb/acre
    site = orchard({"copper_per_year": "4 lb/acre"}) | {"units": "us"}
    found = cautions(tmp_path, site, "2026-01-02", "--amount", "20 kg")
    assert "8.92 lb/acre of copper metal" in found[0]
    assert "over the 4 lb/acre" in found[0]


def test_short_gaps_of_an_earlier_winter_are_over(tmp_path: Path) -> None:
    rounds = {"material": "copper", "apart": "5 days"}
    for done, told in ((["2025-01-10", "2025-01-12"], 0), (["2026-01-02", "2026-01-04"], 1)):
        site = orchard(program={"rounds": [rounds | {"done": done}]}) | {"name": str(told)}
        path = write(tmp_path, site)
        said = command(
            "log", "add", "--site", path, "--now", NOW, "--no-fetch", "--material", "copper",
            "--product", "P", "--start", "2026-01-12 10:00", "--end", "11:00", "--json",
        )  # fmt: skip
        lines = said.answer["cautions"]
        assert sum("asked for" in line for line in lines) == told

"""What an entry names bears on what is done: blocks, materials, and the time corrected."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from spraywindow.jobs.log.shared import SET_FIELDS
from spraywindow.record.entry import Application
from spraywindow.record.written import as_typed
from tests.command import Said, command
from tests.site_files import write_site, write_weather

pytestmark = pytest.mark.usefixtures("no_service")
OIL = ("--material", "oil", "--product", "Winter oil 80", "--no-fetch")
APRICOTS = """
[[blocks]]
name = "apricots"
crop = "apricot"
trees = 16
height = "3.5 m"
spread = "4 m"
stage = "{stage}"
observed = 2026-01-12
"""


def two_blocks(path: Path, stage: str = "dormant") -> Path:
    """48 trees in rows 1-4, 16 apricots."""
    write_site(path)
    path.write_text(path.read_text() + APRICOTS.format(stage=stage))
    return path


@pytest.fixture
def site(tmp_path: Path) -> Path:
    return two_blocks(tmp_path / "two.toml")


def add(site: Path, day: int, *more: object) -> Said:
    at = ("--start", f"2026-01-{day} 10:00", "--end", "12:00", "--now", f"2026-01-{day} 18:00")
    return command("log", "add", "--site", site, *OIL, *at, *more)


def entry(said: Said) -> dict[str, Any]:
    assert said.code == 0, said.err
    found: dict[str, Any] = said.answer["entry"]
    return found


def program(site: Path, now: str) -> list[float]:
    listed = command("log", "list", "--site", site, "--now", now, "--json").answer
    return [each["done"] for each in listed["program"]]


def test_the_blocks_named_are_the_part_of_the_round_that_is_done(site: Path) -> None:
    first = add(site, 13, "--set", "blocks=rows 1-4")
    assert "rows 1-4, 75 % of the round." in first.words  # 48 of 64 trees
    assert program(site, "2026-01-13 18:00") == [0.75, 0.0]
    second = add(site, 14, "--set", "blocks=apricots")
    assert "apricots, 25 % of the round" in second.words
    assert "days between" not in second.out
    assert program(site, "2026-01-14 18:00") == [1.0, 0.0]


def test_all_blocks_or_none_named_are_the_whole_round(site: Path) -> None:
    assert entry(add(site, 13, "--json"))["share"] == 1.0
    both = add(site, 19, "--set", "blocks=apricots, rows 1-4", "--json")
    assert entry(both)["share"] == 1.0


def test_a_share_given_by_hand_wins(site: Path) -> None:
    said = add(site, 13, "--set", "blocks=rows 1-4", "--share", "60 %", "--json")
    assert entry(said)["share"] == 0.6


def test_a_block_past_its_last_stage_has_no_part_in_the_round(tmp_path: Path) -> None:
    site = two_blocks(tmp_path / "early.toml", "full bloom")  # oil never goes on open flowers
    said = add(site, 13, "--set", "blocks=rows 1-4", "--json")
    assert entry(said)["share"] == 1.0
    # before the flowers were seen, the apricots were still to be done
    before = add(site, 10, "--set", "blocks=rows 1-4", "--json")
    assert entry(before)["share"] == 0.75


def test_a_block_that_the_site_does_not_have_is_refused_without_a_share(site: Path) -> None:
    said = add(site, 13, "--set", "blocks=apricot")
    assert "did you mean apricots?" in said.refusal
    part = add(site, 13, "--set", "blocks=row 1", "--share", "20 %")
    assert part.code == 0
    assert "did you mean rows 1-4?" in part.words
    assert "?." not in part.out


def test_thirds_make_a_whole_round_that_holds_the_next_one(tmp_path: Path) -> None:
    site = two_blocks(tmp_path / "thirds.toml")
    third = APRICOTS.format(stage="dormant").replace("apricots", "plums")
    site.write_text(site.read_text().replace("trees = 48", "trees = 16") + third)
    for day, block in ((13, "rows 1-4"), (14, "apricots"), (15, "plums")):
        add(site, day, "--set", f"blocks={block}")
    assert program(site, "2026-01-15 18:00") == [1.0, 0.0]
    weather = write_weather(tmp_path / "w.csv", "2026-01-01", 31)
    said = command("slots", "--site", site, "--weather", weather, "--material", "oil", "--json",
               "--now", "2026-01-15 18:00")  # fmt: skip
    assert "oil went on Thu 15 Jan" in said.answer["tomorrow"]["reason"]


def test_a_correction_of_the_blocks_corrects_the_share(site: Path) -> None:
    correct = ("--site", site, "--why", "read the map again", "--now", "2026-01-14 18:00", "--json")
    add(site, 13)
    said = command("log", "correct", 1, "--set", "blocks=apricots", *correct)
    assert entry(said)["share"] == 0.25
    add(site, 14, "--set", "blocks=apricots", "--share", "10 %")
    said = command("log", "correct", 3, "--set", "blocks=rows 1-4", *correct)
    assert entry(said)["share"] == 0.1  # by hand


@pytest.mark.parametrize("name", ["lime sulfur", "soap", "Bordeaux mixture"])
def test_a_really_new_material_is_entered(site: Path, name: str) -> None:
    said = command("log", "add", "--site", site, "--material", name, "--product", "X", "--no-fetch",
               "--start", "2026-01-13 10:00", "--now", "2026-01-13 18:00", "--json")  # fmt: skip
    assert entry(said)["material"] == name


def test_a_shorter_name_may_be_another_material(site: Path) -> None:
    site.write_text(site.read_text() + '[materials."lime sulfur"]\nrounds = 1\n')
    assert entry(add(site, 13, "--material", "sulfur", "--json"))["material"] == "sulfur"
    slip = add(site, 14, "--material", "lime sulphur")
    assert "did you mean lime sulfur?" in slip.refusal


def test_a_slip_in_a_correction_is_refused_too(site: Path) -> None:
    add(site, 13)
    said = command("log", "correct", 1, "--site", site, "--set", "material=coper", "--why", "x",
               "--now", "2026-01-13 18:00")  # fmt: skip
    assert "did you mean copper?" in said.refusal


def test_a_correction_tells_what_was_typed(site: Path) -> None:
    add(site, 13, "--amount", "4 L")
    said = command("log", "correct", 1, "--site", site, "--set", "amount=-3 gal", "--why", "x",
               "--now", "2026-01-13 18:00")  # fmt: skip
    assert said.err == (
        "spraywindow: correction of entry 1: amount: input should be greater than 0; got '-3 gal'\n"
    )


def test_an_hour_may_be_written_without_its_zero(site: Path) -> None:
    said = command("log", "add", "--site", site, *OIL, "--start", "2026-01-13 7:30", "--end",
                   "8:00", "--now", "2026-01-13 18:00", "--json")  # fmt: skip
    found = entry(said)
    assert (found["start"][11:16], found["end"][11:16]) == ("07:30", "08:00")


def test_weather_estimated_for_the_old_time_goes_with_it(site: Path, tmp_path: Path) -> None:
    weather = write_weather(tmp_path / "w.csv", "2026-01-01", 31)
    add(site, 13, "--weather", weather, "--set", "wind=3 m/s")
    moved = ("--site", site, "--now", "2026-01-14 18:00", "--why", "it was the morning")
    said = command("log", "correct", 1, "--set", "start=2026-01-13 08:00", *moved)
    told = said.words
    assert "estimated for the old hours is dropped (temp_c, wind_from_deg); `log correct 2" in told
    kept = command("log", "list", "--site", site, "--json").answer["entries"][0]
    assert (kept["temp_c"], kept["wind_ms"], kept["estimated"]) == (None, 3.0, [])
    assert kept["weather_source"] == ""
    again = command("log", "correct", 2, "--weather", weather, "--set", "start=2026-01-13 11:00",
                *moved, "--json")  # fmt: skip
    assert entry(again)["estimated"] == ["temp_c", "wind_from_deg"]


def test_weather_is_looked_up_at_the_corrected_time(site: Path, tmp_path: Path) -> None:
    weather = write_weather(tmp_path / "w.csv", "2026-01-01", 31)
    warm = entry(add(site, 13, "--weather", weather, "--json"))["temp_c"]
    said = command("log", "correct", 1, "--site", site, "--set", "start=2026-01-13 04:00", "--set",
               "end=6:00", "--weather", weather, "--why", "x", "--now", "2026-01-14 18:00",
               "--json")  # fmt: skip
    assert entry(said)["temp_c"] < warm - 2  # the table's nights are 4 K below its days' mean
    assert "dropped" not in said.out


def test_the_fields_that_the_help_lists_are_all_there_are() -> None:
    named = set(as_typed(dict.fromkeys(SET_FIELDS)))
    kept = {"site", "timezone", "estimated", "weather_source", "failed_share", "failed_blocks"}
    assert named == set(Application.model_fields) - kept

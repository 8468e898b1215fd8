"""``spraywindow init``: a site file that reads back, never over an existing one."""

from __future__ import annotations

from pathlib import Path

import pytest

from spraywindow.site.site import read_site
from spraywindow.trees.cultivar_groups import CULTIVAR_GROUPS
from spraywindow.trees.stages import STAGES
from tests.command import command
from tests.site_files import NOW, steady, write_mapped

PLACE = ("--latitude", "38.5", "--longitude", "-121.7", "--timezone", "America/Los_Angeles")


@pytest.mark.parametrize("units", ["metric", "us"])
def test_what_is_written_reads_back(tmp_path: Path, units: str) -> None:
    file = tmp_path / "site.toml"
    said = command("init", file, *PLACE, "--elevation", "60 ft", "--units", units)
    assert (said.code, said.out) == (0, f"{file}\n")
    site = read_site(file)
    assert site.place.elevation_m == pytest.approx(60 * 0.3048)
    assert site.units == units
    assert [entry.rounds for entry in site.program.entries] == [3, 5]


def test_every_commented_line_is_a_usable_key(tmp_path: Path) -> None:
    file = tmp_path / "site.toml"
    command("init", file, *PLACE)
    lines = file.read_text(encoding="utf-8").splitlines()
    said = [
        line.removeprefix("# ") if " = " in line or line.startswith("# [") else line
        for line in lines
    ]
    file.write_text("\n".join(said), encoding="utf-8")
    site = read_site(file)
    assert site.blocks[0].stage == 0
    assert site.setting.neighbours_deg == (315.0, 120.0)
    assert site.material("oil").limit("cold").value == pytest.approx((40 - 32) * 5 / 9)
    assert "sulfur" in site.other_sprays


def test_the_rest_of_the_year_works_once_it_is_uncommented(tmp_path: Path) -> None:
    file = tmp_path / "site.toml"
    command("init", file, *PLACE)
    lines = file.read_text(encoding="utf-8").splitlines()
    first = next(number for number, line in enumerate(lines) if "rest of the year" in line)
    said = [
        line.removeprefix("# ") if " = " in line or line.startswith("# [") else line
        for line in lines[first:]
    ]
    file.write_text("\n".join([*lines[:first], *said]), encoding="utf-8")
    weather = write_mapped(tmp_path, steady())[0]
    own = ("--site", file, "--now", NOW)
    columns = ("--weather", weather, "--columns", tmp_path / "map.toml")
    for words in (
        ("mix",),
        ("mix", "--material", "copper"),
        ("feed", *columns),
        ("hose", *columns),
    ):
        assert command(*words, *own).code == 0, words


def test_all_stages_and_cultivar_groups_are_named(tmp_path: Path) -> None:
    file = tmp_path / "site.toml"
    command("init", file, *PLACE)
    lines = file.read_text(encoding="utf-8").splitlines()
    assert any(all(stage.words in line for stage in STAGES.values()) for line in lines)
    assert any(all(group in line for group in CULTIVAR_GROUPS) for line in lines)


def test_names_with_quotes_and_other_alphabets(tmp_path: Path) -> None:
    file, name = tmp_path / "site.toml", 'Höhe "Ω" {x} \\ 桃'
    assert command("init", file, *PLACE, "--name", name).code == 0
    assert read_site(file).name == name


def test_never_over_an_existing_file(tmp_path: Path) -> None:
    file = tmp_path / "site.toml"
    file.write_text("mine")
    assert "the file exists" in command("init", file, *PLACE).refusal
    assert file.read_text() == "mine"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--latitude", "91"), "latitude"),
        (("--longitude", "121.7"), "is the sign right?"),
        (("--timezone", "Mars/Base"), "unknown time zone"),
        (("--timezone", 'A"B'), "quotes or line breaks"),
        (("--elevation", "60"), "a number without its unit"),
        (("--units", "imperial"), "'metric' or 'us'"),
        (("--latitude", "north"), "--latitude"),
    ],
)
def test_nothing_is_written_on_an_error(tmp_path: Path, words: tuple[str, str], said: str) -> None:
    file = tmp_path / "site.toml"
    assert said in command("init", file, *PLACE, *words).refusal
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    said = command("init", tmp_path / "no" / "site.toml", *PLACE).refusal
    assert "cannot write" in said

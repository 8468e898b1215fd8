"""A folder of site files, or a site's name, wherever a site stands: common practice, no source."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pandas as pd
import pytest

from tests.command import command
from tests.site_files import MAP, SITE, write_site, write_weather

EVENING = ("--now", "2026-01-09 18:00")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two metric sites and a US one, with a column map and another program's file beside them."""
    sites = tmp_path / "sites"
    sites.mkdir()
    write_site(sites / "a.toml")
    write_site(sites / "b.toml", name="Lime Kiln Yard", longitude=21.6)
    (sites / "c.toml").write_text(SITE)
    (sites / "map.toml").write_text(MAP)
    (sites / "other.toml").write_text("[tool.thing]\nlevel = 3\n")
    return sites


@pytest.fixture
def weather(tmp_path: Path) -> tuple[object, ...]:
    file = write_weather(tmp_path / "w.csv", "2026-01-01", 20)
    return ("--weather", file, *EVENING)


def break_one(folder: Path) -> None:
    (folder / "broken.toml").write_text('name = "Broken Fence"\n[place]\nlatitude = 99\n')


def test_slots_is_one_table_of_eighty_columns(folder: Path, weather: tuple[object, ...]) -> None:
    said = command("slots", folder, *weather)
    lines = said.text.splitlines()
    sites = [line for line in lines if line.startswith(("Ossa", "Lime", "Lower"))]
    assert [line[:14].strip() for line in sites] == [
        "Ossa Terrace", "Lime Kiln Yard", "Lower Terrace",
    ]  # fmt: skip
    assert lines[0].split() == ["site,", "Sat", "Sun", "Mon", "Tue", "Wed", "Thu", "Fri"]
    assert sites[0].split()[2] == "spray"
    assert lines[lines.index(sites[0]) + 1].split()[1] == "08-17"
    assert max(map(len, lines)) <= 80
    assert command("slots", "--site", folder, *weather).out == said.out


def test_the_table_says_what_each_site_is_told_by_itself(
    folder: Path, weather: tuple[object, ...]
) -> None:
    rows = list(csv.DictReader(io.StringIO(command("slots", folder, *weather, "--csv").text)))
    for file in ("a", "b", "c"):
        alone = command("slots", "--site", folder / f"{file}.toml", *weather, "--json").answer
        mine = [row for row in rows if row["site"] == alone["site"]]
        assert len(mine) == 7
        assert mine[0]["date"] == alone["tomorrow"]["date"]
        assert mine[0]["word"] == alone["tomorrow"]["advice"]
        assert mine[0]["start"] == alone["tomorrow"]["start"]


def test_a_first_day_without_a_go_says_why(folder: Path, tmp_path: Path) -> None:
    table = pd.read_csv(write_weather(tmp_path / "w.csv", "2026-01-01", 20))
    table["wind_ms"] = 15.0  # 3 CCR 6960: at most 10 mph
    table.to_csv(tmp_path / "w.csv", index=False)
    said = command("slots", folder, "--weather", tmp_path / "w.csv", *EVENING)
    for name in ("Ossa Terrace", "Lime Kiln Yard", "Lower Terrace"):
        assert f"{name}: no-go tomorrow (Sat 10 Jan)" in said.words
    assert said.words.count("too windy") == 3


def test_json_is_the_list_of_each_site_s_own(folder: Path, weather: tuple[object, ...]) -> None:
    files = [word for name in "abc" for word in ("--site", folder / f"{name}.toml")]
    assert (
        command("slots", folder, *weather, "--json").answer
        == command("slots", *files, *weather, "--json").answer
    )


def test_a_broken_site_is_told_and_the_others_are_answered(
    folder: Path, weather: tuple[object, ...]
) -> None:
    whole = command("slots", folder, *weather, "--exit-code")
    break_one(folder)
    said = command("slots", folder, *weather, "--exit-code")
    assert (whole.code, said.code) == (0, 2)
    assert "Broken Fence    not answered: " in said.out
    assert "latitude" in said.out
    assert whole.out.splitlines()[:8] == said.out.splitlines()[:8]
    listed = command("slots", folder, *weather, "--json")
    assert listed.code == 2
    assert '"unanswered": "(1) ' in listed.out
    assert "Broken Fence,,,unanswered," in command("slots", folder, *weather, "--csv").out


def test_sites_of_one_name_are_not_mixed_up(folder: Path, weather: tuple[object, ...]) -> None:
    write_site(folder / "again.toml")
    said = command("slots", folder, *weather)
    assert said.code == 2
    assert "Ossa Terrace" in said.out
    assert "several site files of one name" in " ".join(said.out.split())
    assert said.out.count("Ossa Terrace") == 1


def test_a_mistake_of_the_command_is_one_line(folder: Path, weather: tuple[object, ...]) -> None:
    said = command("slots", folder, *weather[:2], "--now", "soon")
    assert said.refusal.count("not a time") == 1


def test_a_folder_without_site_files_is_one_clear_error(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(MAP)
    for job in (("slots",), ("season",), ("report",), ("visits",), ("seen",), ("feed", "--site")):
        assert "no site file in this folder" in command(*job, tmp_path).refusal


@pytest.mark.parametrize("option", ["--receipt", "--plot", "--ics", "--hours"])
def test_what_is_of_one_site_is_refused(
    folder: Path, weather: tuple[object, ...], option: str
) -> None:
    value = [] if option == "--hours" else [folder.parent / "kept.svg"]
    assert f"{option} of several sites" in command(
        "slots", folder, *weather, option, *value
    ).refusal  # fmt: skip


def test_a_site_is_named_by_its_name(
    folder: Path, weather: tuple[object, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    by_file = command("slots", "--site", folder / "a.toml", *weather).text
    assert command("slots", folder / "Ossa Terrace", *weather).text == by_file
    monkeypatch.chdir(folder)
    assert command("slots", "ossa terrace", *weather).text == by_file
    assert command("slots", "--site", "Ossa", *weather).text == by_file
    assert "Lime Kiln Yard (b.toml), Lower Terrace (c.toml)" in command(
        "slots", "l", *weather
    ).refusal  # fmt: skip
    assert "did you mean Ossa Terrace?" in command("slots", "Osa Terace", *weather).refusal
    assert "a folder of several sites" in command("hose", "--site", ".").refusal
    # one site's command takes the name too
    assert "no site's name" in command("hose", "--site", "Elsewhere").refusal


def test_seen_lists_all_and_notes_by_name(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    assert command("seen", "Ossa Terrace", "--leaf-fall", *EVENING).code == 0
    said = command("seen", ".", *EVENING)
    assert said.text.count("nothing is noted yet") == 2
    assert "leaf fall" in said.text
    assert [each["site"] for each in command("seen", ".", *EVENING, "--json").answer] == [
        "Ossa Terrace", "Lime Kiln Yard", "Lower Terrace",
    ]  # fmt: skip
    assert "a folder of several sites" in command("seen", ".", "--leaf-fall", *EVENING).refusal
    break_one(folder)
    assert command("seen", ".", *EVENING).code == 2


def test_report_writes_a_page_each_into_a_folder(
    folder: Path, weather: tuple[object, ...], tmp_path: Path
) -> None:
    pages = tmp_path / "pages"
    pages.mkdir()
    break_one(folder)
    said = command("report", folder, *weather, "--out", pages)
    assert said.code == 2
    assert "Broken Fence: not answered: " in said.err
    names = {"ossa-terrace.html", "lime-kiln-yard.html", "lower-terrace.html"}
    assert {path.name for path in pages.iterdir()} == names
    assert "--out of several sites" in command(
        "report", folder, *weather, "--out", tmp_path / "page.html"
    ).refusal  # fmt: skip


def test_visits_takes_a_folder(folder: Path, weather: tuple[object, ...]) -> None:
    (folder / "c.toml").unlink()
    break_one(folder)
    answer = command("visits", folder, *weather, "--json").answer
    assert sorted(stop["site"] for stop in answer["stops"]) == ["Lime Kiln Yard", "Ossa Terrace"]
    assert [row["site"] for row in answer["left_out"]] == ["Broken Fence"]


def test_season_is_one_table(folder: Path, few_winters: Path) -> None:
    (folder / "c.toml").unlink()
    (folder / "b.toml").unlink()
    break_one(folder)
    ask = ("season", folder, "--winters", few_winters, "--no-forecast", "--now", "2025-11-10 18:00")
    said = command(*ask)
    assert said.code == 2
    alone = command(*ask[:1], "--site", folder / "a.toml", *ask[2:], "--json").answer
    finish, owed = alone["finish"]["as_it_comes"], sum(each["owed"] for each in alone["program"])
    row = next(line for line in said.out.splitlines() if line.endswith("Ossa Terrace"))
    assert row.split()[0] == str(owed)
    assert f"of {finish['n']} ({100 * finish['share']:.0f} %)" in row
    assert "Broken Fence: not answered: " in said.out
    assert "--what-if of several sites" in command(*ask, "--what-if", "crew.job = 3 h").refusal

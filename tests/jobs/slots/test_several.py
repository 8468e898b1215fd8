"""``spraywindow slots`` with several sites: several answers, or one clear line."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.command import command
from tests.site_files import NOW, SITE, steady, write_mapped


@pytest.fixture
def weather(tmp_path: Path) -> list[str | Path]:
    """Options that name a weather file, its map and the time."""
    file, column_map = write_mapped(tmp_path, steady())
    return ["--weather", file, "--columns", column_map, "--now", NOW]


def site(
    folder: Path, name: str, changes: dict[str, str] | None = None, *, closed: str = ""
) -> list[str | Path]:
    """The option that names a site file; `closed`: a day without access."""
    text = SITE.replace("Lower Terrace", name)
    for old, new in (changes or {}).items():
        text = text.replace(old, new)
    path = folder / f"{name}.toml"
    path.write_text(text + (f"[access]\nclosed = [{closed}]\n" if closed else ""), "utf-8")
    return ["--site", path]


def test_texts_stand_one_after_the_other(tmp_path: Path, weather: list[str | Path]) -> None:
    one, other = site(tmp_path, "Upper"), site(tmp_path, "Lower", closed="2026-01-13")
    alone = [command("slots", *which, *weather).text for which in (one, other)]
    assert alone[0].startswith("Upper: spray oil ")
    assert alone[1].startswith("Lower: no-go ")
    assert command("slots", *one, *other, *weather).text == "\n".join(alone)


def test_json_is_a_list_of_what_each_site_is_told(
    tmp_path: Path, weather: list[str | Path]
) -> None:
    one, other = site(tmp_path, "Upper"), site(tmp_path, "Lower")
    alone = [command("slots", *w, *weather, "--json", "--hours").answer for w in (other, one)]
    both = command("slots", *other, *one, *weather, "--json", "--hours").answer
    assert both == alone
    assert [answer["site"] for answer in both] == ["Lower", "Upper"]


def test_exit_code_is_the_worst_of_all(tmp_path: Path, weather: list[str | Path]) -> None:
    seen = {"observed = 2026-01-09": "observed = 2026-01-16"}
    go, shut = site(tmp_path, "Go", seen), site(tmp_path, "Shut", seen, closed="2026-01-17")
    unknown = site(tmp_path, "Unseen")  # its buds were last seen over a week ago
    asked = [*weather[:-1], "2026-01-16 18:00"]
    for sites, code in (
        ([*go, *go], 0), ([*go, *shut], 1), ([*shut, *go], 1), ([*unknown, *go], 3),
        ([*go, *unknown, *shut], 3),
    ):  # fmt: skip
        assert command("slots", *sites, *asked, "--exit-code").code == code
    assert command("slots", *go, *unknown, *asked).code == 0  # answered


@pytest.mark.parametrize("option", ["--receipt", "--plot", "--ics", "--csv"])
def test_what_is_of_one_site_is_refused(
    tmp_path: Path, weather: list[str | Path], option: str
) -> None:
    two = [*site(tmp_path, "Upper"), *site(tmp_path, "Lower")]
    before = set(tmp_path.iterdir())
    value = [] if option == "--csv" else [tmp_path / "kept.svg"]
    said = command("slots", *two, *weather, option, *value)
    assert f"{option} of several sites" in said.refusal
    assert set(tmp_path.iterdir()) == before


def test_an_unreadable_second_site_is_the_only_thing_told(
    tmp_path: Path, weather: list[str | Path]
) -> None:
    first = site(tmp_path, "Upper")
    entry = ["material=oil", "start=2026-01-10 10:00", "end=12:00", "amount=4 L", "product=oil"]
    sets = [word for pair in entry for word in ("--set", pair)]
    assert command("log", "add", *first, *sets, "--no-fetch", "--now", NOW).code == 0
    assert "From the record" in command("slots", *first, *weather).err
    said = command("slots", *first, "--site", tmp_path / "none.toml", *weather)
    assert "none.toml" in said.refusal
    assert "(1)" not in said.refusal


def test_every_site_that_cannot_be_read_is_named(tmp_path: Path, weather: list[str | Path]) -> None:
    bad = site(tmp_path, "Bad", {"60 ft": "60"})
    said = command(
        "slots", *bad, *site(tmp_path, "Good"), "--site", tmp_path / "none.toml", *weather
    )
    assert "(1) " in said.refusal
    assert "Bad.toml" in said.refusal
    assert "(2) " in said.refusal
    assert "none.toml" in said.refusal


def test_a_mistake_that_all_share_is_told_once(tmp_path: Path) -> None:
    two = [*site(tmp_path, "Upper"), *site(tmp_path, "Lower")]
    said = command("slots", *two, "--weather", tmp_path / "none.csv", "--now", NOW)
    assert said.refusal.count("none.csv") == 1

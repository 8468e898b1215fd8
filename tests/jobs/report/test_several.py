"""``spraywindow report`` with several sites: a page each, or none."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.command import command
from tests.site_files import NOW, SITE, steady, write_mapped


@pytest.fixture
def two(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """Two sites and their weather, in a folder of their own where the pages go."""
    file, column_map = write_mapped(tmp_path, steady())
    words: list[object] = ["--weather", file, "--columns", column_map, "--now", NOW]
    for name in ("Upper", "Lower"):
        path = tmp_path / f"{name}.toml"
        path.write_text(SITE.replace("Lower Terrace", f"{name} Terrace"), encoding="utf-8")
        words += ["--site", path]
    (tmp_path / "pages").mkdir()
    monkeypatch.chdir(tmp_path / "pages")
    return words


def test_every_site_gets_its_page(two: list[object]) -> None:
    assert command("report", *two).text == "upper-terrace.html\nlower-terrace.html\n"
    assert "Lower Terrace" not in Path("upper-terrace.html").read_text("utf-8")
    assert "Lower Terrace" in Path("lower-terrace.html").read_text("utf-8")
    answers = command("report", *two, "--json").answer
    assert [each["page"] for each in answers] == ["upper-terrace.html", "lower-terrace.html"]
    assert [each["answers"][0]["site"] for each in answers] == ["Upper Terrace", "Lower Terrace"]


def test_one_page_cannot_hold_several_sites(two: list[object]) -> None:
    assert "--out of several sites" in command("report", *two, "--out", "page.html").refusal
    assert list(Path().iterdir()) == []


def test_sites_of_one_name_would_write_over_each_other(two: list[object]) -> None:
    assert "upper-terrace.html" in command("report", *two, *two[6:8]).refusal
    assert list(Path().iterdir()) == []


def test_a_second_site_that_cannot_be_read_leaves_no_page(two: list[object]) -> None:
    said = command("report", *two[:8], "--site", "none.toml")
    assert "none.toml" in said.refusal
    assert list(Path().iterdir()) == []


def test_a_page_that_cannot_be_written_leaves_none(two: list[object]) -> None:
    Path("lower-terrace.html").write_text("somebody else's", encoding="utf-8")
    assert "another kind of file" in command("report", *two).refusal
    assert [path.name for path in Path().iterdir()] == ["lower-terrace.html"]

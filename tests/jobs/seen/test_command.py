"""``spraywindow seen``: noted, listed, undone, and used by every command before the site file."""

from __future__ import annotations

from pathlib import Path

import pytest

from spraywindow.sources.demo.samples import sample_path
from tests.command import command
from tests.site_files import NOW, SITE, steady, write_mapped

AT = ("--now", NOW)


@pytest.fixture
def site(tmp_path: Path) -> Path:
    path = tmp_path / "terrace.toml"
    path.write_text(SITE)
    return path


def test_it_is_noted_listed_and_undone(site: Path) -> None:
    assert "nothing is noted yet" in command("seen", site, *AT).words
    assert not site.with_suffix(".db").exists()
    said = command("seen", site, "rows 1-4", "bud swell", "--leaf-fall", "--on", "2026-01-10", *AT)
    assert said.text.splitlines() == [
        "Noted, number 1: rows 1-4: bud swell, seen Sat 10 Jan.",
        "Noted, number 2: leaf fall, seen Sat 10 Jan.",
    ]
    assert "A new record" in said.err
    # the only block needs no name
    assert (
        "number 3: rows 1-4: bud burst, seen Mon 12 Jan"
        in command("seen", site, "bud burst", *AT).words
    )
    assert "number 2: leaf fall" in command("seen", site, "--undo", "2", *AT).words
    listed = command("seen", site, *AT, "--json").answer
    assert [(each["id"], each["stage"], each["day"]) for each in listed["seen"]] == [
        (1, 51, "2026-01-10"), (3, 53, "2026-01-12"),
    ]  # fmt: skip
    assert "bud burst" in command("seen", site, *AT).words


@pytest.mark.parametrize(
    ("words", "refusal"),
    [
        (("rows 1-3", "bud swell"), "no such block; expected one of rows 1-4; got 'rows 1-3'; did"),
        (("rows 1-4", "opne"), "stage: unknown growth stage"),
        (("rows 1-4",), "a block without its stage"),
        (("--leaf-fall", "--on", "2026-01-13"), "--on: a day to come; expected up to 2026-01-12"),
        (("--leaf-fall", "--on", "Monday"), "--on: not a date"),
        (("--on", "2026-01-10"), "--on without anything seen"),
        (("--undo", "1", "--leaf-fall"), "--undo beside something seen"),
        (("--undo", "1"), "no record there"),
    ],
)
def test_what_cannot_be_is_refused_and_begins_no_record(
    site: Path, words: tuple[str, ...], refusal: str
) -> None:
    assert refusal in command("seen", site, *words, *AT).refusal
    assert not site.with_suffix(".db").exists()


@pytest.mark.parametrize("name", ["slots", "report", "visits", "mix", "log add", "feed", "hose"])
def test_every_command_goes_by_it_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """Open flowers seen this evening stop the rows that the demo's file calls dormant."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "site.toml"
    path.write_text(sample_path("orchard.toml").read_text(encoding="utf-8"), encoding="utf-8")
    assert command("seen", path, "rows 1-4", "full bloom", *AT).code == 0
    words: tuple[object, ...] = ("--weather", sample_path("forecast.csv"))
    if name == "log add":
        words = ("--material", "copper", "--product", "Made up 80", "--start", "2026-01-12 10:00",
                 "--end", "11:00", "--amount", "1 kg", "--set", "blocks=rows 1-4",
                 "--no-fetch")  # fmt: skip
    said = command(*name.split(), "--site", path, *words, *AT)
    assert said.code == 0, said.err
    if name == "report":
        page = Path(said.out.strip()).read_text(encoding="utf-8")
        assert "rows 1-4: full bloom, seen Mon 12 Jan" in page
    elif name == "log add":
        assert command("log", "list", "--site", path, "--json").answer["entries"][0]["bbch"] == 65
    else:
        assert "rows 1-4: full bloom, seen Mon 12 Jan." in " ".join((said.out + said.err).split())
    if name == "slots":
        assert "no-go" in said.out.splitlines()[0]
        assert "open flowers" in said.words


def test_an_evening_before_it_was_seen_does_not_know_it(site: Path, tmp_path: Path) -> None:
    weather, columns = write_mapped(tmp_path, steady())
    ask = ("slots", "--site", site, "--weather", weather, "--columns", columns, "--json", "--now")
    assert command("seen", site, "rows 1-4", "full bloom", *AT).code == 0
    states = [command(*ask, now).answer["blocks"][0]["stage"] for now in ("2026-01-11 18:00", NOW)]
    assert states == ["dormant", "full bloom"] or states == [0, 65]

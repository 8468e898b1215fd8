"""``spraywindow seen``: noted, listed, undone, and used by every command before the site file."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
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
        (("--dry", "noon"), "--dry: not a clock time"),
        (("--dry", "19:00"), "--dry: a time to come"),
        (("--lowest", "-1.5"), "--lowest"),
        (("--lowest", "-80 degC"), "--lowest: out of range"),
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


FORECAST = ("--weather", sample_path("forecast.csv"))
LATER = ("--now", "2026-01-14 18:00")


@pytest.fixture
def orchard(tmp_path: Path) -> Path:
    path = tmp_path / "site.toml"
    path.write_text(sample_path("orchard.toml").read_text(encoding="utf-8"), encoding="utf-8")
    return path


def test_dry_bark_stands_beside_the_hour_that_slots_calls_sure(orchard: Path) -> None:
    said = command("seen", orchard, "--dry", "11:00", "--on", "2026-01-13", *FORECAST, *LATER)
    assert "bark dry, seen Tue 13 Jan, 11:00 (model 10:00)." in said.words
    evening = command("slots", "--site", orchard, *FORECAST, *AT, "--material", "oil")
    assert "The wood on Tue 13 Jan: dry from about 08:00, sure from 10:00." in evening.words
    # again and again an hour later than the model: then it counts as dry an hour later
    for _ in range(4):
        command("seen", orchard, "--dry", "11:30", "--on", "2026-01-13", *FORECAST, *LATER)
    evening = command("slots", "--site", orchard, *FORECAST, "--now", "2026-01-13 07:00",
                      "--material", "oil")  # fmt: skip
    assert "The wood on Tue 13 Jan: dry from about 08:00, sure from 11:00." in evening.words
    assert "5 notes, usually within" in evening.words
    # and not where the site file says that nothing is learned
    orchard.write_text("learn = false\n" + orchard.read_text(encoding="utf-8"), encoding="utf-8")
    evening = command("slots", "--site", orchard, *FORECAST, "--now", "2026-01-13 07:00",
                      "--material", "oil")  # fmt: skip
    assert "sure from 10:00." in evening.words
    assert "5 notes" not in evening.words
    assert "(not used: learn = false in the site file)" in command("seen", orchard, *LATER).words


def test_a_cold_night_stands_beside_the_lowest_of_the_weather(orchard: Path) -> None:
    said = command("seen", orchard, "--lowest", "-1.5 degC", "--on", "2026-01-14", *FORECAST,
                   *LATER, "--json").answer  # fmt: skip
    table = pd.read_csv(sample_path("forecast.csv"), index_col="time", parse_dates=True)
    night = table.tz_convert("Europe/Athens").loc["2026-01-13 12:00":"2026-01-14 09:00", "temp_c"]
    assert said["added"][0]["model_c"] == pytest.approx(night.min(), abs=1.6)  # a hollow of 1.5 K
    assert said["added"][0]["temp_c"] == -1.5
    off = -1.5 - said["added"][0]["model_c"]
    assert said["night_off_c"] == {"middle": pytest.approx(off / 4, abs=1e-4),
                                   "error": pytest.approx(-off, abs=1e-4), "notes": 1}  # fmt: skip


def test_weather_that_does_not_tell_the_morning_teaches_nothing(orchard: Path) -> None:
    for words in (("--dry", "10:20"), ("--lowest", "30 degF")):
        said = command("seen", orchard, *words, "--on", "2025-12-20", *FORECAST, *LATER)
        assert "(model unknown)" in said.words
        assert "teaches nothing" in said.err
    assert command("seen", orchard, *LATER, "--json").answer["taught"] == []


@pytest.mark.usefixtures("no_service")
def test_without_a_service_it_is_noted_all_the_same(orchard: Path) -> None:
    said = command("seen", orchard, "--lowest", "-1 degC", *AT)
    assert "teaches nothing: the service does not answer" in " ".join(said.err.split())
    assert "lowest of the night, seen Mon 12 Jan, -1.0 °C (model unknown)." in said.words

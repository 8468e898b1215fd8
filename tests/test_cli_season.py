"""``spraywindow season`` and ``backtest`` as the adviser types them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from spraywindow.sources.samples import sample_path
from tests.command_line import CommandLine
from tests.season_values import winters


@pytest.fixture
def command(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> CommandLine:
    return CommandLine(monkeypatch, capsys)


def site_file(folder: Path, **replaced: str) -> Path:
    text = sample_path("orchard.toml").read_text(encoding="utf-8")
    for old, new in replaced.items():
        text = text.replace({"leaf_fall": "leaf_fall = 2025-12-02"}.get(old, old), new)
    path = folder / "site.toml"
    path.write_text(text, encoding="utf-8")
    return path


def no_nan(token: str) -> Any:
    raise AssertionError(token)


def test_verdict_first_then_numbers_then_reasons(command: CommandLine) -> None:
    said = command("season")
    assert said.code == 0
    assert said.out.startswith("Varkessa Bank: the 5 rounds owed fit from tomorrow in ")
    order = [
        "Start by:",
        "Usable mornings a week",
        "Share of 12 winters",
        "What stops",
        "Leaf-curl",
    ]
    places = [said.out.index(words) for words in order]
    assert places == sorted(places)
    assert max(map(len, said.out.splitlines())) <= 80
    assert "nan" not in said.out


def test_season_json_has_the_keys_that_are_promised(command: CommandLine) -> None:
    answer = json.loads(command("season", "--json").out, parse_constant=no_nan)
    assert set(answer["season"]) >= {"start", "end"}
    winter = answer["winters"][0]
    assert set(winter) == {
        "winter", "usable", "why_not", "usable_mornings", "rounds", "finished",
    }  # fmt: skip
    assert set(winter["usable_mornings"]) == {"oil", "copper"}
    for part in ("hindsight", "as_it_comes"):
        assert set(answer["finish"][part]) == {"share", "low", "high", "n"}
        assert part in winter["rounds"]
        assert part in winter["finished"]
    assert set(answer["latest_start"]) == {"80", "90"}
    assert {"limit", "days_gained_without_it"} <= set(answer["limits"][0])
    assert set(answer["dry_spell"][0]) == {"hours", "usable_mornings", "finish_share"}


def test_backtest_json_has_the_keys_that_are_promised(command: CommandLine) -> None:
    answer = json.loads(command("backtest", "--json").out, parse_constant=no_nan)
    assert set(answer["winters"][0]) >= {"winter", "rounds", "spoiled"}
    assert set(answer["winters"][0]["spoiled"]) == {"24", "48", "72"}
    for rule in answer["rules"]:
        assert set(rule) >= {"name", "rounds", "spoiled", "false_go", "missed_go"}
    assert answer["rules"][0]["false_go"] is None
    assert 0 < answer["rules"][1]["false_go"] < 1


def test_backtest_text_and_csv(command: CommandLine) -> None:
    said = command("backtest", "--errors", "0")
    assert said.code == 0
    assert said.out.startswith("Varkessa Bank: in 12 winters this rule made")
    assert max(map(len, said.out.splitlines())) <= 80
    rows = command("backtest", "--csv", "--errors", "0").out.splitlines()
    assert rows[0].startswith("rule,run,winter,rounds,rain_within_24_h")
    assert len(rows) == 1 + 4 * 12


def test_before_leaf_fall_and_after_the_season(command: CommandLine, tmp_path: Path) -> None:
    site = site_file(tmp_path, **{"done = [2026-01-03]": "done = []",
                                  "done = [2025-12-06, 2025-12-16]": "done = []"})  # fmt: skip
    record = sample_path("winters.csv.gz")
    before = command("season", "--site", site, "--weather", record, "--now", "2025-11-01T18:00",
                     "--forecast", sample_path("forecast.csv"))  # fmt: skip
    assert before.code == 2  # the forecast does not hold that evening
    before = command("season", "--site", site, "--weather", record, "--now", "2026-04-20T18:00",
                     "--no-forecast")  # fmt: skip
    assert before.code == 0
    assert "this season is over" in before.out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--columns", "map.toml"], "--columns without --weather"),
        (["--dry-spell", "48"], "a number without its unit"),
        (["--now", "yesterday-ish"], "--now: not a time"),
    ],
)
def test_mistakes_are_one_line(command: CommandLine, arguments: list[str], words: str) -> None:
    said = command("season", *arguments)
    assert said.code == 2
    assert words in said.err
    assert said.err.count("\n") == 1
    assert said.out == ""


def test_no_leaf_fall_is_a_clear_error(command: CommandLine, tmp_path: Path) -> None:
    site = site_file(tmp_path, leaf_fall="")
    said = command("season", "--site", site, "--weather", sample_path("winters.csv.gz"),
                   "--now", "2026-01-12T18:00", "--no-forecast")  # fmt: skip
    assert (said.code, said.out) == (2, "")
    assert (
        'no leaf fall; expected leaf_fall = a date seen, or usual_leaf_fall = "1 Dec"' in said.err
    )


def test_one_winter_is_said_to_be_few(command: CommandLine, tmp_path: Path) -> None:
    record = tmp_path / "one.csv"
    winters().loc["2015-09":"2016-08"].to_csv(record)
    said = command("season", "--site", site_file(tmp_path), "--weather", record,
                   "--now", "2026-01-12T18:00", "--no-forecast")  # fmt: skip
    assert said.code == 0
    assert "1 of 1 winters" in said.out or "0 of 1 winters" in said.out
    assert "No latest start is given: it takes 10 winters." in said.out
    assert "Fewer than ten winters" in said.out

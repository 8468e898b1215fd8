"""A command reads its site file, opens its record, and verifies each row of it, once."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import spraywindow.site
from spraywindow.record import record as record_history
from spraywindow.record.file import open_record
from spraywindow.record.record import add, history
from spraywindow.site import site as site_module
from spraywindow.sources.demo.samples import sample_path
from tests.command import command
from tests.record_values import NOW as THEN
from tests.record_values import entry

NOW = ("--now", "2026-01-12 18:00")
WEATHER = ("--weather", sample_path("forecast.csv"))
ROUND = ("--product", "Made up 80", "--end", "11:00", "--amount", "4 L", "--no-fetch")


class Counted:
    """Calls of a function: what each was called with."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, owner: object, name: str) -> None:
        self.calls: list[tuple[Any, ...]] = []
        true: Callable[..., Any] = getattr(owner, name)

        def counting(*arguments: Any, **named: Any) -> Any:
            self.calls.append(arguments)
            return true(*arguments, **named)

        monkeypatch.setattr(owner, name, counting)


@pytest.fixture
def orchard(tmp_path: Path) -> Path:
    """The demo's site with a record of three rows: two rounds, the first one corrected."""
    path, receipt = tmp_path / "site.toml", tmp_path / "receipt.json"
    shutil.copy(sample_path("orchard.toml"), path)
    said = [
        command("slots", "--site", path, *WEATHER, *NOW, "--material", "copper",
                "--receipt", receipt),
        command("log", "add", "--site", path, *NOW, *ROUND, "--material", "copper",
            "--start", "2026-01-09 09:00", "--receipt", receipt),
        command("log", "add", "--site", path, *NOW, *ROUND, "--material", "sulfur",
            "--start", "2025-12-20 09:00"),
        command("log", "correct", 1, "--why", "misread", "--set", "share=60 %",
                "--site", path, *NOW),
    ]  # fmt: skip
    assert [each.code for each in said] == [0, 0, 0, 0], said
    return path


@pytest.mark.parametrize(
    ("words", "rows"),
    [
        (("slots", *WEATHER, "--site"), 3),
        (("report", *WEATHER, "--site"), 3),
        (("mix", *WEATHER, "--material", "copper", "--site"), 3),
        (("visits", *WEATHER, "--home", "37.80, 21.40", "--site"), 3),
        (("log", "add", *ROUND, "--material", "oil", "--start", "2026-01-10 09:00", "--site"), 4),
        (("log", "add", "--like", "2", "--start", "2026-01-02 09:00", "--no-fetch", "--site"), 4),
        (("log", "correct", "2", "--why", "misread", "--set", "share=50 %", "--site"), 4),
        (("log", "withdraw", "2", "--why", "another site", "--site"), 3),
        (("log", "list", "--site"), 3),
        (("log", "advice", *WEATHER, "--site"), 3),
        (("log", "judge", *WEATHER, "--site"), 3),
        (("log", "export", "--site"), 3),
        (("log", "paper", "record", "3", "--site"), 3),
        (("log", "check", "--site"), 3),
    ],
    ids=lambda words: " ".join(words[:2]) if isinstance(words, tuple) else "",
)
def test_a_command_reads_site_and_record_once(
    orchard: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...],
    rows: int,
) -> None:
    monkeypatch.chdir(orchard.parent)
    opened = Counted(monkeypatch, sqlite3, "connect")
    verified = Counted(monkeypatch, record_history, "Kept")
    sites = Counted(monkeypatch, spraywindow.site, "read_site")
    programs = Counted(monkeypatch, site_module, "build_program")
    said = command(*words, orchard, *NOW)
    assert said.code == 0, said.err
    assert len(opened.calls) == 1
    assert [call[0] for call in verified.calls] == list(range(1, rows + 1))
    assert (len(sites.calls), len(programs.calls)) == (1, 1)


def test_what_another_program_adds_is_read_to_what_is_known(tmp_path: Path) -> None:
    with (
        open_record(tmp_path / "log.db", create=True) as one,
        open_record(tmp_path / "log.db") as other,
    ):
        add(one, entry(note="first"), now=THEN)
        assert len(history(one)) == 1
        add(other, entry(note="second"), now=THEN)
        assert [row.entry.note for row in history(one)] == ["first", "second"]
        assert history(one) == history(other)

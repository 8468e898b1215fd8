"""The README says what the program does: its output, its commands and its examples are run."""

from __future__ import annotations

import contextlib
import io
import re
import subprocess
import sys
import tomllib

import pytest
from typer.main import get_command

from spraywindow.main import application
from spraywindow.site.site import site_of
from spraywindow.sources.demo.samples import sample_path
from spraywindow.sources.files.column_map import load_map
from spraywindow.spray.catalogue import CATALOGUE
from tests.command import demo
from tests.conftest import ROOT
from tests.json_page import page

README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def blocks(language: str, text: str = README) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", text, flags=re.S)


def shown_outputs() -> list[tuple[str, str]]:
    return re.findall(r"<!-- output: (.*?) -->\n```text\n(.*?)```", README, flags=re.S)


@pytest.mark.parametrize(("command", "shown"), shown_outputs())
def test_the_output_shown_is_what_is_printed(command: str, shown: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "spraywindow", *command.split()],
        capture_output=True, text=True, encoding="utf-8", check=True,
    )  # fmt: skip
    assert shown.rstrip() == done.stdout.rstrip()


def test_there_is_output_to_check() -> None:
    assert [command for command, _ in shown_outputs()] == ["slots"]


def test_it_begins_with_the_job_and_two_commands() -> None:
    assert README.startswith("# spraywindow\n\nA fruit-tree adviser")
    first, second = blocks("console")[:2]
    for command in (first, second):
        assert "python3 -m venv .venv && .venv/bin/pip install" in command
    assert ".venv/bin/spraywindow slots" in first
    assert ".venv/bin/python -m pytest" in second


def test_continuous_integration_takes_the_command_from_here() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert 'grep -m 1 "python -m pytest" README.md' in script


def test_every_command_named_exists() -> None:
    known = set(get_command(application()).commands)  # type: ignore[attr-defined]
    named = set(re.findall(r"(?:`|^|/)spraywindow ([a-z]+)\b", README, flags=re.M))
    assert named <= known


def test_python_example_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    (example,) = blocks("python")
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        exec(compile(example, "README.md", "exec"), {})
    answer, slot = printed.getvalue().splitlines()[:2]
    assert answer.startswith("2026-01-13T10:00")
    assert slot.startswith("2026-01-13 10:00")
    # the terminal knows the trees, so its chance may differ a little
    chance = float(slot.split()[4])
    told = demo("slots", "--json").answer["tomorrow"]["chance"]
    assert chance == pytest.approx(told, abs=0.05)


def test_toml_examples_can_be_read() -> None:
    label, columns = blocks("toml")
    site = tomllib.loads(sample_path("orchard.toml").read_text(encoding="utf-8"))
    site["materials"] = tomllib.loads(label)["materials"]
    oil = site_of(site).materials["oil"]
    assert oil.dry_spell_h == 48
    assert oil.limit("cold").value == pytest.approx(40 / 1.8 - 32 / 1.8)
    load_map(tomllib.loads(columns))


def test_files_and_folders_named_for_contributors_exist() -> None:
    named = re.findall(r"`((?:[a-z_]+/)*[a-z_]+\.pyi?|(?:[a-z_]+/)+)`", DEVELOPERS)
    assert len(named) > 30
    for name in named:
        places = [ROOT / "spraywindow" / name, ROOT / name, ROOT / "tests" / name]
        found = any(place.exists() for place in places)
        assert found or ("/" not in name and [*(ROOT / "spraywindow").rglob(name)]), name


def test_the_table_of_limits_is_the_catalogue() -> None:
    shown = set(re.findall(r"^\| (.+?) \| `(\w+)` \|", DEVELOPERS, flags=re.M))
    assert shown == {(limit.name, limit.quantity) for m in CATALOGUE.values() for limit in m.limits}


def test_the_keys_of_the_json_are_those_of_the_classes() -> None:
    (shown,) = re.findall(r"<!-- json -->\n(.*?)\n<!-- /json -->", DEVELOPERS, flags=re.S)
    assert shown == page()

"""An invented site file for the commands of the year, as tables to change and write."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

from typer.testing import CliRunner, Result

from spraywindow.cli.main import app
from spraywindow.sources.samples import sample_path

PLAIN: dict[str, Any] = {
    "name": "Dry Creek",
    "units": "metric",
    "place": {
        "latitude": 37.8, "longitude": 21.4, "elevation": "60 m", "timezone": "Europe/Athens",
    },
    "blocks": [
        {"name": "peaches", "crop": "peach", "trees": 20, "height": "10 ft", "spread": "10 ft"}
    ],
}  # fmt: skip
FEEDING = {"dose": "4 cups", "nitrogen": "10 %", "flowering": "2025-03-10", "parts": 6}
SPRAYER = {"tank": "100 gal", "flow": "2 gal/min"}
WINTERS = sample_path("winters.csv.gz")


def tables(**changes: Any) -> dict[str, Any]:
    """The plain site with tables over it; ``blocks`` changes the one block."""
    site = copy.deepcopy(PLAIN)
    site["blocks"][0] |= changes.pop("block", {})
    return site | changes


def write(folder: Path, site: dict[str, Any]) -> Path:
    path = folder / "site.toml"
    lines = [f"{key} = {json.dumps(value)}" for key, value in site.items() if _plain(value)]
    for key, value in site.items():
        if isinstance(value, dict):
            lines.append(f"{key} = {_inline(value)}")
        elif not _plain(value):
            lines.append(f"{key} = [{', '.join(_inline(each) for each in value)}]")
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def _plain(value: Any) -> bool:
    return not isinstance(value, dict | list) or (
        isinstance(value, list) and not any(isinstance(each, dict) for each in value)
    )


def _inline(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {_inline(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_inline(each) for each in value) + "]"
    return json.dumps(value)


def run(*arguments: str) -> Result:
    return CliRunner().invoke(app, list(arguments))


def answer(folder: Path, command: str, now: str, site: dict[str, Any], *more: str) -> Any:
    """The JSON of a command for a site on the demo's past weather."""
    result = ask(folder, command, now, site, "--json", *more)
    assert result.exit_code == 0, result.output + repr(result.exception)
    return json.loads(result.stdout)


def ask(folder: Path, command: str, now: str, site: dict[str, Any], *more: str) -> Result:
    path = write(folder, site)
    weather = ("--weather", str(WINTERS))
    return run(command, "--site", str(path), "--now", now, *weather, *more)

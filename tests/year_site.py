"""An invented site file for the commands of the year, as tables to change and write."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

from tests.command import Said, command
from tests.season_values import winters

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


def tables(**changes: Any) -> dict[str, Any]:
    """The plain site with tables over it; ``blocks`` changes the one block."""
    site = copy.deepcopy(PLAIN)
    site["blocks"][0] |= changes.pop("block", {})
    return site | changes


def write(folder: Path, site: dict[str, Any]) -> Path:
    path = folder / "site.toml"
    lines = [f"{key} = {_inline(value)}" for key, value in site.items() if _plain(value)]
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
    return json.dumps(value, default=str)  # days


def answer(folder: Path, name: str, now: str, site: dict[str, Any], *more: str) -> Any:
    """The JSON of a command for a site on a year of the demo's past weather."""
    return ask(folder, name, now, site, "--json", *more).answer


def ask(folder: Path, name: str, now: str, site: dict[str, Any], *more: str) -> Said:
    path, year = write(folder, site), folder / "year.csv"
    if not year.exists():
        winters().loc["2024-09":"2025-08"].to_csv(year)
    return command(name, "--site", path, "--now", now, "--weather", year, *more)

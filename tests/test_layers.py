"""The folders import in one direction, and nothing imports the package root."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "spraywindow"
ORDER = ("weather", "sources", "spray", "season", "orchard", "output", "cli")
GROUND = ("errors", "units", "place")
FILES = sorted(path for path in PACKAGE.rglob("*.py") if path.parent != PACKAGE)


def imported(path: Path) -> Iterator[str]:
    """Dotted names of everything that a file imports, inside functions too."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: a relative import"
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_file_imports_only_from_folders_before_its_own(path: Path) -> None:
    folder = path.relative_to(PACKAGE).parts[0]
    allowed = {*GROUND, *ORDER[: ORDER.index(folder) + 1]}
    if folder in ("spray", "season"):
        allowed.remove("sources")
    for name in imported(path):
        if name.split(".")[0] == "spraywindow":
            parts = name.split(".")
            assert len(parts) > 1, "the package root"
            assert parts[1] in allowed, name


def test_ground_files_import_only_each_other() -> None:
    for name in GROUND:
        inside = [n for n in imported(PACKAGE / f"{name}.py") if n.startswith("spraywindow")]
        assert all(n.split(".")[1] in GROUND for n in inside)

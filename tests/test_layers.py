"""The house: folders import in one direction, through each other's faces, without a circle."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

from spraywindow.main import JOBS as COMMANDS

PACKAGE = Path(__file__).resolve().parents[1] / "spraywindow"
GROUND = ("version", "errors", "units", "place", "days", "reasons")
SCIENCE = ("weather", "spray", "trees", "program", "winters")
JOBS = (
    "slots", "season", "backtest", "mix", "feed", "hose", "log", "seen", "visits", "report",
    "tonight", "init", "region",
)  # fmt: skip
ORDER = (
    *GROUND,
    *SCIENCE,
    "handbook",
    "sources",
    "site",
    "record",
    "region",
    "show",
    "call",
    "jobs",
    "public",
)
ONLY = {
    "handbook": {*GROUND, "weather"},
    "sources": {*GROUND, "weather"},
    "show": {*GROUND, "weather", "spray"},
}
"""Folders that may not use all that stands before them."""
MOST_FILES = 13
FILES = sorted(path for path in PACKAGE.rglob("*.py") if path.name != "__init__.py")
FACES = sorted(PACKAGE.rglob("__init__.pyi"))


def module(path: Path) -> str:
    """Dotted name of a file inside the package."""
    return ".".join(path.relative_to(PACKAGE).with_suffix("").parts)


@cache
def imported(path: Path) -> tuple[tuple[str, str], ...]:
    """Module and name of everything that a file imports of the package, in functions too."""

    def found() -> Iterator[tuple[str, str]]:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                for alias in node.names:
                    assert not alias.name.startswith("spraywindow"), f"{path}: import {alias.name}"
            elif isinstance(node, ast.ImportFrom):
                assert node.level == 0, f"{path}: a relative import"
                package, _, inside = (node.module or "").partition(".")
                if package == "spraywindow":
                    yield from ((inside, alias.name) for alias in node.names)

    return tuple(found())


def folder(name: str) -> str:
    """The folder that a module or a folder belongs to, "" for the ground files."""
    return name if (PACKAGE / Path(*name.split("."))).is_dir() else name.rpartition(".")[0]


@pytest.mark.parametrize("path", FILES, ids=module)
def test_a_file_imports_only_from_folders_before_its_own(path: Path) -> None:
    own = module(path).split(".")
    if own[0] in ("main", "__main__"):
        return
    before = set(ORDER[: ORDER.index(own[0]) + 1])
    allowed = ONLY.get(own[0], before - ({"sources", "handbook"} if own[0] in SCIENCE else set()))
    for inside, name in imported(path):
        parts = (inside or name).split(".")
        assert inside or parts[0] in GROUND, f"the package root, for {name}"
        assert parts[0] in allowed | {own[0]}, f"{inside}.{name}"
        if own[0] == parts[0] == "jobs":
            assert JOBS.index(parts[1]) <= JOBS.index(own[1]), f"{inside}.{name}"


@pytest.mark.parametrize("path", FILES, ids=module)
def test_another_folder_is_used_through_its_face(path: Path) -> None:
    own = folder(module(path))
    for inside, name in imported(path):
        there = folder(inside)
        if there != own and inside not in GROUND:
            assert inside == there, f"{name} is taken past the face of {there}"


def test_a_face_shows_only_what_others_use() -> None:
    used = {(inside, name) for path in FILES for inside, name in imported(path)}
    used |= {(f"jobs.{name}", name) for name in COMMANDS}
    for node in ast.walk(ast.parse((PACKAGE / "__init__.pyi").read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            used |= {(node.module or "", alias.name) for alias in node.names}
    for face in FACES:
        own = ".".join(face.parent.relative_to(PACKAGE).parts)
        for node in ast.parse(face.read_text(encoding="utf-8")).body if own else ():
            assert isinstance(node, ast.ImportFrom)
            assert {(own, alias.name) for alias in node.names} <= used, ast.unparse(node)


def test_files_import_each_other_in_no_circle() -> None:
    graph = {
        module(path): {
            inside
            for inside, _ in imported(path)
            if (PACKAGE / Path(*inside.split("."))).with_suffix(".py").is_file()
        }
        for path in FILES
    }
    assert set(TopologicalSorter(graph).static_order()) >= graph.keys()  # a circle raises


def test_a_folder_can_be_taken_in_at_a_glance() -> None:
    files: dict[Path, int] = {}
    for path in FILES:
        files[path.parent] = files.get(path.parent, 0) + 1
    assert {here.name: count for here, count in files.items() if count > MOST_FILES} == {}

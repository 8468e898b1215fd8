"""The examples in docstrings do what they show."""

from __future__ import annotations

import doctest
from importlib import import_module

import pytest

from tests.conftest import ROOT

EXAMPLES = [
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    for path in sorted((ROOT / "spraywindow").rglob("*.py"))
    if ">>> " in path.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("module", EXAMPLES)
def test_examples(module: str) -> None:
    found = doctest.testmod(import_module(module))
    assert found.attempted > 0
    assert found.failed == 0


def test_there_are_examples_to_run() -> None:
    assert EXAMPLES

"""Every notebook runs from top to bottom on the samples."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.conftest import ROOT

NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


def test_there_are_the_three_that_teach() -> None:
    assert [path.stem for path in NOTEBOOKS] == ["backtest", "season", "slots"]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_it_runs(path: Path) -> None:
    import nbformat
    from nbclient import NotebookClient

    notebook = nbformat.read(path, as_version=4)
    NotebookClient(
        notebook, timeout=300, kernel_name="python3", resources={"metadata": {"path": ROOT}}
    ).execute()
    assert all(cell.get("outputs") for cell in notebook.cells if cell.cell_type == "code")

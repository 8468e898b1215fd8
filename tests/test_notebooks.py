"""Every notebook runs from top to bottom on the samples."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import nbformat
import pytest
from jupyter_client.manager import KernelManager
from nbclient import NotebookClient

from tests.conftest import ROOT

NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


def test_there_are_the_three_that_teach() -> None:
    assert [path.stem for path in NOTEBOOKS] == ["backtest", "season", "slots"]


@pytest.fixture(scope="module")
def kernel() -> Iterator[KernelManager]:
    """One kernel, so that the package is loaded once."""
    manager = KernelManager(kernel_name="python3")
    manager.start_kernel(cwd=ROOT)
    yield manager
    manager.shutdown_kernel(now=True)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_it_runs(path: Path, kernel: KernelManager) -> None:
    notebook = nbformat.read(path, as_version=4)
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert not any("from spraywindow" in cell.source for cell in code)  # public names only
    # no notebook lives on names of another
    notebook.cells.insert(0, nbformat.v4.new_code_cell("%reset -f"))
    NotebookClient(notebook, km=kernel, timeout=300).execute()
    assert all(cell.get("outputs") for cell in code)

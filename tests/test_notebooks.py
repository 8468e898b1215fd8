"""Every notebook runs from top to bottom on the samples, or on a few evenings of the records."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import nbformat
import pytest
from jupyter_client.manager import KernelManager
from nbclient import NotebookClient

from tests.conftest import ROOT, SHARED, needs_records

NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


ON_RECORDS = "chances"


def test_there_are_the_four_that_teach_and_the_one_that_judges() -> None:
    assert [path.stem for path in NOTEBOOKS] == [
        "backtest", ON_RECORDS, "region", "season", "slots",
    ]  # fmt: skip


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("page") / "chances.html"


@pytest.fixture(scope="module")
def kernel(page: Path) -> Iterator[KernelManager]:
    """One kernel, so that the package is loaded once."""
    manager = KernelManager(kernel_name="python3")
    few = {"RECORDS": str(SHARED / "data"), "JUDGED": "none", "EVERY": "24", "PAGE": str(page)}
    manager.start_kernel(cwd=ROOT, env=os.environ | few)
    yield manager
    manager.shutdown_kernel(now=True)


@pytest.mark.parametrize(
    "path",
    [
        pytest.param(path, id=path.stem, marks=needs_records if path.stem == ON_RECORDS else ())
        for path in NOTEBOOKS
    ],
)
def test_it_runs(path: Path, kernel: KernelManager) -> None:
    notebook = nbformat.read(path, as_version=4)
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert not any("from spraywindow" in cell.source for cell in code)  # public names only
    # no notebook lives on names of another
    notebook.cells.insert(0, nbformat.v4.new_code_cell("%reset -f"))
    NotebookClient(notebook, km=kernel, timeout=300).execute()
    assert all(cell.get("outputs") for cell in code)


@needs_records
def test_the_page_holds_every_figure_and_loads_nothing(kernel: KernelManager, page: Path) -> None:
    if not page.is_file():
        test_it_runs(ROOT / "notebooks" / f"{ON_RECORDS}.ipynb", kernel)
    text = page.read_text(encoding="utf-8")
    assert text.count("<svg ") == 6
    assert "src=" not in text
    assert "<script" not in text
    assert len(text) < 400_000

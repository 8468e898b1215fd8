"""Names and rows of a Parquet file, as plain columns: a saved index is one of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from spraywindow.errors import InputError, describe


def parquet_names(path: Path) -> list[str]:
    """The names of the columns, that of a saved index among them."""
    return [str(name) for name in _open(path).schema_arrow.names]


def parquet_rows(path: Path, wanted: Sequence[str], rows: int) -> Iterator[pd.DataFrame]:
    """Read the wanted columns, so many rows at a time.

    Raises
    ------
    InputError
        If the file, or a part of it that is wanted, is damaged, or a wanted name stands twice.
    """
    import pyarrow as arrow

    file = _open(path)
    names = file.schema_arrow.names
    if twice := [name for name in wanted if names.count(name) > 1]:
        raise InputError(
            describe("two columns are called " + ", ".join(twice), where=str(path),
                     expected="each name once", cure="rename one of them")
        )  # fmt: skip
    try:
        for batch in file.iter_batches(rows, columns=list(wanted)):
            # By the notes that pandas leaves in a file it would turn a column into an index.
            yield batch.to_pandas(ignore_metadata=True)
    except (arrow.ArrowException, OSError) as error:
        raise _damaged(path, error) from error


def _open(path: Path) -> Any:
    try:
        import pyarrow as arrow
        import pyarrow.parquet as parquet
    except ImportError as error:
        raise InputError(
            f'{path}: Parquet needs an extra; pip install "spraywindow[parquet]"'
        ) from error
    try:
        return parquet.ParquetFile(path)
    except (arrow.ArrowException, OSError) as error:
        raise _damaged(path, error) from error


def _damaged(path: Path, error: Exception) -> InputError:
    return InputError(f"{path}: the Parquet file is damaged; {' '.join(str(error).split())}")

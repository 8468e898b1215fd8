"""Raw rows of a CSV or Parquet file: only the columns wanted, within a bound on memory."""

from __future__ import annotations

import gzip
import io
import re
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, cast

import pandas as pd

from spraywindow.errors import InputError, describe
from spraywindow.sources.column_fields import FileLayout
from spraywindow.sources.columns import nearest
from spraywindow.sources.filekind import SAMPLE_BYTES, check_lines, is_packed
from spraywindow.sources.parquet import parquet_names, parquet_rows

ROWS_LIMIT = 2_000_000
"""More rows than this are refused: two centuries of hours, half a century of quarter hours."""
CHUNK_ROWS = 200_000
_DECIMAL_COMMA = re.compile(r"(?:^|;)\s*\"?-?\d+,\d+\"?\s*(?=;|$)", re.MULTILINE)


def column_names(path: Path, head: bytes, layout: FileLayout) -> list[str]:
    """The names in the file's first row (numbers from 1 where it has no header)."""
    if head[:4] == b"PAR1":
        return parquet_names(path)
    if layout.header:
        return [str(name) for name in _first_row(path, head, layout, header=0).columns]
    first = _first_row(path, head, layout, header=None)
    return [str(number) for number in range(1, first.shape[1] + 1)]


def _copies(
    path: Path, head: bytes, layout: FileLayout, names: Sequence[str]
) -> dict[str, list[str]]:
    """Further columns of the same name, by the first: pandas numbers them, unseen."""
    if head[:4] == b"PAR1" or not layout.header:
        return {}
    written = _first_row(path, head, layout, header=None).iloc[0].fillna("")
    first: dict[str, str] = {}
    copies: dict[str, list[str]] = {}
    for title, name in zip(written, names, strict=False):
        if title in first:
            copies.setdefault(first[title], []).append(name)
        elif title:
            first[title] = name
    return copies


def _check_copies(chunk: pd.DataFrame, copies: dict[str, list[str]], path: Path) -> None:
    """Refuse columns of one name that do not say the same: which one is meant cannot be told."""

    def plain(name: str) -> pd.Series:
        numeric = pd.api.types.is_numeric_dtype(chunk[name])
        return chunk[name] if numeric else chunk[name].astype("str").str.strip()

    for name, others in copies.items():
        for other in map(plain, others):
            differ = (plain(name) != other) & ~(plain(name).isna() & other.isna())
            if differ.any():
                raise InputError(
                    describe(
                        f"two columns are called {name!r}",
                        where=str(path),
                        expected="one, or two that say the same",
                        got=f"{chunk[name][differ].iloc[0]} and {other[differ].iloc[0]}",
                        cure="rename one of them, or delete the one that is not meant",
                    )
                )


def _first_row(path: Path, head: bytes, layout: FileLayout, header: int | None) -> pd.DataFrame:
    options = _csv_options(path, head, layout)
    lines = head.decode(options["encoding"], "replace").splitlines()[: layout.skip_rows + 50]
    try:
        first: pd.DataFrame = pd.read_csv(
            io.StringIO("\n".join(lines)),
            nrows=0 if header == 0 else 1,
            header=header,
            dtype="str",
            **{key: options[key] for key in ("sep", "skiprows")},
        )
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise InputError(f"{path}: not a table; {error}") from error
    return first


def read_rows(
    path: Path,
    head: bytes,
    layout: FileLayout,
    wanted: Sequence[str],
    text: Sequence[str],
    *,
    rows_limit: int = ROWS_LIMIT,
) -> pd.DataFrame:
    """Read the wanted columns of the rows that the layout asks for.

    Parameters
    ----------
    path : Path
        CSV (plain or gzip) or Parquet.
    head : bytes
        From `start_of`.
    layout : FileLayout
        Separator, decimal sign, row filter.
    wanted, text : sequence of str
        Column names to keep, and those to keep as text.
    rows_limit : int
        More rows than this are refused, so that memory stays bounded.

    Raises
    ------
    InputError
        Missing columns (with the names that the file has), columns of one name that differ,
        broken rows, too many rows, no row.
    """
    names = column_names(path, head, layout)
    lacking = [name for name in (*wanted, *layout.where) if name not in names]
    if lacking:
        raise InputError(
            describe(
                "no column " + ", ".join(repr(name) for name in lacking),
                where=str(path),
                expected="one of " + ", ".join(names),
                cure=nearest(lacking[0], names),
            )
        )
    keep = list(dict.fromkeys((*wanted, *layout.where)))
    copies = _copies(path, head, layout, names)
    copies = {name: copies[name] for name in keep if name in copies}
    read = [*keep, *(copy for found in copies.values() for copy in found)]
    as_text = {*text, *layout.where}
    as_text |= {copy for name in as_text for copy in copies.get(name, ())}
    seen: dict[str, set[str]] = {name: set() for name in layout.where}
    kept: list[pd.DataFrame] = []
    rows = 0
    for chunk in _chunks(path, head, layout, names, read, as_text):
        _check_copies(chunk, copies, path)
        for name, allowed in layout.where.items():
            found = chunk[name].astype("str").str.strip()
            seen[name].update(found.unique()[:20])
            chunk = chunk[found.isin(allowed)]
        rows += len(chunk)
        if rows > rows_limit:
            raise InputError(
                describe(
                    f"more than {rows_limit:,} rows",
                    where=str(path),
                    expected="one station's hourly or quarter-hourly record",
                    cure="choose rows with file.where or split the file",
                )
            )
        kept.append(chunk[keep])
    if not rows:
        what = "no row left" if any(seen.values()) else "the file has no rows"
        got = {name: sorted(found)[:10] for name, found in seen.items() if found} or None
        raise InputError(
            describe(
                what,
                where=str(path),
                got=got,
                expected=str(layout.where) if got else "rows of weather",
            )
        )
    return pd.concat(kept, ignore_index=True) if len(kept) > 1 else kept[0].reset_index(drop=True)


def _chunks(
    path: Path,
    head: bytes,
    layout: FileLayout,
    names: list[str],
    keep: list[str],
    as_text: set[str],
) -> Iterator[pd.DataFrame]:
    if head[:4] == b"PAR1":
        yield from parquet_rows(path, keep, CHUNK_ROWS)
        return
    options = _csv_options(path, head, layout)
    try:
        if not options["encoding"].startswith("utf-16"):
            check_lines(path, options["sep"], len(names), layout.skip_rows + layout.header)
        with pd.read_csv(
            path,
            names=None if layout.header else names,
            usecols=[names.index(name) for name in keep],
            dtype=cast(Any, {name: "str" for name in as_text}),
            chunksize=CHUNK_ROWS,
            index_col=False,
            encoding_errors="replace",
            low_memory=False,
            compression="gzip" if is_packed(path) else None,
            **options,
        ) as reader:
            for chunk in reader:
                chunk.columns = [str(name) for name in chunk.columns]
                yield chunk
    except pd.errors.ParserError as error:
        raise InputError(f"{path}: broken row; {' '.join(str(error).split())}") from error
    except (EOFError, gzip.BadGzipFile, zlib.error) as error:
        raise InputError(f"{path}: the gzip file is damaged or cut off; fetch it again") from error
    except UnicodeError as error:
        raise InputError(f"{path}: not text in one encoding; save it as UTF-8") from error


def _csv_options(path: Path, head: bytes, layout: FileLayout) -> dict[str, Any]:
    encoding = "utf-16" if head[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        # A sample may end inside a character: leave the last bytes out of the trial.
        head[:-4].decode(encoding)
    except UnicodeDecodeError:
        encoding = "cp1252"
    sample = head.decode(encoding, "replace")
    if "\n" not in sample and "\r" not in sample and len(head) >= SAMPLE_BYTES:
        raise InputError(f"{path}: not a table; its first line never ends")
    lines = sample.splitlines()[layout.skip_rows :] or [""]
    separator: str = layout.separator or max(",;\t", key=lambda sign: lines[0].count(sign))
    decimal = layout.decimal
    if decimal is None:
        commas = separator == ";" and _DECIMAL_COMMA.search("\n".join(lines[1:200]))
        decimal = "," if commas else "."
    return {
        "sep": r"\s+" if separator == "whitespace" else separator,
        "decimal": decimal,
        "header": 0 if layout.header else None,
        "skiprows": layout.skip_rows,
        "encoding": encoding,
    }

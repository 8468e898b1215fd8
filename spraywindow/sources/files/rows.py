"""Raw rows of a CSV or Parquet file: only the columns wanted, within a bound on memory.

What kind of file it is, its bytes tell; what cannot be a table is refused.
"""

from __future__ import annotations

import gzip
import io
import re
import zlib
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, cast

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError, brief, did_you_mean
from spraywindow.sources.files.column_map import FileLayout

SAMPLE_BYTES = 65_536
_LINE_BYTES = 1_000_000
_BLOCK_BYTES = 1 << 20


def start_of(path: Path) -> bytes:
    """The first bytes of a file, unpacked; what cannot be a table is refused here."""
    try:
        with path.open("rb") as file:
            head = file.read(SAMPLE_BYTES)
        if head[:2] == b"\x1f\x8b":
            with gzip.open(path) as packed:
                head = packed.read(_LINE_BYTES)
    except (EOFError, gzip.BadGzipFile, zlib.error) as error:
        raise InputError(f"{path}: the gzip file is damaged or cut off; fetch it again") from error
    except OSError as error:
        raise InputError(f"{path}: cannot be read; {error.strerror or error}") from error
    expected, cure = "a CSV or Parquet table", ""
    if not head.strip(b"\xef\xbb\xbf \t\r\n"):
        raise InputError("the file is empty", where=str(path), expected=expected)
    got = None
    if head.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] == b"<":
        got, cure = "a web page or XML", "was the download an error page?"
    elif head.lstrip(b" \t\r\n")[:1] == b"{":
        got = "JSON"
    elif head[:4] == b"PK\x03\x04":
        got, cure = "a zip archive or a workbook", "unpack it or save it as CSV"
    elif head.startswith((b"GRIB", b"CDF", b"\x89HDF")):
        got, cure = "the fields of a grid", "read_grid and --weather read them for a site"
    elif head[:4] != b"PAR1" and b"\x00" in head and head[:2] not in (b"\xff\xfe", b"\xfe\xff"):
        got = "binary data"
    if got:
        raise InputError("not a table", where=str(path), expected=expected, got=got, cure=cure)
    return head


def check_lines(path: Path, separator: str, fields: int, skip: int) -> None:
    """Refuse a text table with a row of too many fields, or one that ends within a row.

    pandas drops the fields beyond the first row's unseen, which shifts the values of a row that
    a decimal comma splits; and the last number of a cut row may itself be cut: 12.5 read as 1.
    Rows with quotes are left to pandas.

    Parameters
    ----------
    path : Path
        Plain or gzip.
    separator : str
        As pandas takes it.
    fields : int
        How many the first row has.
    skip : int
        Lines before the first row of data.
    """
    sign = None if separator == r"\s+" else separator.encode()
    number, line = 0, b"\n"
    with gzip.open(path) if is_packed(path) else path.open("rb") as file:
        for _ in range(skip):
            number += bool(file.readline(_LINE_BYTES))
        while block := file.read(_BLOCK_BYTES):
            block += file.readline(_LINE_BYTES)
            ends = _line_ends(block)
            starts = np.append(0, ends[:-1])
            if (ends - starts).max() >= _LINE_BYTES:
                long = number + int(np.argmax(ends - starts >= _LINE_BYTES)) + 1
                raise InputError(f"{path}: not a table; line {long} never ends")
            line = block[starts[-1] :]
            for row in _rows_of_more(block, ends, sign, fields):
                odd = block[starts[row] : ends[row]]
                if b'"' in odd or not odd.split(sign, fields)[fields].strip(b" \t\r\n,;"):
                    continue
                raise InputError(
                    "a row with more fields than the first one",
                    where=f"{path}, line {number + row + 1}",
                    expected=f"{fields} fields",
                    got=odd[:80].decode("utf-8", "replace").strip(),
                    cure="does a decimal comma split the numbers?",
                )
            number += len(ends)
    whole = b'"' in line or line.endswith((b"\n", b"\r"))
    if not whole and _fields(line, sign) < fields:
        raise InputError(
            "the file is cut off in its last line",
            where=str(path),
            got=line[:80].decode("utf-8", "replace"),
            cure="fetch it again, or delete that line",
        )


def _fields(line: bytes, sign: bytes | None) -> int:
    return len(line.split()) if sign is None else line.count(sign) + 1


def _line_ends(block: bytes) -> NDArray[np.intp]:
    """Where each line of some bytes ends, its line feed included; the last may have none."""
    ends = np.flatnonzero(np.frombuffer(block, np.uint8) == ord("\n")) + 1
    return ends if block.endswith(b"\n") else np.append(ends, len(block))


def _rows_of_more(
    block: bytes, ends: NDArray[np.intp], sign: bytes | None, fields: int
) -> Iterable[int]:
    """The lines that may have more fields: those with as many signs (all of them by blanks)."""
    if sign is None:
        lines = enumerate(block.split(b"\n"))
        return [row for row, line in lines if len(line.split(None, fields)) > fields]
    signs = np.flatnonzero(np.frombuffer(block, np.uint8) == ord(sign))
    count = np.diff(np.searchsorted(signs, ends), prepend=0)
    return np.flatnonzero(count >= fields).tolist()


def is_packed(path: Path) -> bool:
    """Whether the file is gzip."""
    with path.open("rb") as file:
        return file.read(2) == b"\x1f\x8b"


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
            "two columns are called " + ", ".join(twice),
            where=str(path),
            expected="each name once",
            cure="rename one of them",
        )
    try:
        for batch in file.iter_batches(rows, columns=list(wanted)):
            # By the notes that pandas leaves in a file it would turn a column into an index.
            yield batch.to_pandas(ignore_metadata=True)
    except (arrow.ArrowException, OSError, ValueError) as error:
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
    except (arrow.ArrowException, OSError, ValueError) as error:
        raise _damaged(path, error) from error


def _damaged(path: Path, error: Exception) -> InputError:
    return InputError(f"{path}: the Parquet file is damaged; {' '.join(str(error).split())}")


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
                    f"two columns are called {brief(name)}",
                    where=str(path),
                    expected="one, or two that say the same",
                    got=f"{chunk[name][differ].iloc[0]} and {other[differ].iloc[0]}",
                    cure="rename one of them, or delete the one that is not meant",
                )


def _lines(text: str) -> list[str]:
    """Lines as pandas ends them: a form feed or U+2028 in a field ends none."""
    return re.split(r"\r\n|\r|\n", text)


def _first_row(path: Path, head: bytes, layout: FileLayout, header: int | None) -> pd.DataFrame:
    options = _csv_options(path, head, layout)
    lines = _lines(head.decode(options["encoding"], "replace"))[: layout.skip_rows + 50]
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
            "no column " + ", ".join(map(brief, lacking)),
            where=str(path),
            expected="one of " + ", ".join(names),
            cure=did_you_mean(lacking[0], names),
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
                f"more than {rows_limit:,} rows",
                where=str(path),
                expected="one station's hourly or quarter-hourly record",
                cure="choose rows with file.where or split the file",
            )
        kept.append(chunk[keep])
    if not rows:
        what = "no row left" if any(seen.values()) else "the file has no rows"
        got = {name: sorted(found)[:10] for name, found in seen.items() if found} or None
        raise InputError(
            what,
            where=str(path),
            got=got,
            expected=str(layout.where) if got else "rows of weather",
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
    lines = _lines(sample)[layout.skip_rows :] or [""]
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

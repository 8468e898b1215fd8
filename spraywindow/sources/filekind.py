"""What kind of file it is, told by its bytes; what cannot be a table is refused."""

from __future__ import annotations

import gzip
import zlib
from pathlib import Path

from spraywindow.errors import InputError, describe

SAMPLE_BYTES = 65_536
_LINE_BYTES = 1_000_000


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
        raise InputError(describe("the file is empty", where=str(path), expected=expected))
    got = None
    if head.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] == b"<":
        got, cure = "a web page or XML", "was the download an error page?"
    elif head.lstrip(b" \t\r\n")[:1] == b"{":
        got = "JSON"
    elif head[:4] == b"PK\x03\x04":
        got, cure = "a zip archive or a workbook", "unpack it or save it as CSV"
    elif head[:4] != b"PAR1" and b"\x00" in head and head[:2] not in (b"\xff\xfe", b"\xfe\xff"):
        got = "binary data"
    if got:
        raise InputError(
            describe("not a table", where=str(path), expected=expected, got=got, cure=cure)
        )
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
    line, count = b"\n", fields
    with gzip.open(path) if is_packed(path) else path.open("rb") as file:
        for number, line in enumerate(iter(lambda: file.readline(_LINE_BYTES), b""), start=1):
            if number <= skip or b'"' in line:
                continue
            count = len(line.split()) if sign is None else line.count(sign) + 1
            if count > fields and line.split(sign, fields)[fields].strip(b" \t\r\n,;"):
                raise InputError(
                    describe(
                        "a row with more fields than the first one",
                        where=f"{path}, line {number}",
                        expected=f"{fields} fields",
                        got=line[:80].decode("utf-8", "replace").strip(),
                        cure="does a decimal comma split the numbers?",
                    )
                )
            if len(line) == _LINE_BYTES:
                raise InputError(f"{path}: not a table; line {number} never ends")
    if count < fields and not line.endswith((b"\n", b"\r")):
        raise InputError(
            describe(
                "the file is cut off in its last line",
                where=str(path),
                got=line[:80].decode("utf-8", "replace"),
                cure="fetch it again, or delete that line",
            )
        )


def is_packed(path: Path) -> bool:
    """Whether the file is gzip."""
    with path.open("rb") as file:
        return file.read(2) == b"\x1f\x8b"

"""What kind of file holds fields, told by its first bytes."""

from __future__ import annotations

from pathlib import Path

GRIB = b"GRIB"
NETCDF = (b"CDF", b"\x89HDF\r\n\x1a\n")


def first_bytes(path: Path) -> bytes:
    """The first eight bytes of a file; none where it cannot be read: its reader says why."""
    try:
        with path.open("rb") as file:
            return file.read(8)
    except OSError:
        return b""


def is_field(path: Path) -> bool:
    """Whether a file is GRIB or netCDF."""
    return first_bytes(path).startswith((GRIB, *NETCDF))

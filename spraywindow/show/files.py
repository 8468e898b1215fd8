"""Files that commands write: whole or not at all, and never over a file that is not ours."""

from __future__ import annotations

import os
from pathlib import Path

from spraywindow.errors import InputError

Mark = tuple[bytes, bytes]
"""By which a kind of file of ours is known: how it begins, and what it holds."""


def check_ours(path: Path, over: Mark | None = None) -> None:
    """Refuse to write over a file, unless it is one of ours of the kind that `over` marks."""
    if path.exists() and not path.is_file():
        raise InputError("cannot write", where=str(path), expected="a plain file")
    if not path.exists():
        return
    if over is None:
        raise InputError("the file exists", where=str(path), cure="choose another name")
    try:
        content = path.read_bytes()
    except OSError as error:
        raise InputError("cannot read", where=str(path), got=error.strerror) from error
    begins, holds = over
    if not content.startswith(begins) or holds not in content:
        raise InputError(
            "another kind of file stands there", where=str(path), cure="choose another name"
        )


def write_new(
    path: Path, content: str | bytes, *, over: Mark | None = None, private: bool = False
) -> None:
    """Write a file whole or not at all, beside its place first.

    Parameters
    ----------
    path : Path
        A link is followed.
    content : str or bytes
        Text is written in UTF-8.
    over : (bytes, bytes), optional
        The mark of a file that may stand there and is written over. None: no file may.
    private : bool
        Whether only its owner may read it.

    Raises
    ------
    InputError
        If the file cannot be written, or another one stands there.
    """
    check_ours(path, over)
    place = Path(os.path.realpath(path))
    beside = place.with_name(f".{place.name[:100]}.{os.getpid()}")
    data = content.encode() if isinstance(content, str) else content
    try:
        try:
            new = os.open(beside, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600 if private else 0o666)
            with os.fdopen(new, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())  # else a power cut may leave the new name without content
            os.replace(beside, place)
        finally:
            beside.unlink(missing_ok=True)
    except OSError as error:
        raise InputError("cannot write", where=str(path), got=error.strerror) from error

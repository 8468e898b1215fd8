"""Files that commands write: whole or not at all, and never over another kind of file."""

from __future__ import annotations

from pathlib import Path


def check_free(*paths: Path | None) -> None:
    """Refuse files that cannot be written, before anything is; `InputError`."""
    import os

    from spraywindow.errors import InputError, describe

    for path in paths:
        if path is not None and not (path.parent.is_dir() and os.access(path.parent, os.W_OK)):
            raise InputError(
                describe("cannot write", where=str(path), expected="a writable folder",
                         got=str(path.parent))
            )  # fmt: skip


def check_picture(path: Path | None) -> None:
    """Refuse a picture's file that cannot be written, or is of no kind that we draw."""
    if path is not None:
        from spraywindow.output.plots import check_suffix

        check_suffix(path)
    check_free(path)


def write_new(path: Path, text: str, *, over: tuple[str, str] | None = None) -> None:
    """Write a file whole or not at all, beside its place first.

    Parameters
    ----------
    path : Path
    text : str
    over : (str, str), optional
        How a file that stands there must begin, and what it must hold, to be written over: one of
        our own of that kind. None writes over any.

    Raises
    ------
    InputError
        If the file cannot be written, or another one stands there.
    """
    import os

    from spraywindow.errors import InputError, describe

    if path.exists() and not path.is_file():
        raise InputError(describe("cannot write", where=str(path), expected="a plain file"))
    if over is not None and path.exists() and not _is_ours(path, *over):
        raise InputError(
            describe("another kind of file stands there", where=str(path),
                     cure="choose another name")
        )  # fmt: skip
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        try:
            with beside.open("x", encoding="utf-8") as file:
                file.write(text)
            os.replace(beside, path)
        finally:
            beside.unlink(missing_ok=True)
    except OSError as error:
        raise InputError(describe("cannot write", where=str(path), got=error.strerror)) from error


def _is_ours(path: Path, begins: str, holds: str) -> bool:
    content = path.read_bytes()
    return content.startswith(begins.encode()) and holds.encode() in content

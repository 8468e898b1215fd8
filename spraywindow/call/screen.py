"""Files that commands write: whole or not at all, and never over another kind of file."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


def check_free(*paths: Path | None) -> None:
    """Refuse files that cannot be written, before anything is; `InputError`."""
    import os

    from spraywindow.errors import InputError

    for path in paths:
        if path is not None and not (path.parent.is_dir() and os.access(path.parent, os.W_OK)):
            raise InputError(
                "cannot write", where=str(path), expected="a writable folder", got=str(path.parent)
            )


def check_picture(path: Path | None) -> None:
    """Refuse a picture's file that cannot be written, or is of no kind that we draw."""
    if path is not None:
        from spraywindow.show import check_suffix

        check_suffix(path)
    check_free(path)


def check_ours(path: Path, over: tuple[str, str] | None) -> None:
    """Refuse to write over another kind of file, told by how it begins and what it holds."""
    from spraywindow.errors import InputError

    if path.exists() and not path.is_file():
        raise InputError("cannot write", where=str(path), expected="a plain file")
    if over is not None and path.exists() and not _is_ours(path, *over):
        raise InputError(
            "another kind of file stands there", where=str(path), cure="choose another name"
        )


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

    from spraywindow.errors import InputError

    check_ours(path, over)
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        try:
            with beside.open("x", encoding="utf-8") as file:
                file.write(text)
            os.replace(beside, path)
        finally:
            beside.unlink(missing_ok=True)
    except OSError as error:
        raise InputError("cannot write", where=str(path), got=error.strerror) from error


def _is_ours(path: Path, begins: str, holds: str) -> bool:
    content = path.read_bytes()
    return content.startswith(begins.encode()) and holds.encode() in content


@contextmanager
def bar(what: str) -> Iterator[Callable[[int, int], None]]:
    """Show how many parts of a longer piece of work are done; call it with done and of how many."""
    if not sys.stderr.isatty():
        yield lambda done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task(what, total=None)
        yield lambda done, total: shown.update(task, completed=done, total=total)

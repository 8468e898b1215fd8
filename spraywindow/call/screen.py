"""What a command looks at before it works, and what it shows meanwhile."""

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
    """Refuse a picture's file that cannot be written, is of no kind that we draw, or not ours."""
    check_free(path)
    if path is not None:
        from spraywindow.show import check_ours, picture_mark

        check_ours(path, picture_mark(path))


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

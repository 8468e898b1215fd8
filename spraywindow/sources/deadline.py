"""A limit on the whole of a piece of work, however slowly a server lets it go on."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from typing import TypeVar

Result = TypeVar("Result")


def within(limit_s: float, work: Callable[[], Result]) -> Result:
    """Do the work in a thread of its own, which is left behind where the limit [s] passes.

    A time-out of a socket bounds only the wait for the next piece: a server that sends a byte a
    second would be listened to without an end.

    Raises
    ------
    TimeoutError
        If the work takes longer; whatever the work raises is raised here.
    """
    done: queue.SimpleQueue[tuple[Result | None, BaseException | None]] = queue.SimpleQueue()

    def run() -> None:
        try:
            done.put((work(), None))
        except BaseException as error:  # handed on to the caller below
            done.put((None, error))

    threading.Thread(target=run, daemon=True).start()
    try:
        result, error = done.get(timeout=limit_s)
    except queue.Empty:
        raise TimeoutError(f"longer than {limit_s:g} s") from None
    if error is not None:
        raise error
    return result  # type: ignore[return-value]  # there is one where there is no error

"""A limit on the whole of a piece of work."""

from __future__ import annotations

import threading
import time

import pytest

from spraywindow.sources.http.session import within


def test_what_comes_in_time_is_given_and_what_is_raised_is_raised() -> None:
    assert within(5.0, lambda: 3) == 3
    assert within(5.0, lambda: None) is None
    with pytest.raises(ZeroDivisionError):
        within(5.0, lambda: 1 / 0)


def test_what_takes_longer_is_left_behind() -> None:
    end = threading.Event()
    begun = time.monotonic()
    with pytest.raises(TimeoutError, match=r"longer than 0.1 s"):
        within(0.1, end.wait)
    assert time.monotonic() - begun < 5
    end.set()

"""Run a command of the command line inside the tests' own process."""

from __future__ import annotations

import io
import json
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from functools import cache
from typing import Any, NoReturn
from unittest import mock

import pytest

from spraywindow.main import run


@dataclass(frozen=True)
class Said:
    """What a command said: exit code, standard output, standard error."""

    code: int
    out: str
    err: str

    @property
    def text(self) -> str:
        """What a command printed that succeeded."""
        assert self.code == 0, self.err
        return self.out

    @property
    def words(self) -> str:
        """The text without its line breaks."""
        return " ".join(self.text.split())

    @property
    def answer(self) -> Any:
        """The text read as JSON, anew each time; NaN is no JSON."""
        return json.loads(self.text, parse_constant=_not_json)

    @property
    def refusal(self) -> str:
        """An error, held to its form: one line on stderr, exit 2, no traceback, no answer."""
        assert (self.code, self.out) == (2, "")
        assert self.err.startswith("spraywindow: ")
        assert self.err.count("\n") == 1
        return self.err


def command(*words: object) -> Said:
    """Run ``spraywindow WORDS`` through the one place that turns errors into a line."""
    out, err = io.StringIO(), io.StringIO()
    typed = mock.patch.object(sys, "argv", ["spraywindow", *map(str, words)])
    with typed, redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as left:
        run()
    return Said(int(left.value.code or 0), out.getvalue(), err.getvalue())


@cache
def demo(*words: object) -> Said:
    """What a command says of the demo's site: asked once, for commands that write no file."""
    return command(*words)


def _not_json(token: str) -> NoReturn:
    raise AssertionError(token)

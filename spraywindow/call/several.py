"""Several sites in one call: every one answered, or every mistake told in one line."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Generic, TypeVar

from spraywindow.call.call import Call, note, say

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

T = TypeVar("T")


@dataclass(frozen=True)
class Told(Generic[T]):
    """What one call was told: the answers (none or one), the remarks, or what went wrong."""

    answers: tuple[T, ...] = ()
    notes: tuple[str, ...] = ()
    problem: str = ""


def told(call: Call, answer: Callable[[Call], T]) -> Told[T]:
    """Answer one call; an error that a user can cause becomes its line, remarks wait."""
    from spraywindow.errors import SprayWindowError

    notes: list[str] = []
    try:
        return Told((answer(replace(call, tell=notes.append)),), tuple(notes))
    except SprayWindowError as error:
        return Told(problem=str(error))


def gathered(every: Sequence[Told[T]]) -> list[T]:
    """The answers of all, their remarks told once; `InputError` with every problem if any has one.

    A problem that several share, such as their one weather file, is told once.
    """
    from spraywindow.errors import InputError, one_line

    problems = dict.fromkeys(one.problem for one in every if one.problem)
    if problems:
        raise InputError(one_line([*problems]))
    for line in dict.fromkeys(line for one in every for line in one.notes):
        note(line)
    return [answer for one in every for answer in one.answers]


def answers_of(calls: Sequence[Call], answer: Callable[[Call], T]) -> list[T]:
    """Answer every call; of several nothing is told before all are answered."""
    if len(calls) == 1:
        return [answer(calls[0])]
    return gathered([told(call, answer) for call in calls])


def say_each(texts: Sequence[str], *, json: bool = False, between: str = "\n\n") -> None:
    """Print the text or the JSON of every site, several JSON as a list."""
    if json and len(texts) > 1:
        say("[" + ",\n".join(texts) + "]")
    else:
        say(between.join(texts))

"""Several sites in one call: every one answered, or every mistake told in one line."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar, Generic, TypeVar

from spraywindow.call.call import Call, note, progress, say
from spraywindow.call.named import name_in

if TYPE_CHECKING:
    import pandas as pd

T = TypeVar("T")
AT_A_TIME = 4
"""Sites whose service is asked at the same time; P: polite, and the services ask for no more."""


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


def say_each(
    texts: Sequence[str], *, json: bool = False, between: str = "\n\n", of_list: bool = False
) -> None:
    """Print the text or the JSON of every site, several JSON, or those `of_list`, as a list."""
    if json and (len(texts) > 1 or of_list):
        say("[" + ",\n".join(texts) + "]")
    else:
        say(between.join(texts))


@dataclass(frozen=True)
class Unanswered:
    """A site of a folder that has no answer, and why."""

    json_keys: ClassVar = ("site", "unanswered=why")

    site: str
    why: str

    def __str__(self) -> str:
        return f"{self.site}: not answered: {self.why}"


@dataclass(frozen=True)
class Each(Generic[T]):
    """What every site of a folder was told: calls with their answers, and those without one."""

    answered: tuple[tuple[Call, T], ...]
    unanswered: tuple[Unanswered, ...]

    @classmethod
    def of(
        cls, calls: Sequence[Call], every: Sequence[Told[T]], unread: Sequence[Unanswered] = ()
    ) -> Each[T]:
        """Of what each call was told; the remarks are told once."""
        for line in dict.fromkeys(line for one in every for line in one.notes):
            note(line)
        answered, without = [], list(unread)
        for call, one in zip(calls, every, strict=True):
            answered += [(call, answer) for answer in one.answers]
            if one.problem:
                without.append(Unanswered(call.file_site.name, one.problem))
        return cls(tuple(answered), tuple(without))

    def refuse_none(self) -> None:
        """Raise `InputError` with every reason where no site has an answer."""
        from spraywindow.errors import InputError, one_line

        if not self.answered:
            raise InputError(one_line([*dict.fromkeys(each.why for each in self.unanswered)]))


def apart(calls: Sequence[Call]) -> Each[None]:
    """The calls whose site file can be read and whose name is theirs alone, and the others.

    Records, pages and calendars know a site by its name.
    """
    from spraywindow.errors import SprayWindowError, describe

    unread, names = [], {}
    for number, call in enumerate(calls):
        try:
            names[number] = call.file_site.name
        except SprayWindowError as error:
            unread.append(Unanswered(name_in(call.file), str(error)))
    of_name: dict[str, list[int]] = {}
    for number, name in names.items():
        of_name.setdefault(name, []).append(number)
    for name, several in of_name.items():
        if len(several) > 1:
            files = ", ".join(str(calls[number].file) for number in several)
            why = describe(
                "several site files of one name", got=files, cure="give each its own name"
            )
            unread.append(Unanswered(name, why))
    alone = sorted(several[0] for several in of_name.values() if len(several) == 1)
    return Each(tuple((calls[number], None) for number in alone), tuple(unread))


def each_site(calls: Sequence[Call], answer: Callable[[Call], T]) -> Each[T]:
    """Answer every site of a folder; one that cannot be answered does not stop the others."""
    ready = apart(calls)
    with asked_together([call for call, _ in ready.answered]) as asked:
        return Each.of(asked, [told(call, answer) for call in asked], ready.unanswered)


@contextmanager
def asked_together(calls: Sequence[Call]) -> Iterator[list[Call]]:
    """The calls, with the forecasts of their services to come: a few at a time, in one session.

    The session knows which service has failed, so that not every site waits for it; the first
    site goes alone, lest several learn it at once.
    """
    serviced = sum(call.by_service for call in calls)
    if not serviced:
        yield list(calls)
        return
    from spraywindow.sources.http import OUT, polite_session

    with (
        progress(f"fetching the forecast of {serviced} sites"),
        polite_session(out=OUT) as session,
        ThreadPoolExecutor(AT_A_TIME) as pool,
    ):
        asked: list[Call] = []
        first: list[Future[pd.DataFrame]] = []
        for call in calls:
            if not call.by_service:
                asked.append(call)
                continue
            coming = pool.submit(call.forecast, session)
            asked.append(replace(call, asked=coming))
            if not first:
                first.append(coming)
                wait(first)
        yield asked

"""The keys of every JSON answer, read from the classes; ``python -m tests.json_page`` prints them.

`DEVELOPERS.md` holds the list, and a test holds it to the classes.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from functools import cached_property
from types import UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from spraywindow.call import Unanswered
from spraywindow.jobs.backtest.answer import SiteBacktest
from spraywindow.jobs.feed.answer import FeedAnswer
from spraywindow.jobs.hose.answer import HoseAnswer
from spraywindow.jobs.log.advice import RoundsAdvice
from spraywindow.jobs.log.answer import Entered, Listed
from spraywindow.jobs.log.judge import JudgedReceipts
from spraywindow.jobs.mix.answer import MixAnswer
from spraywindow.jobs.season.answer import SeasonAnswer
from spraywindow.jobs.seen.answer import SeenAnswer
from spraywindow.jobs.slots.answer import Evening, HourScore
from spraywindow.jobs.slots.receipt import Receipt
from spraywindow.jobs.visits.answer import Visits
from spraywindow.jobs.visits.book import Book
from spraywindow.record.export import Check
from spraywindow.show.json import Key, keys_of

ANSWERS: Mapping[str, type] = {
    "slots": Evening,
    "hours of slots --hours": HourScore,
    "season": SeasonAnswer,
    "backtest": SiteBacktest,
    "feed": FeedAnswer,
    "hose": HoseAnswer,
    "mix": MixAnswer,
    "log add, correct": Entered,
    "log list": Listed,
    "log check": Check,
    "seen": SeenAnswer,
    "log advice": RoundsAdvice,
    "log judge": JudgedReceipts,
    "visits": Visits,
    "visits --book": Book,
    "slots --receipt": Receipt,
    "of a folder, a site without an answer": Unanswered,
}


def page() -> str:
    """The list as it stands in the page."""
    items = [f"- **{name}**: `{keys_text(kind)}`" for name, kind in ANSWERS.items()]
    return "\n".join(
        textwrap.fill(item, 100, subsequent_indent="  ", break_on_hyphens=False) for item in items
    )


def keys_text(kind: type, below: tuple[Key, ...] | None = None) -> str:
    """The keys that a class gives: "site, slots [{start, end}]"; "?" marks one that may lack."""
    texts = []
    for key in below or keys_of(kind) or ():
        found = str if key.mark == "!" else _type_at(kind, key.path)
        inner, many = _inside(found)
        given = key.below or keys_of(inner)
        if key.mark == "*":
            texts.append(keys_text(inner) if given else f"({key.name})")
            continue
        text = key.name + "?" * (key.mark == "?")
        if given:
            text += f" {many.format('{' + keys_text(inner, key.below) + '}')}"
        texts.append(text)
    return ", ".join(texts)


def _type_at(kind: Any, path: tuple[str, ...]) -> Any:
    for name in filter(None, path):
        kind = _inside(kind)[0]
        found = getattr(kind, name, None)
        if isinstance(found, property):
            kind = get_type_hints(found.fget)["return"]
        elif isinstance(found, cached_property):
            kind = get_type_hints(found.func)["return"]
        else:
            kind = get_type_hints(kind)[name]
    return kind


def _inside(kind: Any) -> tuple[type, str]:
    """The class within an optional, a list or a table, and how that is written."""
    origin, inside = get_origin(kind), [each for each in get_args(kind) if each is not type(None)]
    if origin in (Union, UnionType):
        return _inside(inside[0])
    if isinstance(origin, type) and issubclass(origin, Mapping):
        within, many = _inside(inside[1])
        return within, f"{{{{...: {many}}}}}"
    if isinstance(origin, type) and issubclass(origin, Sequence):
        within, many = _inside(inside[0])
        return within, f"[{many}]"
    return (kind if isinstance(kind, type) else str), "{}"


if __name__ == "__main__":
    print(page())

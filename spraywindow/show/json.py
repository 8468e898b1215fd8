"""Every answer as JSON, written from what its class says that people get.

A class names its keys, in order, in ``json_keys``, a tuple of ``key=where:decimals``:

- ``verdict`` is the attribute of that name, ``site=site.name`` stands elsewhere; what is missing
  on the way is null. A number is rounded to 4 decimals, with ``margin:3`` to 3, and so is all
  below it; ``:all`` leaves it as it is.
- ``weather*`` has its own keys stand among these.
- ``reason!`` is said in words, by the writer's table of words.
- ``today?`` is left out where it is None; ``why~`` is null where its text is empty.
- ``loads=.(count full)`` is an object of these keys of the value itself.
- ``slots(start end)`` gives of each value these keys in place of those of its class.

A dataclass without ``json_keys`` gives all its fields. Dates and times become ISO 8601, times with
their offset; NaN and infinity, which are unknown, become null.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from spraywindow.reasons import Reason
from spraywindow.show.notices import Words

DECIMALS = 4
_KEY = re.compile(r"(\w+)(?:=([\w.]+))?(?::(\d+|all))?([!?~*]?)(?:\((.*)\))?")


@dataclass(frozen=True)
class Key:
    """One key as a class names it."""

    name: str
    path: tuple[str, ...]
    decimals: int | None
    mark: str
    below: tuple[Key, ...] | None


@cache
def _key(text: str) -> Key:
    """Read ``key=where:decimals``."""
    found = _KEY.fullmatch(text)
    if found is None:
        raise ValueError(f"not a JSON key: {text!r}")
    name, path, decimals, mark, below = found.groups()
    return Key(
        name,
        tuple((path or name).split(".")),
        None if decimals is None else 100 if decimals == "all" else int(decimals),
        mark,
        tuple(map(_key, below.split())) if below else None,
    )


def keys_of(kind: type) -> tuple[Key, ...] | None:
    """The keys that a class gives; None for a plain value, and a reason is told as a text."""
    named = getattr(kind, "json_keys", None)
    if named is None and is_dataclass(kind) and kind is not Reason:
        named = [field.name for field in fields(kind)]
    return None if named is None else tuple(map(_key, named))


def to_json(answer: Any, words: Words | None = None) -> str:
    """Write an answer."""
    return json.dumps(plain(answer, words), ensure_ascii=False, indent=2, allow_nan=False)


def plain(answer: Any, words: Words | None = None) -> Any:
    """An answer as dicts, lists, texts and numbers, as in its JSON."""
    return _plain(answer, answer, words or {}, DECIMALS, None)


def _plain(
    value: Any, answer: Any, words: Words, decimals: int, keys: tuple[Key, ...] | None
) -> Any:
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float):
        return number(value, decimals)
    if value is None or isinstance(value, str | int):
        return value
    if isinstance(value, dt.datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, Path | Reason):
        return str(value)
    if isinstance(value, Mapping):
        return {str(k): _plain(each, answer, words, decimals, keys) for k, each in value.items()}
    named = keys_of(type(value)) and (keys or keys_of(type(value)))
    if named is None:
        return [_plain(each, answer, words, decimals, keys) for each in _each(value)]
    out: dict[str, Any] = {}
    for key in named:
        if key.mark == "!":
            found = words[type(value), key.name](value, answer)
        else:
            found = _at(value, key.path)
        if key.mark == "~":
            found = found or None
        if found is not None or key.mark != "?":
            within = decimals if key.decimals is None else key.decimals
            said = _plain(found, answer, words, within, key.below)
            out |= (said or {}) if key.mark == "*" else {key.name: said}
    return out


def _at(value: Any, path: tuple[str, ...]) -> Any:
    for name in filter(None, path):
        value = None if value is None else getattr(value, name)
    return value


def _each(value: Any) -> Iterable[Any]:
    if not isinstance(value, Iterable):
        raise TypeError(f"no JSON is known for {type(value).__name__}")
    return value


def number(value: float, digits: int = DECIMALS) -> float | None:
    """Round a number for JSON; NaN and infinity become None, what is below 0 stays below."""
    if not math.isfinite(value):
        return None
    rounded = round(float(value), digits)
    return -(10.0**-digits) if value < 0 and rounded == 0 else rounded

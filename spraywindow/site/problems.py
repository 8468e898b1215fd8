"""What is wrong with a site file, in lines that name key, expectation and finding."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError

from spraywindow.errors import InputError, describe, did_you_mean, one_line

_LINE = re.compile(r"line (\d+)")
_DATE = re.compile(r"\d+[-/.]\d+[-/.]\d+|\d+[-./ ]*[A-Z][a-z]{2,8}[-./ ]*\d{2,4}\b")
"""Figures that may be meant as a date: 01/09/2017, 9.1.2017, 9 Jan 2017."""


WANTED = {
    "name": "a name in quotes",
    "place": "a table [place] with latitude, longitude, elevation, timezone",
    "latitude": "degrees, north positive, such as 38.5",
    "longitude": "degrees, east positive, such as -121.7",
    "elevation": 'a height such as "60 m" or "200 ft"',
    "timezone": 'a name such as "Europe/Athens"',
    "blocks": "one table [[blocks]] or more",
    "crop": 'such as "peach"',
    "trees": "how many, a whole number",
    "height": 'such as "3.5 m" or "12 ft"',
    "spread": 'such as "4 m" or "13 ft"',
    "material": 'such as "oil"',
    "dose": 'such as "4 cups" or "0.5 kg"',
    "nitrogen": 'its share in the fertilizer, such as "10 %"',
    "day": "a date, such as 2026-03-01",
    "tank": 'such as "200 L" or "50 gal"',
    "most": 'such as "4 kg/ha"',
    "copper": 'metallic copper, such as "1.2 kg/ha"',
}
"""What the keys that a site file must have hold."""


class Problems(InputError):
    """Several problems of one table, found at once."""

    def __init__(self, problems: Sequence[str]) -> None:
        super().__init__(one_line(problems))
        self.problems = list(problems)


def problems_of(error: Exception) -> list[str]:
    """What an error of a table says, a line for each of its problems."""
    return error.problems if isinstance(error, Problems) else [str(error)]


def toml_cure(text: str, trouble: str) -> str:
    """What helps against an error of TOML: about dates where its line holds one.

    Parameters
    ----------
    text : str
        The file's content.
    trouble : str
        The parser's message, which ends in "(at line 3, column 9)".
    """
    numbered, lines = _LINE.search(trouble), text.splitlines()
    number = int(numbered[1]) - 1 if numbered else -1
    if 0 <= number < len(lines) and _DATE.search(lines[number]):
        return "dates are written 2017-01-09, without quotes, and must be in the calendar"
    return "text stands in quotes, a table's name in [brackets]"


def site_problems(
    error: ValidationError, where: str, tables: Mapping[tuple[str, ...], type[BaseModel]]
) -> list[str]:
    """Turn pydantic's findings into lines.

    Parameters
    ----------
    error : ValidationError
    where : str
        The file.
    tables : mapping
        The model of each table, by its path of keys; "*" stands for any name.
    """
    lines: list[str] = []
    for each in error.errors(include_url=False):
        lines += _lines(dict(each), where, tables)
    return lines


def _lines(
    error: Mapping[str, Any], where: str, tables: Mapping[tuple[str, ...], type[BaseModel]]
) -> list[str]:
    path = error["loc"]
    key = ".".join(
        f"[{part + 1}]" if isinstance(part, int) else str(part) for part in path
    ).replace(".[", "[")
    at = f"{where}, {key}" if key else where
    kind, got = error["type"], error["input"]
    if kind == "extra_forbidden":
        keys = _keys_beside(path, tables)
        cure = did_you_mean(path[-1], keys)
        return [describe("unknown key", where=at, expected="one of " + ", ".join(keys), cure=cure)]
    if kind == "missing":
        return [describe("missing key", where=at, expected=WANTED.get(str(path[-1]), ""))]
    if kind == "value_error":
        cause = error["ctx"]["error"]
        # the problems of a table's entries begin with the key inside it
        joint = "." if key and isinstance(cause, Problems) else ": "
        return [f"{at}{joint}{text}" for text in problems_of(cause)]
    message = str(error["msg"])
    expected = message.removeprefix("Input should be ").removeprefix("a valid ")
    if kind in ("tuple_type", "list_type"):
        expected = "a list" if not isinstance(got, Mapping) else f"a list of tables: [[{key}]]"
    elif kind in ("dict_type", "model_type", "model_attributes_type"):
        expected = "a table"
    found = "a table" if isinstance(got, Mapping) else got
    return [describe("cannot be used", where=at, expected=expected, got=found)]


def _keys_beside(
    path: Sequence[Any], tables: Mapping[tuple[str, ...], type[BaseModel]]
) -> list[str]:
    """The keys that the table of a key knows."""
    names = [part for part in path[:-1] if isinstance(part, str)]
    for known, model in tables.items():
        if len(known) == len(names) and all(
            a in ("*", b) for a, b in zip(known, names, strict=True)
        ):
            return [field.alias or name for name, field in model.model_fields.items()]
    return []

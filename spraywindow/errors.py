"""What can go wrong through the world's fault: one base class, one-line messages.

A programmer's mistake stays a plain ``ValueError`` or ``TypeError``; only the command line
turns a `SprayWindowError` into one line on stderr and exit code 2.
"""

from __future__ import annotations

import re
import reprlib
from collections.abc import Iterable, Mapping, Sequence

LONGEST = {"where": 300, "what": 4000, "expected": 600, "cure": 400}
"""Characters that a part of a message may have: what it tells of may come from anywhere."""
MOST_PROBLEMS = 12
LONGEST_TEXT = 500
DEEPEST = 12
_CONTROLS = re.compile("[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
"""What moves the cursor, ends a line, turns the direction of writing, or is half a character."""


class SprayWindowError(Exception):
    """Base of every error that a user can cause or meet; `describe` words it."""

    def __init__(
        self,
        what: str,
        *,
        where: str = "",
        expected: str = "",
        got: object = None,
        cure: str = "",
    ) -> None:
        super().__init__(describe(what, where=where, expected=expected, got=got, cure=cure))


class InputError(SprayWindowError, ValueError):
    """A file, a key or an argument says something that cannot be used."""


class WeatherError(InputError):
    """A weather table breaks the contract of `spraywindow.weather.table`."""


class SourceError(SprayWindowError):
    """A weather service or an archive gave no usable answer."""


class RecordError(SprayWindowError):
    """The application record cannot be read or written safely."""


def describe(
    what: str, *, where: str = "", expected: str = "", got: object = None, cure: str = ""
) -> str:
    """Put a message together in one order: what, where, expected, got, cure.

    Examples
    --------
    >>> describe("unknown unit", where="map.toml, temp_c.unit", expected="degC or degF", got="X")
    "map.toml, temp_c.unit: unknown unit; expected degC or degF; got 'X'"
    """
    parts = [plain_line(what, LONGEST["what"])]
    if where:
        parts[0] = f"{plain_line(where, LONGEST['where'])}: {parts[0]}"
    if expected:
        parts.append(f"expected {plain_line(expected, LONGEST['expected'])}")
    if got is not None:
        parts.append(f"got {brief(got)}")
    if cure:
        parts.append(plain_line(cure, LONGEST["cure"]))
    return "; ".join(parts)


class _Brief(reprlib.Repr):
    """As Python writes values, bounded in length and in depth."""

    def __init__(self) -> None:
        super().__init__()
        self.maxlevel, self.maxlong = 3, 40
        self.maxstring = self.maxother = 160

    def repr_int(self, x: int, level: int) -> str:
        """Python refuses to write whole numbers of more than some thousand digits."""
        return super().repr_int(x, level) if abs(x) < 10**300 else "an endless number"


def brief(value: object) -> str:
    """A value as a message shows it, however long or deeply nested it is."""
    return plain_line(_Brief().repr(value), 300)


def plain_line(text: str, most: int) -> str:
    """One line of printable text; the middle of what is longer than `most` characters goes."""
    if len(text) > most:
        text = f"{text[: most - most // 3]} ... {text[-most // 3 :]}"
    spaced = " ".join(text.split())
    if spaced.isprintable():
        return spaced
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in spaced)


def check_texts(values: object, *, where: str, depth: int = 0) -> None:
    """Refuse a file whose names could not stand in a line, a page or a calendar; `InputError`.

    `values` are tables and lists as TOML and JSON give them, with all texts in them and their keys.
    """
    if isinstance(values, str):
        if _CONTROLS.search(values):
            raise InputError("a control character or line break in a text", where=where, got=values)
        if len(values) > LONGEST_TEXT:
            expected = f"at most {LONGEST_TEXT} characters"
            raise InputError("too long a text", where=where, expected=expected, got=values)
    elif isinstance(values, Mapping | list):
        if depth == DEEPEST:
            raise InputError("nested too deep", where=where, got=values)
        for each in values:
            check_texts(each, where=where, depth=depth + 1)
            if isinstance(values, Mapping):
                at = f"{where}{'.' if depth else ', '}{each}"
                check_texts(values[each], where=at, depth=depth + 1)


def one_line(problems: Sequence[str]) -> str:
    """Join several problems into one line, so that all are reported at once."""
    if len(problems) == 1:
        return problems[0]
    told = [f"({number}) {text}" for number, text in enumerate(problems[:MOST_PROBLEMS], start=1)]
    more = len(problems) - MOST_PROBLEMS
    return " | ".join([*told, *([f"and {more} more"] if more > 0 else [])])


def did_you_mean(name: object, known: Iterable[str], likeness: float = 0.6) -> str:
    """A hint that names the known word nearest to a mistyped one, or nothing.

    `likeness` is how alike the two must be at least, 0 to 1.
    """
    import difflib  # only a mistake needs it

    words = {word.lower(): word for word in known}
    close = difflib.get_close_matches(str(name).lower(), words, 1, likeness)
    return f"did you mean {words[close[0]]}?" if close else ""

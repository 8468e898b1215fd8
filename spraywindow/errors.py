"""What can go wrong through the world's fault: one base class, one-line messages.

A programmer's mistake stays a plain ``ValueError`` or ``TypeError``; only the command line
turns a `SprayWindowError` into one line on stderr and exit code 2.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence


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
    parts = [f"{where}: {what}" if where else what]
    if expected:
        parts.append(f"expected {expected}")
    if got is not None:
        parts.append(f"got {got!r}")
    if cure:
        parts.append(cure)
    return "; ".join(parts)


def one_line(problems: Sequence[str]) -> str:
    """Join several problems into one line, so that all are reported at once."""
    if len(problems) == 1:
        return problems[0]
    return " | ".join(f"({number}) {text}" for number, text in enumerate(problems, start=1))


def did_you_mean(name: object, known: Iterable[str], likeness: float = 0.6) -> str:
    """A hint that names the known word nearest to a mistyped one, or nothing.

    `likeness` is how alike the two must be at least, 0 to 1.
    """
    import difflib  # only a mistake needs it

    words = {word.lower(): word for word in known}
    close = difflib.get_close_matches(str(name).lower(), words, 1, likeness)
    return f"did you mean {words[close[0]]}?" if close else ""

"""Small checks of numbers that people type: all problems of one value object at once."""

from __future__ import annotations

import math
from collections.abc import Iterable

from spraywindow.errors import InputError, describe, one_line


def number_problem(
    name: str,
    value: float,
    unit: str,
    *,
    low: float = 0.0,
    high: float = math.inf,
    low_allowed: bool = False,
) -> str | None:
    """What is wrong with a number, or None; NaN and infinity are always wrong."""  # fmt: skip
    usable = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    if usable and (value >= low if low_allowed else value > low) and value <= high:
        return None
    least = f"{'at least' if low_allowed else 'more than'} {low:g}"
    most = "" if high == math.inf else f" and at most {high:g}"
    return describe("out of range", where=name, expected=f"{least}{most} {unit}".strip(), got=value)


def refuse(problems: Iterable[str | None], *, where: str = "") -> None:
    """Raise one `InputError` with all the problems that are not None."""
    found = [problem for problem in problems if problem]
    if found:
        raise InputError(f"{where}: {one_line(found)}" if where else one_line(found))

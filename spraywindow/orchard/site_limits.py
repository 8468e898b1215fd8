"""Limits in the site file: a label's values over a material's, and new limits."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Annotated, Any

from spraywindow.errors import InputError, describe
from spraywindow.orchard.site_fields import Flag, Table, measured
from spraywindow.orchard.site_problems import Problems, nearest
from spraywindow.spray.catalogue import CATALOGUE
from spraywindow.spray.material import Bound, Kind, Limit
from spraywindow.spray.quantities import QUANTITIES
from spraywindow.units import UNITS, quantity

LABEL = "the label, as entered in the site file"
_CATALOGUED = [limit for material in CATALOGUE.values() for limit in material.limits]
UNIT_OF = {name: quantity.unit for name, quantity in QUANTITIES.items()}
"""The unit in which each quantity is judged."""
WINDOWED = frozenset(limit.quantity for limit in _CATALOGUED if limit.hours is not None)
"""Quantities that look over a window of hours."""
LONGEST_WINDOW_H = 336.0


class LimitFields(Table):
    """A limit's own values; those left out stay as they are."""

    quantity: str | None = None
    bound: Bound | None = None
    value: str | float | int | None = None
    comfort: str | float | int | None = None
    unit: str | None = None
    kind: Kind | None = None
    words: str | None = None
    reason: str | None = None
    source: str = LABEL
    hours: Annotated[float, measured("h", 0, LONGEST_WINDOW_H, above=True)] | None = None
    off: Flag = False


def build_limit(
    where: str, name: str, fields: LimitFields, known: dict[str, Limit]
) -> Limit | None:
    """Give a limit with the file's values over the material's own; None where it is off.

    Raises
    ------
    Problems
        Everything that is missing, unknown or of another dimension.
    """
    old = known.get(name)
    looks_at = fields.quantity or (old.quantity if old else None)
    problems = _problems(where, name, fields, known, looks_at)
    if problems:
        raise Problems(problems)
    if fields.off:
        return None
    given: dict[str, Any] = {
        key: value
        for key in ("quantity", "bound", "kind", "words", "reason", "source", "hours")
        if (value := getattr(fields, key)) is not None
    }
    unit = UNIT_OF[str(looks_at)]
    for key, field, difference in (("value", "value", False), ("comfort", "width", True)):
        text = getattr(fields, key)
        if text is None:
            continue
        try:
            given[field] = _number(text, unit, fields.unit, f"{where}.{key}", difference)
        except InputError as error:
            problems.append(str(error))
    if "width" in given and given["width"] <= 0:
        expected = "more than 0"
        problems.append(
            describe(
                "out of range", where=f"{where}.comfort", expected=expected, got=fields.comfort
            )
        )
    if problems:
        raise Problems(problems)
    if old is not None:
        return replace(old, unit=unit, **given)
    return Limit(**{"kind": "hard", "words": name, "reason": "", **given}, name=name, unit=unit)


def _problems(
    where: str, name: str, fields: LimitFields, known: dict[str, Limit], looks_at: str | None
) -> list[str]:
    """What is missing from a limit, or cannot be meant."""
    old = known.get(name)
    needed: tuple[str, ...] = () if old else ("quantity", "bound", "value", "comfort")
    if old and looks_at in UNIT_OF and UNIT_OF[looks_at] != old.unit:
        needed = ("value", "comfort")  # the old ones measure something else
    missing = [key for key in needed if getattr(fields, key) is None]
    if missing and old is None:
        return [
            describe(f"no limit of this name, and a new one needs {', '.join(missing)} too",
                     where=where, expected="one of " + ", ".join(known), got=name,
                     cure=nearest(name, known))
        ]  # fmt: skip
    if looks_at not in UNIT_OF:
        return [
            describe("unknown quantity", where=f"{where}.quantity", got=looks_at,
                     expected="one of " + ", ".join(UNIT_OF), cure=nearest(looks_at, UNIT_OF))
        ]  # fmt: skip
    problems = []
    if missing:
        what = "another quantity needs its own values"
        problems.append(describe(what, where=where, expected="also " + ", ".join(missing)))
    if fields.hours is not None and looks_at not in WINDOWED:
        what = f"{looks_at} looks at the hour itself and has no window"
        problems.append(describe(what, where=f"{where}.hours", cure="leave hours out"))
    if looks_at in WINDOWED and fields.hours is None and (old is None or old.hours is None):
        expected = 'the length of the window, such as "24 h"'
        problems.append(describe("missing key", where=f"{where}.hours", expected=expected))
    return problems


def _number(
    text: str | float, unit: str, own_unit: str | None, where: str, difference: bool
) -> float:
    """Read "40 degF" in the limit's unit; plain numbers with `unit` beside them."""
    plain = isinstance(text, int | float) and not isinstance(text, bool)
    if unit not in UNITS:  # flags and points have no unit to write
        if plain and math.isfinite(float(text)):
            return float(text)
        raise InputError(describe("not a number", where=where, expected="a plain number", got=text))
    written = f"{text} {own_unit}" if plain and own_unit else text
    target = "delta_degC" if unit == "K" else f"delta_{unit}" if difference else unit
    return quantity(written, target, where=where)

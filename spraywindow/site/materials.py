"""Materials and limits in the site file: the label's values over the catalogue's, and new ones."""

from __future__ import annotations

import math
from dataclasses import replace
from types import MappingProxyType
from typing import Annotated, Any

from pydantic import AfterValidator, Field

from spraywindow.errors import InputError, describe, did_you_mean
from spraywindow.site.fields import Count, Flag, Name, Share, StageCode, Table, measured
from spraywindow.site.problems import Problems, problems_of
from spraywindow.site.tables import DAY_H, Days
from spraywindow.spray import (
    CATALOGUE,
    QUANTITIES,
    Bound,
    Kind,
    Limit,
    Material,
    Rainfast,
    general_material,
    season_order,
)
from spraywindow.trees import FIRST_FLOWER, stage_words
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
                     cure=did_you_mean(name, known))
        ]  # fmt: skip
    if looks_at not in UNIT_OF:
        return [
            describe("unknown quantity", where=f"{where}.quantity", got=looks_at,
                     expected="one of " + ", ".join(UNIT_OF), cure=did_you_mean(looks_at, UNIT_OF))
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
        raise InputError("not a number", where=where, expected="a plain number", got=text)
    written = f"{text} {own_unit}" if plain and own_unit else text
    target = "delta_degC" if unit == "K" else f"delta_{unit}" if difference else unit
    return quantity(written, target, where=where)


_PLAIN = (
    "title", "last_stage", "green_stage", "rounds", "usual_rate", "highest_rate", "cautions",
)  # fmt: skip

DryHours = Annotated[float, measured("h", 0, 10 * DAY_H, above=True)]


class MaterialFields(Table):
    """A material's own values; those left out come from the catalogue, or from `based_on`."""

    based_on: str | None = None
    title: Name | None = None
    last_stage: StageCode | None = None
    green_stage: StageCode | None = None
    apart: Days | None = None
    rounds: Count | None = None
    usual_rate: Share | None = None
    highest_rate: Share | None = None
    dry_spell: DryHours | None = None
    rainfast: DryHours | None = None
    days_apart: dict[str, Days] | None = None
    cautions: tuple[str, ...] | None = None
    source: str = LABEL
    limits: dict[str, LimitFields] = Field(default_factory=dict)

    def build(self, name: str) -> Material:
        """Give the material: the base, with these values over it.

        Raises
        ------
        InputError
            If `based_on` is unknown, or limits are new and incomplete or measure something else;
            all problems at once, as `Problems`.
        """
        if self.based_on is not None and self.based_on not in CATALOGUE:
            raise InputError(
                "unknown material",
                where=f"{name}.based_on",
                got=self.based_on,
                expected="one of " + ", ".join(CATALOGUE),
            )
        if name not in CATALOGUE and self.based_on is None and self.title is None:
            _refuse_misspelt(name)
        base = CATALOGUE.get(self.based_on or name) or general_material(name)
        changes: dict[str, Any] = {
            key: value for key in _PLAIN if (value := getattr(self, key)) is not None
        }
        if self.apart is not None:
            changes["least_days"] = whole_days(self.apart)
        if self.days_apart is not None:
            apart = {other: whole_days(hours) for other, hours in self.days_apart.items()}
            changes["days_apart"] = MappingProxyType({**base.days_apart, **apart})
        if self.rainfast is not None:
            changes["rainfast"] = Rainfast(self.rainfast, self.source, of_label=True)
        material = replace(base, name=name, based_on=self.based_on, source=self.source, **changes)
        self._keep_off_flowers(name, base, material)
        if name not in CATALOGUE and self.title is None:
            material = replace(material, title=name)
        if self.dry_spell is not None:
            material = material.with_dry_spell(self.dry_spell)
        return material.with_limits(**self._limits(name, material))

    def _keep_off_flowers(self, name: str, base: Material, material: Material) -> None:
        """No label opens a dormant spray on open flowers."""
        dormant = base.name in CATALOGUE and season_order(base.last_stage) < FIRST_FLOWER
        if dormant and season_order(material.last_stage) >= FIRST_FLOWER:
            raise InputError(
                f"{base.name} never goes on open flowers",
                where=f"{name}.last_stage",
                expected=f"a stage before {stage_words(FIRST_FLOWER)}",
                got=stage_words(material.last_stage),
            )

    def _limits(self, name: str, material: Material) -> dict[str, Limit | None]:
        known = {limit.name: limit for limit in material.limits}
        limits: dict[str, Limit | None] = {}
        problems = []
        for limit_name, fields in self.limits.items():
            where = f"{name}.limits.{limit_name}"
            try:
                limits[limit_name] = build_limit(where, limit_name, fields, known)
            except InputError as error:
                problems += problems_of(error)
        if problems:
            raise Problems(problems)
        return limits


def whole_days(hours: float) -> int:
    """Days that hold so many hours."""
    return int(-(-hours // DAY_H))


def days_apart(one: Material, other: Material | str) -> int:
    """Days that two sprays are to be kept apart, whichever label says so; 0 where none does.

    A name counts in every form that holds it: "sulfur" in "Lime Sulphur" too. A material that is
    based on another answers to both names.
    """
    if isinstance(other, str):
        return _label_days(one, other)
    names = [(one, other.name), (one, other.based_on), (other, one.name), (other, one.based_on)]
    return max(_label_days(label, name) for label, name in names if name is not None)


def _label_days(label: Material, name: str) -> int:
    days = [days for key, days in label.days_apart.items() if _words(key) <= _words(name)]
    return max(days, default=0)


def _words(name: str) -> set[str]:
    return set(name.lower().replace("sulph", "sulf").replace("-", " ").split())


def _refuse_misspelt(name: str) -> None:
    """A new material whose name is a slip of a known one would leave the label's values unused."""
    hint = did_you_mean(name, [known for known in CATALOGUE if abs(len(known) - len(name)) <= 1])
    if hint:
        raise InputError(
            "a new material named almost as a known one",
            where=name,
            got=name,
            cure=f"{hint} or give it a title",
        )


def build_materials(fields: dict[str, MaterialFields]) -> dict[str, Material]:
    """Build every material of a site file; all problems at once, as `Problems`."""
    built, problems = {}, []
    for name, each in fields.items():
        try:
            built[name] = each.build(name)
        except InputError as error:
            problems += problems_of(error)
    if problems:
        raise Problems(problems)
    return built


def _buildable(fields: dict[str, MaterialFields]) -> dict[str, MaterialFields]:
    build_materials(fields)
    return fields


Materials = Annotated[dict[str, MaterialFields], AfterValidator(_buildable)]

"""Materials in the site file: the label's own values over the catalogue's, and new materials."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import Annotated, Any

from pydantic import AfterValidator, Field

from spraywindow.errors import InputError, describe
from spraywindow.orchard.site_fields import Count, Name, Share, StageCode, Table, measured
from spraywindow.orchard.site_limits import LABEL, LimitFields, build_limit
from spraywindow.orchard.site_problems import Problems, nearest, problems_of
from spraywindow.orchard.site_tables import DAY_H, Days
from spraywindow.season.stages import FIRST_FLOWER, stage_words
from spraywindow.spray.catalogue import CATALOGUE, general_material
from spraywindow.spray.material import Limit, Material, Rainfast, season_order

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
                describe("unknown material", where=f"{name}.based_on", got=self.based_on,
                         expected="one of " + ", ".join(CATALOGUE))
            )  # fmt: skip
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
                describe(f"{base.name} never goes on open flowers", where=f"{name}.last_stage",
                         expected=f"a stage before {stage_words(FIRST_FLOWER)}",
                         got=stage_words(material.last_stage))
            )  # fmt: skip

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
    hint = nearest(name, [known for known in CATALOGUE if abs(len(known) - len(name)) <= 1])
    if hint:
        raise InputError(
            describe("a new material named almost as a known one", where=name, got=name,
                     cure=f"{hint} or give it a title")
        )  # fmt: skip


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

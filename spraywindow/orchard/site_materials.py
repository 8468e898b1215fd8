"""Materials in the site file: the label's own values over the catalogue's, and new materials."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from spraywindow.errors import InputError, describe
from spraywindow.orchard.site_fields import Hours, Share, StageCode
from spraywindow.spray.catalogue import CATALOGUE, general_material
from spraywindow.spray.material import Bound, Kind, Limit, Material
from spraywindow.spray.quantities import QUANTITIES
from spraywindow.units import UNITS, quantity

LABEL = "the label, as entered in the site file"


_PLAIN = (
    "title", "last_stage", "green_stage", "rounds", "usual_rate", "highest_rate", "cautions",
)  # fmt: skip


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class LimitFields(_Table):
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
    hours: Hours | None = None
    off: bool = False


class MaterialFields(_Table):
    """A material's own values; those left out come from the catalogue, or from `based_on`."""

    based_on: str | None = None
    title: str | None = None
    last_stage: StageCode | None = None
    green_stage: StageCode | None = None
    apart: Hours | None = Field(None, gt=0)
    rounds: int | None = Field(None, ge=1)
    usual_rate: Share | None = Field(None, gt=0, le=1)
    highest_rate: Share | None = Field(None, gt=0, le=1)
    dry_spell: Hours | None = Field(None, gt=0, le=240)
    days_apart: dict[str, Hours] | None = None
    cautions: tuple[str, ...] | None = None
    source: str = LABEL
    limits: dict[str, LimitFields] = Field(default_factory=dict)

    def build(self, name: str) -> Material:
        """Give the material: the base, with these values over it.

        Raises
        ------
        InputError
            If `based_on` is unknown, or a limit is new and incomplete.
        """
        if self.based_on is not None and self.based_on not in CATALOGUE:
            raise InputError(
                describe(
                    "unknown material",
                    where=f"materials.{name}.based_on",
                    expected="one of " + ", ".join(CATALOGUE),
                    got=self.based_on,
                )
            )
        base = CATALOGUE.get(self.based_on or name) or general_material(name)
        changes: dict[str, Any] = {
            key: value for key in _PLAIN if (value := getattr(self, key)) is not None
        }
        if self.apart is not None:
            changes["least_days"] = -(-self.apart // 24)
        if self.days_apart is not None:
            changes["days_apart"] = MappingProxyType(
                {other: int(-(-hours // 24)) for other, hours in self.days_apart.items()}
            )
        if "least_days" in changes:
            changes["least_days"] = int(changes["least_days"])
        material = replace(base, name=name, source=self.source, **changes)
        if name not in CATALOGUE and self.title is None:
            material = replace(material, title=name)
        if self.dry_spell is not None:
            material = material.with_dry_spell(self.dry_spell)
        known = {limit.name: limit for limit in material.limits}
        return material.with_limits(
            **{
                limit_name: None
                if fields.off
                else _limit(f"materials.{name}.limits.{limit_name}", limit_name, fields, known)
                for limit_name, fields in self.limits.items()
            }
        )


def _limit(where: str, name: str, fields: LimitFields, known: dict[str, Limit]) -> Limit:
    given = {
        key: value
        for key in ["quantity", "bound", "unit", "kind", "words", "reason", "source", "hours"]
        if (value := getattr(fields, key)) is not None
    }
    old = known.get(name)
    if old is None:
        missing = [
            key
            for key in ("quantity", "bound", "value", "comfort", "unit")
            if getattr(fields, key) is None
        ]
        if missing:
            raise InputError(
                describe(
                    "a new limit is incomplete",
                    where=where,
                    expected="also " + ", ".join(missing),
                    cure="or one of the known limits: " + ", ".join(known),
                )
            )
        given = {"kind": "hard", "words": name, "reason": "", **given}
    if given.get("quantity", "temp") not in QUANTITIES:
        raise InputError(
            describe("unknown quantity", where=f"{where}.quantity",
                     expected="one of " + ", ".join(QUANTITIES), got=given["quantity"])
        )  # fmt: skip
    unit = given.get("unit", old.unit if old else "")
    if fields.value is not None:
        given["value"] = _number(fields.value, unit, f"{where}.value", difference=False)
    if fields.comfort is not None:
        given["width"] = _number(fields.comfort, unit, f"{where}.comfort", difference=True)
    return replace(old, **given) if old else Limit(name=name, **given)


def _number(text: str | float, unit: str, where: str, *, difference: bool) -> float:
    """Read "40 degF" in the limit's unit; plain numbers only for units outside the table."""
    plain = isinstance(text, int | float) and not isinstance(text, bool)
    if plain and (unit not in UNITS or UNITS[unit].dimension == "share"):
        return float(text)
    if unit == "K":
        return quantity(text, "delta_degC", where=where)
    if unit in UNITS:
        return quantity(text, f"delta_{unit}" if difference else unit, where=where)
    raise InputError(describe("not a number", where=where, expected=f"a number [{unit}]", got=text))

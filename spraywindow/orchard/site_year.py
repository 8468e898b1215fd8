"""The site file's tables of the year's work on tree and ground: feeding, mulch, washing."""

from __future__ import annotations

from datetime import date
from typing import Annotated, TypeVar

from pydantic import AfterValidator, Field, model_validator

from spraywindow.errors import InputError, describe
from spraywindow.orchard.feeding_dose import Given
from spraywindow.orchard.fertilizer import Fertilizer
from spraywindow.orchard.site_fields import Day, DayOfYear, Name, Table, measured
from spraywindow.orchard.soil_water import SOILS
from spraywindow.orchard.year_fields import DoseField

Fields = TypeVar("Fields")
Depth = Annotated[float, measured("m", 0, 1, above=True)]

TABLE_KEYS = {
    "feeding": 'dose = "4 cups" (per tree and year) and nitrogen = "10 %"',
    "sprayer": 'tank = "200 L" and flow = "5 L/min" (or caught = "2.5 L", caught_in = "30 s")',
}
"""The keys to add where a command needs a table that is not there."""


def _known_soil(name: str) -> str:
    if name in SOILS:
        return name
    raise InputError(describe("unknown soil", expected="one of " + ", ".join(SOILS), got=name))


class GivenFields(Table):
    """A dose that each tree had; of one block, or of all."""

    day: Day
    dose: DoseField
    block: str | None = None


class FeedingFields(Table):
    """What each tree gets in a year, and when the trees wake."""

    dose: DoseField
    nitrogen: Annotated[float, measured("fraction", 0, 1)]
    fertilizer: Name = "fertilizer"
    density: Annotated[float, measured("kg/L", 0, 3, above=True)] | None = None
    parts: Annotated[int, Field(strict=True, ge=1, le=12)] | None = None
    given: tuple[GivenFields, ...] = ()
    soil: Annotated[str, AfterValidator(_known_soil)] = "loam"
    snow_seen: Day | None = None
    flowering: Day | None = None
    usual_flowering: DayOfYear | None = None
    until: DayOfYear | None = None

    @property
    def product(self) -> Fertilizer:
        """The fertilizer."""
        if self.density is None:
            return Fertilizer(self.fertilizer, self.nitrogen)
        return Fertilizer(self.fertilizer, self.nitrogen, self.density)

    def given_to(self, block: str) -> tuple[Given, ...]:
        """What each tree of a block had."""
        return tuple(Given(g.day, g.dose) for g in self.given if g.block in (None, block))

    def last_day(self, wake: date) -> date | None:
        """The user's own last day after a waking; None where the file has none."""
        if self.until is None:
            return None
        month, day = self.until
        last = date(wake.year, month, min(day, 28) if month == 2 else day)
        return last if last > wake else last.replace(year=wake.year + 1)


class GroundFields(Table):
    """Compost and mulch round the trees."""

    compost: Depth | None = None
    mulch: Depth | None = None
    trunk_gap: Annotated[float, measured("m", 0, 5)] = 0.2
    bag: Annotated[float, measured("L", 0, 5000, above=True)] | None = None

    @model_validator(mode="after")
    def _some(self) -> GroundFields:
        if self.compost is None and self.mulch is None:
            raise InputError('no layer: give compost = "3 cm", mulch = "8 cm" or both')
        return self


class HosingFields(Table):
    """Washing the leaves: what is known of the last time, and how often."""

    last_wash: Day | None = None
    last_rain: Day | None = None
    every: Annotated[float, measured("h", 24, 100 * 24)] = 14 * 24.0
    months: tuple[Annotated[int, Field(strict=True, ge=1, le=12)], ...] | None = None
    small_fruit_until: DayOfYear | None = None


def needed(table: Fields | None, name: str, site: str) -> Fields:
    """Give a table of the site file, or say which one to add, with its keys.

    Raises
    ------
    InputError
        If it is not there.
    """
    if table is None:
        raise InputError(
            describe(
                f"the site file has no table [{name}]",
                where=site,
                cure=f"add [{name}] with {TABLE_KEYS[name]}",
            )
        )
    return table


def known_blocks(names: set[str], blocks: set[str], where: str) -> None:
    """Refuse names of blocks that the site does not have."""
    strange = sorted(names - blocks)
    if strange:
        raise InputError(
            describe(
                "no such block", where=where, expected="one of " + ", ".join(sorted(blocks)),
                got=", ".join(strange),
            )
        )  # fmt: skip

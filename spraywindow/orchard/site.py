"""The site file: one orchard or garden, read from TOML and trusted afterwards."""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Iterable, Mapping
from functools import cached_property
from pathlib import Path
from typing import Any

from pydantic import BaseModel, Field, ValidationError, model_validator

from spraywindow.errors import InputError, describe, one_line
from spraywindow.orchard.site_fields import Day, Name, Table
from spraywindow.orchard.site_limits import LimitFields
from spraywindow.orchard.site_materials import MaterialFields, Materials, build_materials
from spraywindow.orchard.site_mixing import (
    CopperFields,
    CopperLimitFields,
    CopperUseFields,
    MixFields,
    SprayerFields,
)
from spraywindow.orchard.site_problems import site_problems, toml_cure
from spraywindow.orchard.site_program import build_program, material_of, refuse_beyond_maxima
from spraywindow.orchard.site_tables import (
    DEFAULT_ROUNDS,
    AccessFields,
    Block,
    Blocks,
    CrewFields,
    PlaceFields,
    ProgramFields,
    RoundFields,
    SeasonFields,
    Service,
    Units,
)
from spraywindow.orchard.site_year import (
    FeedingFields,
    GivenFields,
    GroundFields,
    HosingFields,
)
from spraywindow.place import Place
from spraywindow.season.program import Program
from spraywindow.spray.catalogue import CATALOGUE
from spraywindow.spray.conditions import Setting
from spraywindow.spray.material import Material
from spraywindow.spray.slots import Access


class Site(Table):
    """A site file's content; see the README for an example.

    The tables of the file are its fields; the properties give what the rest of the program
    works with.
    """

    name: Name
    units: Units = "metric"
    service: Service | None = None
    record: Name | None = None
    where: PlaceFields = Field(alias="place")
    access_hours: AccessFields = Field(default_factory=AccessFields, alias="access")
    crew: CrewFields = Field(default_factory=CrewFields)
    blocks: Blocks
    season: SeasonFields = Field(default_factory=SeasonFields)
    program_fields: ProgramFields = Field(default_factory=ProgramFields, alias="program")
    material_fields: Materials = Field(default_factory=dict, alias="materials")
    other_sprays: dict[str, tuple[Day, ...]] = Field(default_factory=dict)
    feeding: FeedingFields | None = None
    ground: GroundFields | None = None
    hosing: HosingFields = Field(default_factory=HosingFields)
    sprayer: SprayerFields | None = None
    mix: dict[str, MixFields] = Field(default_factory=dict)
    copper: CopperFields = Field(default_factory=CopperFields)

    @model_validator(mode="after")
    def _whole(self) -> Site:
        hours, job_h = self.access_hours, self.crew.job
        if hours.opens is not None and hours.until is not None:
            open_h = hours.until - hours.opens
            if job_h > open_h:
                raise InputError(
                    describe("the job is longer than the working hours", where="crew.job",
                             expected=f"at most {open_h:g} h", got=f"{job_h:g} h")
                )  # fmt: skip
        # building it once reports what contradicts itself at the border
        refuse_beyond_maxima(self.program, self.where.latitude)
        return self

    @cached_property
    def place(self) -> Place:
        """Where it lies."""
        at = self.where
        return Place(at.latitude, at.longitude, at.elevation, at.timezone)

    @cached_property
    def setting(self) -> Setting:
        """What of it bears on an hour."""
        return Setting(
            tree_height_m=max(0.5, *(block.height for block in self.blocks)),
            neighbours_deg=self.where.neighbours,
            frost_hollow_c=self.where.frost_hollow,
            dew_off_h=self.where.dew_off,
        )

    @cached_property
    def access(self) -> Access:
        """When it may be worked."""
        fields = self.access_hours
        return Access(fields.opens, fields.until, frozenset(fields.days), frozenset(fields.closed))

    @cached_property
    def materials(self) -> Mapping[str, Material]:
        """The catalogue's materials and the file's own, by name."""
        return {**CATALOGUE, **build_materials(self.material_fields)}

    def material(self, name: str) -> Material:
        """Give a material by name; `InputError` listing the known ones otherwise."""
        return material_of(self.materials, name)

    def is_copper(self, name: str) -> bool:
        """Whether a material is metallic copper; not where the site file does not know it."""
        return name in self.materials and self.materials[name].copper

    @cached_property
    def program(self) -> Program:
        """The winter's program; three rounds of oil and five of copper where the file has none."""
        return build_program(self.program_fields, self.materials)


TABLES: dict[tuple[str, ...], type[BaseModel]] = {
    (): Site,
    ("place",): PlaceFields,
    ("access",): AccessFields,
    ("crew",): CrewFields,
    ("blocks",): Block,
    ("season",): SeasonFields,
    ("program",): ProgramFields,
    ("program", "rounds"): RoundFields,
    ("feeding",): FeedingFields,
    ("feeding", "given"): GivenFields,
    ("ground",): GroundFields,
    ("hosing",): HosingFields,
    ("sprayer",): SprayerFields,
    ("mix", "*"): MixFields,
    ("copper",): CopperFields,
    ("copper", "limits"): CopperLimitFields,
    ("copper", "used"): CopperUseFields,
    ("materials", "*"): MaterialFields,
    ("materials", "*", "limits", "*"): LimitFields,
}


def read_site(path: str | Path) -> Site:
    """Read a site file.

    Parameters
    ----------
    path : str or Path
        TOML, UTF-8.

    Raises
    ------
    InputError
        If the file cannot be read, is no TOML, or a key is unknown, missing or unusable; the
        message names each key, what was expected and what was found.
    """
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8")
        tables = tomllib.loads(text)
    except OSError as error:
        raise InputError(
            describe("cannot read the site file", where=str(path), got=error.strerror,
                     cure="`spraywindow init FILE` writes a new one")
        ) from error  # fmt: skip
    except UnicodeDecodeError as error:
        raise InputError(
            describe("not a text file", where=str(path), expected="TOML in UTF-8")
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            describe("not TOML", where=str(path), got=str(error), cure=toml_cure(text, str(error)))
        ) from error  # fmt: skip
    if "blocks" not in tables and any(
        isinstance(table, Mapping) and "column" in table for table in tables.values()
    ):
        raise InputError(
            describe("this looks like a column map, not a site file", where=str(path),
                     cure="give it as --columns")
        )  # fmt: skip
    return site_of(tables, where=str(path))


def site_of(tables: Mapping[str, Any], *, where: str = "site") -> Site:
    """Make a site of tables as TOML gives them; errors as for `read_site`."""
    try:
        return Site.model_validate(tables)
    except ValidationError as error:
        raise InputError(one_line(site_problems(error, where, TABLES))) from error


def with_done(
    site: Site,
    done: Mapping[str, Iterable[dt.date]],
    partly_done: Mapping[str, Iterable[tuple[dt.date, float]]] | None = None,
) -> Site:
    """Give the site with rounds from a record beside those of the file; a day that is in both once.

    Parameters
    ----------
    done, partly_done : mapping
        Material to local days, or to (local day, share of the round).
    """
    fields = site.program_fields
    partly_done = partly_done or {}
    rounds = tuple(
        each.model_copy(
            update={
                "done": tuple(sorted({*each.done, *done.get(each.material, ())})),
                "partly_done": tuple(
                    sorted({*each.partly_done, *partly_done.get(each.material, ())})
                ),
            }
        )
        for each in fields.rounds or DEFAULT_ROUNDS
    )
    others = {
        name: tuple(sorted({*site.other_sprays.get(name, ()), *days}))
        for name, days in done.items()
        if name not in {each.material for each in rounds}
    }
    copy = site.model_copy(
        update={
            "program_fields": fields.model_copy(update={"rounds": rounds}),
            "other_sprays": {**site.other_sprays, **others},
        }
    )
    copy.__dict__.pop("program", None)  # the cached program is the old one's
    return copy

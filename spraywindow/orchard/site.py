"""The site file: one orchard or garden, read from TOML and trusted afterwards."""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Iterable, Mapping
from functools import cached_property
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from spraywindow.errors import InputError, SprayWindowError, describe, one_line
from spraywindow.orchard.site_fields import (
    Bearing,
    Clock,
    Day,
    DayOfYear,
    Hours,
    Kelvins,
    Metres,
    Share,
    StageCode,
    Weekday,
)
from spraywindow.orchard.site_materials import MaterialFields
from spraywindow.place import Place
from spraywindow.season.entry import Entry
from spraywindow.season.program import Program
from spraywindow.spray.catalogue import CATALOGUE
from spraywindow.spray.conditions import Setting
from spraywindow.spray.material import Material
from spraywindow.spray.slots import DURATION_H, Access

USUAL_BETWEEN_D = 2
"""Days between rounds of different materials; P."""
SERVICES = ("nws", "metnorway", "openmeteo")


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class PlaceFields(_Table):
    """Where the site lies, and what bears on its weather."""

    latitude: float
    longitude: float
    elevation: Metres
    timezone: str
    frost_hollow: Kelvins = Field(0.0, ge=0, le=10)
    dew_off: Hours = Field(0.0, ge=-4, le=6)
    neighbours: tuple[Bearing, ...] = ()


class AccessFields(_Table):
    """When the site may be worked."""

    opens: Clock | None = Field(None, alias="from")
    until: Clock | None = None
    days: tuple[Weekday, ...] = tuple(range(7))
    closed: tuple[Day, ...] = ()


class CrewFields(_Table):
    """Who does the work, and how long the job takes."""

    people: int = Field(1, ge=1)
    job: Hours = Field(DURATION_H, gt=0, le=24)


class Block(_Table):
    """Trees that are looked after and judged together."""

    name: str = Field(min_length=1)
    crop: str = Field(min_length=1)
    trees: int = Field(ge=1)
    height: Metres = Field(gt=0, le=20)
    spread: Metres = Field(gt=0, le=20)
    row_spacing: Metres | None = Field(None, gt=0)
    trunk_diameter: Metres | None = Field(None, gt=0, le=2)
    planted: int | None = Field(None, ge=1900, le=2200)
    stage: StageCode | None = None
    observed: Day | None = None
    bud_swell_from: DayOfYear | None = None
    chill: str | None = None

    @model_validator(mode="after")
    def _dated(self) -> Block:
        if (self.stage is None) != (self.observed is None):
            raise ValueError("stage and observed go together: the stage seen, and the day it was")
        return self


class SeasonFields(_Table):
    """The dormant season's dates, as far as they are known."""

    leaf_fall: Day | None = None
    usual_leaf_fall: DayOfYear | None = None
    first_flower: Day | None = None


class RoundFields(_Table):
    """One material of the program."""

    material: str = Field(min_length=1)
    rounds: int | None = Field(None, ge=1)
    apart: Hours | None = Field(None, gt=0)
    priority: float = Field(1.0, gt=0)
    target: tuple[str, ...] | None = None
    season_maximum: int | None = Field(None, ge=1)
    copper_per_round_kg_ha: float = Field(0.0, ge=0)
    done: tuple[Day, ...] = ()
    partly_done: tuple[tuple[Day, Share], ...] = ()


DEFAULT_ROUNDS = (RoundFields(material="oil"), RoundFields(material="copper"))


class ProgramFields(_Table):
    """The winter's program."""

    between: Hours = Field(24.0 * USUAL_BETWEEN_D, ge=0)
    tank_mixes: tuple[tuple[str, ...], ...] = ()
    copper_maximum_kg_ha: float | None = Field(None, gt=0)
    rounds: tuple[RoundFields, ...] = ()


class Site(_Table):
    """A site file's content; see the README for an example.

    The tables of the file are its fields; the properties give what the rest of the program
    works with.
    """

    name: str = Field(min_length=1)
    units: Literal["metric", "us"] = "metric"
    service: Literal["nws", "metnorway", "openmeteo"] | None = None
    where: PlaceFields = Field(alias="place")
    access_hours: AccessFields = Field(default_factory=AccessFields, alias="access")
    crew: CrewFields = Field(default_factory=CrewFields)
    blocks: tuple[Block, ...] = Field(min_length=1)
    season: SeasonFields = Field(default_factory=SeasonFields)
    program_fields: ProgramFields = Field(default_factory=ProgramFields, alias="program")
    material_fields: dict[str, MaterialFields] = Field(default_factory=dict, alias="materials")
    other_sprays: dict[str, tuple[Day, ...]] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _whole(self) -> Site:
        names = [block.name for block in self.blocks]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"two blocks are called {twice[0]!r}")
        # building once here reports everything wrong with them at the border
        _ = self.place, self.materials, self.program
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
        return {
            **CATALOGUE,
            **{name: fields.build(name) for name, fields in self.material_fields.items()},
        }

    def material(self, name: str) -> Material:
        """Give a material by name; `InputError` listing the known ones otherwise."""
        if name not in self.materials:
            raise InputError(
                describe(
                    "unknown material",
                    expected="one of " + ", ".join(self.materials),
                    got=name,
                    cure=f'add a table [materials."{name}"] to the site file',
                )
            )
        return self.materials[name]

    @cached_property
    def program(self) -> Program:
        """The winter's program; three rounds of oil and five of copper where the file has none."""
        fields = self.program_fields
        rounds = fields.rounds or DEFAULT_ROUNDS
        entries = []
        for each in rounds:
            material = self.material(each.material)
            entries.append(
                Entry(
                    material=each.material,
                    rounds=each.rounds or material.rounds,
                    least_days=int(-(-each.apart // 24)) if each.apart else material.least_days,
                    priority=each.priority,
                    target=each.target,
                    last_stage=material.last_stage,
                    season_maximum=each.season_maximum,
                    metallic_copper_per_round_kg_ha=each.copper_per_round_kg_ha,
                    done=each.done,
                    partly_done=each.partly_done,
                )
            )
        return Program(
            entries=tuple(entries),
            between=int(-(-fields.between // 24)),
            tank_mixes=fields.tank_mixes,
            metallic_copper_maximum_kg_ha=fields.copper_maximum_kg_ha,
        )


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
        tables = tomllib.loads(path.read_bytes().decode("utf-8"))
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
            describe("not TOML", where=str(path), expected="TOML", got=str(error))
        ) from error
    return site_of(tables, where=str(path))


def site_of(tables: Mapping[str, Any], *, where: str = "site") -> Site:
    """Make a site of tables as TOML gives them; errors as for `read_site`."""
    try:
        return Site.model_validate(tables)
    except ValidationError as error:
        raise InputError(
            one_line([_problem(dict(each), where) for each in error.errors(include_url=False)])
        ) from error
    except SprayWindowError as error:
        raise InputError(f"{where}: {error}") from error


def _problem(error: Mapping[str, Any], where: str) -> str:
    """Turn one of pydantic's findings into our own line: key, expectation, finding."""
    key = ".".join(
        f"[{part + 1}]" if isinstance(part, int) else str(part) for part in error["loc"]
    ).replace(".[", "[")
    kind = error["type"]
    at = f"{where}, {key}" if key else where
    if kind == "extra_forbidden":
        return describe("unknown key", where=at, cure="see the README for the keys of a site file")
    if kind == "missing":
        return describe("missing key", where=at)
    message = str(error["msg"]).removeprefix("Value error, ").replace("Input should be ", "")
    if kind == "value_error":
        got = error["input"]
        text = message if not key or isinstance(got, dict) else f"{message} (got {got!r})"
        return f"{at}: {text}" if "got" not in message else f"{at}: {message}"
    return describe("cannot be used", where=at, expected=message, got=error["input"])


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

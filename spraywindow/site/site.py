"""The site file: one orchard or garden, read from TOML and trusted afterwards."""

from __future__ import annotations

import datetime as dt
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pandas as pd
from pydantic import BaseModel, Field, ValidationError

from spraywindow.errors import InputError, check_texts, did_you_mean, one_line
from spraywindow.place import Place
from spraywindow.program import Done, PartlyDone, Program
from spraywindow.site.doubt import Doubt
from spraywindow.site.fields import Day, Flag, Name, Table
from spraywindow.site.materials import LimitFields, MaterialFields, Materials, build_materials
from spraywindow.site.problems import problems_of, site_problems, toml_cure
from spraywindow.site.program import build_program, material_of, refuse_beyond_maxima
from spraywindow.site.spraying import round_time
from spraywindow.site.tables import (
    DAY_H,
    AccessFields,
    Block,
    Blocks,
    CopperFields,
    CopperLimitFields,
    CopperUseFields,
    CrewFields,
    FeedingFields,
    GivenFields,
    GroundFields,
    HosingFields,
    MixFields,
    PlaceFields,
    ProgramFields,
    RoundFields,
    SeasonFields,
    Service,
    SprayerFields,
    Units,
)
from spraywindow.spray import CATALOGUE, GENERAL, QUANTITIES, Access, Learned, Material, Setting
from spraywindow.trees import Flowering
from spraywindow.weather import forecasts_of, with_each


@dataclass(frozen=True)
class Site:
    """One orchard or garden, as the commands know it: a value, changed by `dataclasses.replace`.

    Parameters
    ----------
    name : str
    units : "metric" or "us"
        What people read.
    service : str or None
        The forecast service that the file chooses; two stand side by side ("nws,metnorway").
    record : str or None
        File of the application record, beside the site file.
    required : tuple of str
        Limits without which nothing goes: where the weather does not tell, an hour is unknown.
    place, setting, access
        Where it lies, what of it bears on an hour, when it may be worked.
    people : int
    job_h : float
        The crew, and how long its job takes [h].
    round_h : int or None
        Hours of good weather that a whole round takes the sprayer [h]; None without one.
    blocks : tuple of Block
    dates : SeasonFields
        The dormant season's dates, as far as they are known.
    program : Program
        The winter's program, with what is done of it.
    materials : mapping
        The catalogue's materials and the file's own, by name.
    other_sprays : mapping
        Sprays outside the program, by name: local days.
    feeding, ground, hosing, sprayer, mix, copper
        The tables for the rest of the year and for mixing; None where the file has none.
    flowers : mapping of str to Flowering
        First flower by block, as a record of past winters has it; empty without one.
    applicator, certification : str
        Who sprays, and the number of the certificate, as the record wants them; "" where not given.
    files : mapping of str to str
        Files beside the site file: "weather" (a forecast), "winters" (a record of past winters),
        and the column maps "columns" and "winters_columns" that say how to read them.
    learn : bool
        Whether the site's own answers and notes teach anything.
    learned : Learned
        What the site's own answers teach of its chances; by default nothing.
    in_doubt : tuple of Doubt
        Rounds of its record that rain may have washed off, not marked yet.
    seen : tuple of str
        What was seen at the site and stands in place of what its file says, in words.
    """

    name: str
    units: Units
    service: str | None
    record: str | None
    required: tuple[str, ...]
    place: Place
    setting: Setting
    access: Access
    people: int
    job_h: float
    blocks: tuple[Block, ...]
    dates: SeasonFields
    program: Program
    materials: Mapping[str, Material]
    other_sprays: Mapping[str, tuple[dt.date, ...]]
    feeding: FeedingFields | None
    ground: GroundFields | None
    hosing: HosingFields
    sprayer: SprayerFields | None
    mix: Mapping[str, MixFields]
    copper: CopperFields
    round_h: int | None = None
    flowers: Mapping[str, Flowering] = field(default_factory=dict)
    applicator: str = ""
    certification: str = ""
    files: Mapping[str, str] = field(default_factory=dict)
    learn: bool = True
    learned: Learned = GENERAL
    in_doubt: tuple[Doubt, ...] = ()
    seen: tuple[str, ...] = ()

    @property
    def notes(self) -> tuple[str, ...]:
        """What an answer for the site must say of it."""
        if self.round_h is None or self.round_h <= self.job_h:
            return (*self.setting.notes, *self.seen)
        opens, shuts = self.access.start_h or 0.0, self.access.end_h or DAY_H
        cure = f'job = "{self.round_h} h", or "auto", in [crew] looks for them'
        if self.round_h > shuts - opens:
            cure = "that is more than a working day"
        short = (
            f"slots are sought for {self.job_h:g} h, but a whole round takes this sprayer "
            f"{self.round_h} h of good hours: {cure}"
        )
        return (*self.setting.notes, *self.seen, short)

    def material(self, name: str) -> Material:
        """Give a material by name; `InputError` listing the known ones otherwise."""
        return material_of(self.materials, name)

    def with_required(self, table: pd.DataFrame, material: Material) -> pd.DataFrame:
        """Give a weather table the columns, unknown, that a required limit looks at and it lacks.

        So these limits are judged, as unknown, where else they would not be.
        """
        needs = [
            column
            for limit in material.limits
            if limit.name in self.required and limit.quantity in QUANTITIES
            for column in QUANTITIES[limit.quantity].needs
        ]
        told = {name for each in (table, *forecasts_of(table)) for name in each}
        lacking = {name: math.nan for name in needs if name not in told}
        return with_each(table, lambda each: each.assign(**lacking))

    def is_copper(self, name: str) -> bool:
        """Whether a material is metallic copper; not where the site file does not know it."""
        return name in self.materials and self.materials[name].copper


FILES = ("weather", "columns", "winters", "winters_columns")
"""Keys that name files: a forecast and past winters, and how to read each."""


class SiteFields(Table):
    """The tables of a site file, as people write them; `site` gives what they mean."""

    name: Name
    units: Units = "metric"
    service: Service | None = None
    record: Name | None = None
    weather: Name | None = None
    columns: Name | None = None
    winters: Name | None = None
    winters_columns: Name | None = None
    learn: Flag = True
    required: tuple[Name, ...] = ()
    place: PlaceFields
    access: AccessFields = Field(default_factory=AccessFields)
    crew: CrewFields = Field(default_factory=CrewFields)
    blocks: Blocks
    season: SeasonFields = Field(default_factory=SeasonFields)
    program: ProgramFields = Field(default_factory=ProgramFields)
    materials: Materials = Field(default_factory=dict)
    other_sprays: dict[str, tuple[Day, ...]] = Field(default_factory=dict)
    feeding: FeedingFields | None = None
    ground: GroundFields | None = None
    hosing: HosingFields = Field(default_factory=HosingFields)
    sprayer: SprayerFields | None = None
    mix: dict[str, MixFields] = Field(default_factory=dict)
    copper: CopperFields = Field(default_factory=CopperFields)

    def site(self) -> Site:
        """Build the site; `InputError` where tables contradict each other."""
        at, hours = self.place, self.access
        needs = None if self.sprayer is None else round_time(self.blocks, self.sprayer)
        if self.crew.job != "auto":
            job_h = self.crew.job
        elif needs is None:
            raise InputError('job = "auto" without a sprayer', where="crew.job",
                             expected="also [sprayer], by which the job is timed")  # fmt: skip
        else:
            job_h = float(needs.slot_whole_h)
        for of, map_key in (("weather", "columns"), ("winters", "winters_columns")):
            if getattr(self, map_key) is not None and getattr(self, of) is None:
                raise InputError(
                    f"a column map without its file; expected also {of}", where=map_key
                )
        access = Access(hours.opens, hours.until, frozenset(hours.days), frozenset(hours.closed))
        cure = "write the hours of a day's part of it" if self.crew.job == "auto" else ""
        refuse_long_job(job_h, access, cure=cure)
        materials = {**CATALOGUE, **build_materials(self.materials)}
        known = {limit.name: None for each in materials.values() for limit in each.limits}
        for number, name in enumerate(self.required, start=1):
            if name not in known:
                raise InputError(
                    "no limit of this name",
                    where=f"required[{number}]",
                    expected="one of " + ", ".join(known),
                    got=name,
                    cure=did_you_mean(name, known),
                )
        program = replace(build_program(self.program, materials), visit_worth=self.crew.visit_worth)
        refuse_beyond_maxima(program, at.latitude)
        return Site(
            name=self.name,
            units=self.units,
            service=self.service,
            record=self.record,
            required=self.required,
            place=Place(at.latitude, at.longitude, at.elevation, at.timezone),
            setting=Setting(
                tree_height_m=max(0.5, *(block.height for block in self.blocks)),
                neighbours_deg=at.neighbours,
                frost_hollow_c=at.frost_hollow,
                dew_off_h=at.dew_off,
                shelter=at.shelter,
            ),
            access=access,
            people=self.crew.people,
            applicator=self.crew.applicator or "",
            certification=self.crew.certification or "",
            job_h=job_h,
            round_h=None if needs is None else needs.slot_whole_h,
            blocks=self.blocks,
            dates=self.season,
            program=program,
            materials=materials,
            other_sprays=self.other_sprays,
            feeding=self.feeding,
            ground=self.ground,
            hosing=self.hosing,
            sprayer=self.sprayer,
            mix=self.mix,
            copper=self.copper,
            learn=self.learn,
            files={key: name for key in FILES if (name := getattr(self, key)) is not None},
        )


def refuse_long_job(
    job_h: float, access: Access, *, where: str = "crew.job", cure: str = ""
) -> None:
    """Raise `InputError` where a job is longer than the working hours."""
    if access.start_h is None or access.end_h is None:
        return
    open_h = access.end_h - access.start_h
    if job_h > open_h:
        raise InputError(
            "the job is longer than the working hours",
            where=where,
            expected=f"at most {open_h:g} h",
            got=f"{job_h:g} h",
            cure=cure,
        )


TABLES: dict[tuple[str, ...], type[BaseModel]] = {
    (): SiteFields,
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
    tables = _read_toml(path)
    if _is_column_map(tables):
        raise InputError(
            "this looks like a column map, not a site file",
            where=str(path),
            cure="give it as --columns",
        )
    return site_of(tables, where=str(path))


def may_be_site(path: Path) -> bool:
    """Whether a TOML file has a site file's keys, or cannot be read, which `read_site` then tells.

    Neither a column map nor another program's file is one.
    """
    try:
        tables = _read_toml(path)
    except InputError:
        return True
    return not _is_column_map(tables) and not SiteFields.model_fields.keys().isdisjoint(tables)


def _read_toml(path: Path) -> dict[str, Any]:
    try:
        text = path.read_bytes().decode("utf-8")
        return tomllib.loads(text)
    except OSError as error:
        raise InputError(
            "cannot read the site file",
            where=str(path),
            got=error.strerror,
            cure="`spraywindow init FILE` writes a new one",
        ) from error
    except UnicodeDecodeError as error:
        raise InputError("not a text file", where=str(path), expected="TOML in UTF-8") from error
    except (ValueError, RecursionError) as error:
        raise InputError(
            "not TOML", where=str(path), got=str(error), cure=toml_cure(text, str(error))
        ) from error


def _is_column_map(tables: Mapping[str, Any]) -> bool:
    return "blocks" not in tables and any(
        isinstance(table, Mapping) and "column" in table for table in tables.values()
    )


def site_of(tables: Mapping[str, Any], *, where: str = "site") -> Site:
    """Make a site of tables as TOML gives them; errors as for `read_site`."""
    check_texts(tables, where=where)
    try:
        return SiteFields.model_validate(tables).site()
    except ValidationError as error:
        raise InputError(one_line(site_problems(error, where, TABLES))) from error
    except InputError as error:
        lines = [f"{where}: {text}" for text in problems_of(error)]
        raise InputError(one_line(lines)) from error


def with_done(
    site: Site,
    done: Done,
    partly_done: PartlyDone | None = None,
    failed: PartlyDone | None = None,
) -> Site:
    """Give the site with rounds from a record beside those of the file; a day that is in both once.

    Parameters
    ----------
    done, partly_done, failed : mapping
        Material to local days, or to (local day, share of the round). Days of a material
        outside the program are sprays beside it; only rounds of the program can fail.
    """
    ours = {name: days for name, days in done.items() if name in site.program.materials}
    others = {
        name: tuple(sorted({*site.other_sprays.get(name, ()), *days}))
        for name, days in done.items()
        if name not in ours
    }
    return replace(
        site,
        program=site.program.with_done(ours, partly_done, failed),
        other_sprays={**site.other_sprays, **others},
    )

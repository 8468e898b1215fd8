"""The tables of a site file, each with its fields; see the README for an example."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from spraywindow.errors import InputError, describe
from spraywindow.orchard.site_fields import (
    Bearing,
    Chill,
    Clock,
    Count,
    Crop,
    Day,
    DayOfYear,
    Latitude,
    Longitude,
    Name,
    Share,
    StageCode,
    Table,
    Target,
    Weekday,
    measured,
)
from spraywindow.orchard.wording import clock_words
from spraywindow.spray.slots import DURATION_H

Size = Annotated[float, measured("m", 0, 20, above=True)]
DAY_H = 24.0
DATE_LINE_DEG = 170.0
"""Islands farther east or west may keep the date of the other side; P."""
MOST_APART_H = 5.0
"""No clock is farther from the sun than some 3 h (the west of China); P."""
USUAL_BETWEEN_D = 2
"""Days between rounds of different materials; P."""
Days = Annotated[float, measured("h", 0, 366 * DAY_H, above=True)]


def _zone(name: object) -> str:
    try:
        return ZoneInfo(name).key if isinstance(name, str) else ""
    except (KeyError, ValueError, OSError):
        return ""


def longitude_of(timezone: str) -> float:
    """Meridian of a zone's standard time [degrees, east positive]; 15 degrees an hour."""
    # summer time is the clock that is further ahead, wherever the summer is
    clocks = [dt.datetime(2024, month, 1, tzinfo=ZoneInfo(timezone)) for month in (1, 7)]
    ahead = min(clock.utcoffset() or dt.timedelta() for clock in clocks)
    return 180 - (180 - ahead / dt.timedelta(hours=1) * 15) % 360  # UTC+13 lies in the west


def hours_apart(longitude: float, timezone: str) -> float:
    """How far a zone's standard time is from the sun's [h].

    The short way round the earth counts at the date line only: elsewhere it would let a wrong
    sign pass (Sydney's is 4 h off by that way).
    """
    apart = abs(longitude - longitude_of(timezone))
    return (min(apart, 360 - apart) if abs(longitude) >= DATE_LINE_DEG else apart) / 15


def _timezone(name: object) -> str:
    """Hold the name to the zones that the system knows."""
    if key := _zone(name):
        return key
    expected = 'an IANA name such as "Europe/Athens"'
    raise InputError(describe("unknown time zone", expected=expected, got=name))


class PlaceFields(Table):
    """Where the site lies, and what bears on its weather."""

    latitude: Latitude
    longitude: Longitude
    elevation: Annotated[float, measured("m", -450, 6000)]
    timezone: Annotated[str, BeforeValidator(_timezone)]
    frost_hollow: Annotated[float, measured("delta_degC", 0, 10)] = 0.0
    dew_off: Annotated[float, measured("h", -4, 6)] = 0.0
    neighbours: tuple[Bearing, ...] = ()

    @model_validator(mode="after")
    def _on_its_clock(self) -> PlaceFields:
        away = f"{longitude_of(self.timezone):g} degrees for {self.timezone}"
        if hours_apart(self.longitude, self.timezone) > MOST_APART_H:
            raise InputError(
                describe("longitude and time zone do not fit", expected=f"near {away}",
                         got=self.longitude, cure="is the sign right?")
            )  # fmt: skip
        return self


class AccessFields(Table):
    """When the site may be worked."""

    opens: Clock | None = Field(None, alias="from")
    until: Clock | None = None
    days: tuple[Weekday, ...] = tuple(range(7))
    closed: tuple[Day, ...] = ()

    @model_validator(mode="after")
    def _in_order(self) -> AccessFields:
        if not self.days:
            raise InputError(describe("no working day", expected='days such as ["Mon", "Tue"]'))
        if self.opens is not None and self.until is not None and self.until <= self.opens:
            raise InputError(
                describe("until is not after from", expected="both on one day",
                         got=f"{clock_words(self.opens)} to {clock_words(self.until)}")
            )  # fmt: skip
        return self


class CrewFields(Table):
    """Who does the work, and how long the job takes."""

    people: Count = 1
    job: Annotated[float, measured("h", 0, DAY_H, above=True)] = DURATION_H


class Block(Table):
    """Trees that are looked after and judged together."""

    name: Name
    crop: Crop
    trees: Count
    height: Size
    spread: Size
    row_spacing: Annotated[float, measured("m", 0, above=True)] | None = None
    row_length: Annotated[float, measured("m", 0, above=True)] | None = None
    area: Annotated[float, measured("m2", 0, above=True)] | None = None
    trunk_diameter: Annotated[float, measured("m", 0, 2, above=True)] | None = None
    planted: Annotated[int, Field(strict=True, ge=1900, le=2200)] | None = None
    stage: StageCode | None = None
    observed: Day | None = None
    bud_swell_from: DayOfYear | None = None
    chill: Chill | None = None

    @model_validator(mode="after")
    def _dated(self) -> Block:
        if (self.stage is None) != (self.observed is None):
            lacking = "stage" if self.stage is None else "observed"
            raise InputError(
                describe("a stage and the day it was seen go together", expected=f"also {lacking}")
            )
        return self


def _some_blocks(tables: object) -> object:
    if isinstance(tables, list | tuple) and not tables:
        raise InputError(describe("no block of trees", expected="at least one [[blocks]]"))
    return tables


def _named_apart(blocks: tuple[Block, ...]) -> tuple[Block, ...]:
    names = [block.name for block in blocks]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(describe("a block's name stands twice", got=", ".join(twice)))
    return blocks


Blocks = Annotated[tuple[Block, ...], BeforeValidator(_some_blocks), AfterValidator(_named_apart)]


class SeasonFields(Table):
    """The dormant season's dates, as far as they are known."""

    leaf_fall: Day | None = None
    usual_leaf_fall: DayOfYear | None = None
    usual_first_flower: DayOfYear | None = None


class RoundFields(Table):
    """One material of the program."""

    material: Name
    rounds: Annotated[int, Field(strict=True, ge=1, le=99)] | None = None
    apart: Days | None = None
    priority: Annotated[float, Field(strict=True, gt=0, le=100)] = 1.0
    target: tuple[Target, ...] | None = None
    season_maximum: Count | None = None
    copper_per_round_kg_ha: Annotated[float, Field(strict=True, ge=0)] = 0.0
    done: tuple[Day, ...] = ()
    partly_done: tuple[tuple[Day, Share], ...] = ()


DEFAULT_ROUNDS = (RoundFields(material="oil"), RoundFields(material="copper"))


class ProgramFields(Table):
    """The winter's program."""

    between: Annotated[float, measured("h", 0, 366 * DAY_H)] = DAY_H * USUAL_BETWEEN_D
    tank_mixes: tuple[tuple[str, ...], ...] = ()
    copper_maximum_kg_ha: Annotated[float, Field(strict=True, gt=0)] | None = None
    rounds: tuple[RoundFields, ...] = ()


Units = Literal["metric", "us"]
Service = Literal["nws", "metnorway", "openmeteo"]

"""The tables of a site file, each with its fields; see the README for an example.

The place, its blocks and program; feeding, mulch and washing; the sprayer, the products, and what
limits copper.
"""

from __future__ import annotations

import datetime as dt
from datetime import date
from typing import Annotated, Any, Literal, TypeVar
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from spraywindow.days import clock_words, next_date
from spraywindow.errors import InputError
from spraywindow.handbook import (
    DENSE_L_PER_M3,
    MEDIUM_L_PER_M3,
    SOILS,
    WELL_PRUNED_L_PER_M3,
    Crew,
    Fertilizer,
    Given,
    UseLimit,
    flow_from_catch_l_per_min,
    speed_from_run_ms,
)
from spraywindow.site.fields import (
    Bearing,
    Chill,
    Clock,
    Count,
    Crop,
    Day,
    DayOfYear,
    DoseField,
    Latitude,
    Longitude,
    Name,
    OneOrMore,
    RateField,
    Share,
    StageCode,
    Table,
    Target,
    Weekday,
    measured,
)
from spraywindow.sources import named_services
from spraywindow.spray import DURATION_H
from spraywindow.units import quantity, unit

Size = Annotated[float, measured("m", 0, 20, above=True)]
DAY_H = 24.0
DATE_LINE_DEG = 170.0
"""Islands farther east or west may keep the date of the other side; P."""
MOST_APART_H = 5.0
"""No clock is farther from the sun than some 3 h (the west of China); P."""
LEAST_SHELTER = 0.4
"""Shelter is uneven and gusts reach into it: less of the open wind is not taken for granted; P."""
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
    raise InputError("unknown time zone", expected=expected, got=name)


class PlaceFields(Table):
    """Where the site lies, and what bears on its weather."""

    latitude: Latitude
    longitude: Longitude
    elevation: Annotated[float, measured("m", -450, 6000)]
    timezone: Annotated[str, BeforeValidator(_timezone)]
    frost_hollow: Annotated[float, measured("delta_degC", 0, 10)] = 0.0
    dew_off: Annotated[float, measured("h", -4, 6)] = 0.0
    shelter: Annotated[float, measured("fraction", LEAST_SHELTER, 1)] = 1.0
    neighbours: tuple[Bearing, ...] = ()

    @model_validator(mode="after")
    def _on_its_clock(self) -> PlaceFields:
        away = f"{longitude_of(self.timezone):g} degrees for {self.timezone}"
        if hours_apart(self.longitude, self.timezone) > MOST_APART_H:
            raise InputError(
                "longitude and time zone do not fit",
                expected=f"near {away}",
                got=self.longitude,
                cure="is the sign right?",
            )
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
            raise InputError("no working day", expected='days such as ["Mon", "Tue"]')
        if self.opens is not None and self.until is not None and self.until <= self.opens:
            raise InputError(
                "until is not after from",
                expected="both on one day",
                got=f"{clock_words(self.opens)} to {clock_words(self.until)}",
            )
        return self


VISIT_WORTH = 0.3
"""What a visit costs (crew, product), in rounds that hold: as much as a round is worth that it
rains on, so that nobody drives out to a sure failure; P."""


class CrewFields(Table):
    """Who does the work, and how long the job takes."""

    people: Count = 1
    applicator: Name | None = None
    certification: Name | None = None
    job: Annotated[float, measured("h", 0, DAY_H, above=True)] | Literal["auto"] = DURATION_H
    visit_worth: Annotated[float, Field(strict=True, ge=0, le=2)] = VISIT_WORTH


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
    usual_first_flower: DayOfYear | None = None
    chill: Chill | None = None

    @model_validator(mode="after")
    def _dated(self) -> Block:
        if (self.stage is None) != (self.observed is None):
            lacking = "stage" if self.stage is None else "observed"
            raise InputError(
                "a stage and the day it was seen go together", expected=f"also {lacking}"
            )
        return self


def _some_blocks(tables: object) -> object:
    if isinstance(tables, list | tuple) and not tables:
        raise InputError("no block of trees", expected="at least one [[blocks]]")
    return tables


def _named_apart(blocks: tuple[Block, ...]) -> tuple[Block, ...]:
    names = [block.name for block in blocks]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError("a block's name stands twice", got=", ".join(twice))
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


def _one_or_two(value: object) -> str:
    """A forecast service, or a list of two, as the command line names them."""
    names: list[Any] = value if isinstance(value, list) else [value]
    if not names or not all(isinstance(name, str) for name in names):
        raise InputError("not a service", expected='such as "nws" or ["nws", "metnorway"]')
    return ",".join(named_services(",".join(names)))


Service = Annotated[str, BeforeValidator(_one_or_two)]


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
    raise InputError("unknown soil", expected="one of " + ", ".join(SOILS), got=name)


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
        return next_date(self.until, wake + dt.timedelta(days=1))


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
            f"the site file has no table [{name}]",
            where=site,
            cure=f"add [{name}] with {TABLE_KEYS[name]}",
        )
    return table


def known_blocks(names: set[str], blocks: set[str], where: str) -> None:
    """Refuse names of blocks that the site does not have."""
    strange = sorted(names - blocks)
    if strange:
        raise InputError(
            "no such block",
            where=where,
            expected="one of " + ", ".join(sorted(blocks)),
            got=", ".join(strange),
        )


Litres = Annotated[float, measured("L", 0, 20_000, above=True)]
LitresPerMinute = Annotated[float, measured("L/min", 0, 1000, above=True)]
Seconds = Annotated[float, measured("s", 0, 3600, above=True)]
Speed = Annotated[float, measured("m/s", 0, 10, above=True)]
WorkHours = Annotated[float, measured("h", 0, 24)]
Copper = Annotated[float, measured("kg/ha", 0, 1000, above=True)]

CANOPY_L_PER_M3 = {
    "well pruned": WELL_PRUNED_L_PER_M3,
    "medium": MEDIUM_L_PER_M3,
    "dense": DENSE_L_PER_M3,
}
"""Dilute spray per canopy volume [L/m3], as in `spraywindow.handbook.volumes`."""


class SprayerFields(Table):
    """The sprayer and how the crew works with it."""

    tank: Litres
    way: Literal["hand gun", "rows"] = "hand gun"
    flow: LitresPerMinute | None = None
    caught: Annotated[tuple[Litres, ...], OneOrMore] = ()
    caught_in: Seconds | None = None
    guns: Annotated[int, Field(strict=True, ge=1, le=20)] = 1
    pruning: Literal["well pruned", "medium", "dense"] = "medium"
    walking: Speed = 0.7
    speed: Speed | None = None
    run: Annotated[float, measured("m", 0, above=True)] | None = None
    run_in: Seconds | None = None
    set_up: WorkHours = 0.5
    refill: WorkHours = 0.25
    rinse: WorkHours = 0.5

    @model_validator(mode="after")
    def _one_flow(self) -> SprayerFields:
        timed = bool(self.caught), self.caught_in is not None
        if timed[0] != timed[1] or (self.flow is not None) == timed[0]:
            raise InputError(
                'either flow = "5 L/min" of one gun (way = "rows": of the whole sprayer), or a '
                'timed catch: caught = "2.5 L" and caught_in = "30 s"'
            )
        if (self.run is None) != (self.run_in is None) or (self.run and self.speed):
            raise InputError('either speed = "4 km/h", or a timed run: run and run_in')
        return self

    @property
    def flows_l_per_min(self) -> tuple[float, ...]:
        """Flow of each gun or nozzle that was caught [L/min], or the one that is given."""
        if self.flow is not None:
            return (self.flow,)
        time_s = self.caught_in or 0.0
        return tuple(flow_from_catch_l_per_min(caught, time_s) for caught in self.caught)

    @property
    def flow_l_per_min(self) -> float:
        """Of one gun: the mean of what was caught; by rows of the whole sprayer: the sum."""
        flows = self.flows_l_per_min
        return sum(flows) / (len(flows) if self.way == "hand gun" else 1)

    @property
    def speed_ms(self) -> float | None:
        """Driving speed [m/s], as given or from the timed run."""
        if self.run is not None and self.run_in is not None:
            return speed_from_run_ms(self.run, self.run_in)
        return self.speed

    @property
    def crew(self) -> Crew:
        """How the crew works."""
        guns = self.guns if self.way == "hand gun" else 1
        return Crew(self.flow_l_per_min, guns, self.set_up, self.refill, self.rinse, self.walking)


class MixFields(Table):
    """A product as it goes into the tank, and what its label allows in a year."""

    rate: RateField | None = None
    product: Name | None = None
    registration: Name | None = None
    reentry: Annotated[float, measured("h", 0, 60 * DAY_H)] | None = None
    preharvest: Annotated[float, measured("h", 0, 366 * DAY_H)] | None = None
    measure: str | None = None
    copper: str | None = None
    rounds_per_year: Count | None = None
    product_per_year: str | None = None
    copper_per_year: Copper | None = None

    @model_validator(mode="after")
    def _readable(self) -> MixFields:
        dimension = "volume" if self.base == "L" else "mass"
        if self.measure is not None and unit(self.measure).dimension != dimension:
            raise InputError(
                "measure does not fit the rate",
                expected=f"a {dimension} such as {self.base}",
                got=self.measure,
            )
        if self.product_most is not None and not self.product_most > 0:
            got = self.product_per_year
            raise InputError(
                "out of range", where="product_per_year", expected="more than 0", got=got
            )
        if self.copper is not None and not 0 < (self.copper_share or 0.0) <= 1:
            raise InputError(
                "out of range",
                where="copper",
                expected="more than 0 and less than all of the product",
                got=self.copper,
            )
        if self.copper_per_year is not None and self.copper is None:
            raise InputError("copper_per_year without copper, the metallic copper in the product")
        return self

    @property
    def base(self) -> Literal["L", "kg"]:
        """What the rate counts of the product: litres or kilograms."""
        return self.rate.base if self.rate else "L"

    @property
    def copper_share(self) -> float | None:
        """Metallic copper in one litre or kilogram of the product [kg]; None where not given."""
        if self.copper is None:
            return None
        if self.base == "kg":
            return quantity(self.copper, "fraction", where="copper of a powder")
        return quantity(self.copper, "kg/L", where="copper of a liquid")

    @property
    def product_most(self) -> float | None:
        """The label's most of product a year [L/ha or kg/ha]; None where not given."""
        if self.product_per_year is None:
            return None
        return quantity(self.product_per_year, f"{self.base}/ha", where="product_per_year")


class CopperLimitFields(Table):
    """A limit on metallic copper per area, of a region or a scheme."""

    name: Name
    most: Copper
    years: Annotated[int, Field(strict=True, ge=1, le=30)] = 1

    @property
    def limit(self) -> UseLimit:
        """The limit."""
        return UseLimit(self.name, years=self.years, copper_kg_per_ha=self.most)


class CopperUseFields(Table):
    """Metallic copper of an earlier application; of one block, or of all."""

    day: Day
    copper: Copper
    block: str | None = None


class CopperFields(Table):
    """What limits the year's copper, and what earlier years brought."""

    limits: tuple[CopperLimitFields, ...] = ()
    used: tuple[CopperUseFields, ...] = ()

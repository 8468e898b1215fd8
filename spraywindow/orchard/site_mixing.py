"""The site file's tables for mixing: the sprayer, the products, and what limits copper."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from spraywindow.errors import InputError, describe
from spraywindow.orchard.calibration import flow_from_catch_l_per_min, speed_from_run_ms
from spraywindow.orchard.crew_time import Crew
from spraywindow.orchard.mix_use import UseLimit
from spraywindow.orchard.mixing import DENSE_L_PER_M3, MEDIUM_L_PER_M3, WELL_PRUNED_L_PER_M3
from spraywindow.orchard.site_fields import Count, Day, Name, Table, measured
from spraywindow.orchard.year_fields import OneOrMore, RateField
from spraywindow.units import quantity, unit

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
"""Dilute spray per canopy volume [L/m3], as in `spraywindow.orchard.mixing`."""


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
                describe("measure does not fit the rate",
                         expected=f"a {dimension} such as {self.base}", got=self.measure)
            )  # fmt: skip
        if self.product_most is not None and not self.product_most > 0:
            got = self.product_per_year
            raise InputError(
                describe("out of range", where="product_per_year", expected="more than 0", got=got)
            )
        if self.copper is not None and not 0 < (self.copper_share or 0.0) <= 1:
            raise InputError(describe("out of range", where="copper",
                                      expected='more than 0 and less than all of the product',
                                      got=self.copper))  # fmt: skip
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

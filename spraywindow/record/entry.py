"""One application as a frozen value: what was sprayed where, when, how much, in which weather.

Intervals (re-entry, next round, harvest) are fields that the user copies from the label; no
number here stands in for them.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import Annotated, Self
from zoneinfo import ZoneInfo

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    field_serializer,
    field_validator,
    model_validator,
)

from spraywindow.errors import InputError, describe, one_line

WEATHER_FIELDS = ("temp_c", "wind_ms", "wind_from_deg")
"""Fields that a weather table can fill in as estimates."""


def _whole_seconds(value: datetime) -> datetime:
    return datetime.fromisoformat(value.isoformat(timespec="seconds"))


Moment = Annotated[datetime, AfterValidator(_whole_seconds)]
Line = Annotated[str, Field(max_length=500, pattern=r"^[^\x00-\x1f\x7f]*$")]
Name = Annotated[str, Field(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f]+$")]
Amount = Annotated[float, Field(gt=0, le=1e7)]
Hours = Annotated[float, Field(ge=0, le=24 * 60)]


class Application(BaseModel):
    """One application of one product at one site (a tank mix is one entry a product).

    Parameters
    ----------
    site, timezone, material, product : str
        Name in the site file, IANA time zone, material of the program ("oil"), product as on
        the label.
    start, end : datetime
        tz-aware, whole seconds; at most 24 h apart. `end` None: not noted.
    share : float
        Part of the site's round that was finished, above 0 and up to 1.
    blocks : tuple of str
        Blocks or rows done.
    failed_share : float or None
        Part of the site's round, of `share`, that did not hold and is owed again; 0: it held.
        None: nobody said.
    failed_blocks : tuple of str
        Where that was; none: wherever it was sprayed.
    product_l, product_kg : float or None
        Total product used [L] or [kg]; one of the two.
    spray_volume_l : float or None
        Finished spray applied [L].
    area_m2 : float or None
        Area treated [m²].
    temp_c, wind_ms, wind_from_deg : float or None
        Weather at the time [degC, m/s, degrees]; those named in `estimated` came from
        `weather_source` (wind at 10 m), the others were measured on site.
    reentry_h, preharvest_days, next_round_days, rain_free_h : float or None
        From the label: re-entry interval [h], days to harvest, least days to the next round,
        hours that must stay dry.

    Raises
    ------
    pydantic.ValidationError
        From the constructor. `read` and `read_json` raise `InputError` on one line instead.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)

    site: Name
    timezone: Name
    start: Moment
    end: Moment | None = None
    material: Name
    product: Name
    registration_number: Line = ""
    share: float = Field(default=1.0, gt=0, le=1)
    blocks: tuple[Name, ...] = ()
    failed_share: float | None = Field(default=None, ge=0, le=1)
    failed_blocks: tuple[Name, ...] = ()
    use_kind: Line = "area treatment"
    location: Line = ""
    latitude: float | None = Field(default=None, ge=-90, le=90)
    longitude: float | None = Field(default=None, ge=-180, le=180)
    crop: Line = ""
    eppo_code: str = Field(default="", pattern=r"^([0-9A-Z]{5})?$")
    bbch: int | None = Field(default=None, ge=0, le=99)
    area_m2: Amount | None = None
    product_l: Amount | None = None
    product_kg: Amount | None = None
    spray_volume_l: Amount | None = None
    applicator: Line = ""
    certification_number: Line = ""
    customer_name: Line = ""
    customer_address: Line = ""
    temp_c: float | None = Field(default=None, ge=-60, le=60)
    wind_ms: float | None = Field(default=None, ge=0, le=90)
    wind_from_deg: float | None = Field(default=None, ge=0, le=360)
    estimated: tuple[str, ...] = ()
    weather_source: Line = ""
    reentry_h: Hours | None = None
    preharvest_days: int | None = Field(default=None, ge=0, le=366)
    next_round_days: int | None = Field(default=None, ge=0, le=366)
    rain_free_h: Hours | None = None
    note: str = Field(default="", max_length=20_000)

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (KeyError, ValueError, OSError) as error:
            raise ValueError('expected an IANA name such as "Europe/Athens"') from error
        return value

    @field_validator("start", "end")
    @classmethod
    def _aware(cls, value: datetime | None) -> datetime | None:
        if value is not None and value.utcoffset() is None:
            raise ValueError("expected a time with its offset from UTC")
        return value

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        if self.end is not None and self.end < self.start:
            raise ValueError("end: before the start")
        if self.end is not None and self.end - self.start > timedelta(days=1):
            raise ValueError("end: expected within 24 h after the start")
        if self.product_l is not None and self.product_kg is not None:
            raise ValueError("product_l, product_kg: expected one of the two")
        if (self.failed_share or 0.0) > self.share + 1e-9:
            raise ValueError(f"failed_share: expected at most the share done, {self.share:g}")
        wrong = [name for name in self.estimated if name not in WEATHER_FIELDS]
        if wrong:
            raise ValueError(f"estimated: expected names among {', '.join(WEATHER_FIELDS)}")
        return self

    @field_serializer("start", "end")
    def _local_text(self, value: datetime | None) -> str | None:
        return None if value is None else value.astimezone(ZoneInfo(self.timezone)).isoformat()

    @classmethod
    def read(
        cls,
        values: Mapping[str, object],
        *,
        where: str = "application",
        typed: Mapping[str, tuple[str, object]] | None = None,
    ) -> Self:
        """Build an entry from values by name; all problems in one `InputError`.

        `typed` holds by field the name and the value that somebody wrote, for the messages.
        """
        try:
            return cls.model_validate(dict(values))
        except ValidationError as error:
            raise InputError(_told(error, where, typed or {})) from error

    @classmethod
    def read_json(cls, text: str, *, where: str = "application") -> Self:
        """Build an entry from a JSON object (ISO 8601 times); problems as in `read`."""
        try:
            return cls.model_validate_json(text)
        except ValidationError as error:
            raise InputError(_told(error, where, {})) from error

    @property
    def finished(self) -> datetime:
        """The end, or the start where no end was noted."""
        return self.end or self.start

    @property
    def day(self) -> date:
        """Local date of the start."""
        return self.start.astimezone(ZoneInfo(self.timezone)).date()

    @property
    def reentry_from(self) -> datetime | None:
        """First moment when people may go in again, local; None without the label's interval."""
        if self.reentry_h is None:
            return None
        # added in UTC: an interval of hours does not change with the clocks
        ended = self.finished.astimezone(ZoneInfo("UTC"))
        return (ended + timedelta(hours=self.reentry_h)).astimezone(ZoneInfo(self.timezone))

    @property
    def next_round_from(self) -> date | None:
        """First local date of the next round with the product; None without the label's days."""
        return _later(self.day, self.next_round_days)

    @property
    def harvest_from(self) -> date | None:
        """First local date of harvest; None without the label's days."""
        return _later(self.day, self.preharvest_days)


def _later(day: date, days: int | None) -> date | None:
    return None if days is None else day + timedelta(days=days)


def _told(error: ValidationError, where: str, typed: Mapping[str, tuple[str, object]]) -> str:
    """Every problem of a pydantic error, on one line."""
    problems = []
    for item in error.errors(include_url=False, include_context=False):
        key = ".".join(str(part) for part in item["loc"])
        if item["type"] == "missing":
            problems.append(describe("is missing", where=key))
        elif item["type"] == "extra_forbidden":
            known = ", ".join(Application.model_fields)
            problems.append(describe("unknown field", where=key, expected=f"one of {known}"))
        else:
            name, value = typed.get(key, (key, item["input"]))
            got = value if isinstance(value, str | int | float) else None
            what = item["msg"].removeprefix("Value error, ")
            problems.append(describe(what[:1].lower() + what[1:], where=name, got=got))
    return f"{where}: {one_line(problems)}"

"""Where a site lies."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from numbers import Real
from zoneinfo import ZoneInfo

from spraywindow.errors import InputError, describe, one_line


@dataclass(frozen=True)
class Place:
    """A point on the earth and its clock.

    Parameters
    ----------
    latitude, longitude : float
        [degrees], north and east positive; -90 to 90 and -180 to 180.
    elevation_m : float
        Height above sea level [m], -450 to 6000.
    timezone : str
        IANA name, such as ``"Europe/Athens"``.

    Raises
    ------
    InputError
        If a value is out of its range or the time zone is unknown; all problems at once.
    """

    latitude: float
    longitude: float
    elevation_m: float
    timezone: str

    def __post_init__(self) -> None:
        problems = [
            describe(f"{name} out of range", expected=f"{low:g} to {high:g} {unit}", got=value)
            for name, value, low, high, unit in (
                ("latitude", self.latitude, -90, 90, "degrees"),
                ("longitude", self.longitude, -180, 180, "degrees"),
                ("elevation_m", self.elevation_m, -450, 6000, "m"),
            )
            if isinstance(value, bool) or not (isinstance(value, Real) and low <= value <= high)
        ]
        try:
            ZoneInfo(self.timezone)
        except (KeyError, ValueError, OSError, TypeError):
            problems.append(
                describe(
                    "unknown time zone",
                    expected='an IANA name such as "Europe/Athens"',
                    got=self.timezone,
                )
            )
        if problems:
            raise InputError(one_line(problems))

    @cached_property
    def zone(self) -> ZoneInfo:
        """The time zone as an object."""
        return ZoneInfo(self.timezone)

"""A reason as a value: a sentence with places in it, and the numbers and dates that fill them.

It becomes words once, for its reader: `show.reason_words`. `str` tells it as JSON does, in the
units that it was given and with dates in ISO 8601.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Union

from spraywindow.days import day_words


@dataclass(frozen=True)
class Amount:
    """A number in a unit of `units`, or a range up to `most`.

    `decimals` are told of what was measured; a limit has none, and is a round number to every
    reader.
    """

    value: float
    unit: str
    most: float | None = None
    decimals: int | None = None

    @property
    def bounds(self) -> tuple[float, ...]:
        """The number, or both ends of the range."""
        return (self.value,) if self.most is None else (self.value, self.most)

    def __str__(self) -> str:
        """The number as it is, with its unit."""
        form = "g" if self.decimals is None else f".{self.decimals}f"
        return f"{'-'.join(f'{each:{form}}' for each in self.bounds)} {self.unit}"


@dataclass(frozen=True)
class NearDay:
    """A day so near that nobody, not even JSON, is told its year."""

    day: dt.date

    def __str__(self) -> str:
        """Such as "Tue 13 Jan"."""
        return day_words(self.day)


Told = Union[Amount, NearDay, dt.date, str, "Reason"]


@dataclass(frozen=True)
class Reason:
    """A sentence, as `str.format` fills it, and what it tells, in order.

    The sentence is the reason's code as well: two reasons with the same one say the same.

    Examples
    --------
    >>> str(Reason("none after {}", (dt.date(2026, 8, 15),)))
    'none after 2026-08-15'
    """

    sentence: str
    told: tuple[Told, ...] = ()

    def said(self, say: Callable[[Amount | NearDay | dt.date | str], str]) -> str:
        """The sentence, everything in it told by `say`."""
        return self.sentence.format(
            *(each.said(say) if isinstance(each, Reason) else say(each) for each in self.told)
        )

    def __str__(self) -> str:
        """The sentence in the units and dates of JSON."""
        return self.said(str)

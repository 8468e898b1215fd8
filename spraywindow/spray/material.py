"""What a spray material asks of the weather: limits and materials as cited, frozen data."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Literal

from spraywindow.errors import InputError, describe, one_line

Kind = Literal["hard", "soft", "caution"]
Bound = Literal["at least", "at most", "above", "below"]
KINDS: tuple[Kind, ...] = ("hard", "soft", "caution")
BOUNDS: tuple[Bound, ...] = ("at least", "at most", "above", "below")
STAGE = "stage"
"""Name of the limit on the growth stage, and of its column."""
_TAKEN = ("verdict", "go", "margin", "held_by", STAGE)  # other columns of the scored hours


@dataclass(frozen=True)
class Limit:
    """One condition on one quantity of the weather.

    Parameters
    ----------
    name : str
        Its column in the scored hours.
    quantity : str
        What it looks at: a name in `spraywindow.spray.quantities.QUANTITIES`.
    bound : str
        ``"at least"``, ``"at most"``, or with the value itself outside: ``"above"``, ``"below"``.
    value, width : float
        Where the margin is 0, and how far inside it is 1, in `unit`.
    unit : str
        Of value and width: the one that the quantity is judged in.
    kind : str
        ``"hard"`` stops; ``"soft"`` lowers the margin, never below 0; ``"caution"`` only speaks.
    words : str
        What holds the spray, in growers' words: "too cold".
    reason : str
        Why.
    source : str
        Where the value comes from; "P" is common practice, no source.
    hours : float, optional
        Length of the window that the quantity looks over [h].

    Raises
    ------
    InputError
        If a value is out of range, or the name is that of another column; all problems at once.
    """

    name: str
    quantity: str
    bound: Bound
    value: float
    width: float
    unit: str
    kind: Kind
    words: str
    reason: str
    source: str
    hours: float | None = None

    def __post_init__(self) -> None:
        problems: list[tuple[str, str, object]] = []
        if not 0 < self.width < math.inf:
            problems.append(("comfort width", "more than 0", self.width))
        if not math.isfinite(self.value):
            problems.append(("value", "a number", self.value))
        if self.bound not in BOUNDS:
            problems.append(("bound", " or ".join(BOUNDS), self.bound))
        if self.kind not in KINDS:
            problems.append(("kind", " or ".join(KINDS), self.kind))
        if self.hours is not None and not 0 < self.hours <= 24 * 14:
            problems.append(("window", "more than 0 h, at most 14 days", self.hours))
        if self.name in _TAKEN:
            problems.append(("name", "none of the columns " + ", ".join(_TAKEN), self.name))
        if problems:
            raise InputError(
                one_line(
                    [
                        describe(what, where=f"limit {self.name}", expected=expected, got=got)
                        for what, expected, got in problems
                    ]
                )
            )


@dataclass(frozen=True)
class Rainfast:
    """How long a material must stay dry to hold.

    Parameters
    ----------
    hours : float
        Hours without rain after the spray [h].
    source : str
        Where they come from; "P" is common practice, no source.
    of_label : bool
        Whether they are the label's own.
    """

    hours: float
    source: str
    of_label: bool = False


@dataclass(frozen=True)
class Material:
    """A spray material: its limits, its own facts, where it stops, and how often it goes on.

    Without facts of its own it is on the cautious side: no copper, so that it covers nothing;
    not rainfast before a day is over; and aimed at no stage, so that no round waits for one.

    Parameters
    ----------
    name : str
        Short name: "oil".
    title : str
        For people: "horticultural oil".
    limits : tuple of Limit
    last_stage : int
        Last BBCH stage at which it is allowed, counted from leaf fall (91-99) over dormancy (00).
    green_stage : int
        From this stage on, frost before or after the spray hurts green tissue.
    least_days, rounds : int
        Least days between two rounds, and the usual rounds in a winter.
    usual_rate, highest_rate : float or None
        Share of the mix by volume [0-1]; above the highest a warning.
    days_apart : mapping
        Days to keep from another material, both ways: ``{"sulfur": 30}``.
    copper : bool
        Whether it is metallic copper: it washes off by the amount of rain, covers against leaf
        curl while it lasts, and adds up in the soil.
    rainfast : Rainfast
    burns_thirsty : bool
        Whether drought predisposes the trees to its burn.
    targets : tuple of int
        BBCH stages that its rounds are meant for.
    based_on : str, optional
        The material of the catalogue that it is made of, under a name of its own.
    cautions : tuple of str
    source : str

    Raises
    ------
    InputError
        If two limits share a name.
    """

    name: str
    title: str
    limits: tuple[Limit, ...]
    last_stage: int
    least_days: int
    rounds: int
    green_stage: int = 53
    usual_rate: float | None = None
    highest_rate: float | None = None
    days_apart: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    copper: bool = False
    rainfast: Rainfast = Rainfast(24, "P")
    burns_thirsty: bool = False
    targets: tuple[int, ...] = ()
    based_on: str | None = None
    cautions: tuple[str, ...] = ()
    source: str = ""

    def __post_init__(self) -> None:
        names = [limit.name for limit in self.limits]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise InputError(
                "limits of one name", where=f"material {self.name}", got=", ".join(twice)
            )

    def stops(self, stage: int) -> bool:
        """Whether a BBCH stage is past the last one that the material may go on."""
        return season_order(stage) > season_order(self.last_stage)

    def limit(self, name: str) -> Limit:
        """Give the limit of that name; `InputError` naming the known ones if there is none."""
        for limit in self.limits:
            if limit.name == name:
                return limit
        raise InputError(
            "unknown limit",
            where=f"material {self.name}",
            expected="one of " + ", ".join(limit.name for limit in self.limits),
            got=name,
        )

    def with_limits(self, **changes: Limit | None) -> Material:
        """Give the material with limits replaced, added, or (None) taken out, by name."""
        kept = tuple(
            changed
            for limit in self.limits
            if (changed := changes.get(limit.name, limit)) is not None
        )
        names = {limit.name for limit in self.limits}
        added = tuple(new for name, new in changes.items() if new is not None and name not in names)
        return replace(self, limits=kept + added)

    @property
    def dry_spell_h(self) -> float:
        """The dry spell wanted after the spray [h]: the longest window of a limit on rain."""
        return max(
            (
                limit.hours or 0.0
                for limit in self.limits
                if limit.quantity in ("rain_ahead", "rain_after_drying") and limit.kind != "caution"
            ),
            default=0.0,
        )

    def with_dry_spell(self, hours: float) -> Material:
        """Give the material with another dry spell wanted; no rain window stays longer."""
        return replace(
            self,
            limits=tuple(
                replace(
                    limit,
                    hours=hours if limit.hours == self.dry_spell_h else min(limit.hours, hours),
                )
                if limit.quantity in ("rain_ahead", "rain_after_drying") and limit.hours
                else limit
                for limit in self.limits
            ),
        )


def season_order(stage: int) -> int:
    """Order BBCH stages through a winter: leaf fall (91-99) comes before dormancy (00)."""
    return stage - 100 if stage >= 91 else stage

"""Blocks of trees that flower together, and what the season holds for them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

from spraywindow.days import day_words
from spraywindow.site import FRESH_STAGE_D, Block
from spraywindow.trees import (
    DAYS_TO_FLOWER,
    FIRST_FLOWER,
    LATEST_D,
    STAGE_SHARES,
    Need,
    stage_words,
    stop_stage,
)
from spraywindow.winters import SeasonOutlook

BUD_SWELL = 51


@dataclass(frozen=True, eq=False)
class Group:
    """Blocks of trees that flower together, and what the season holds for them."""

    json_keys: ClassVar = (
        "names=block_names", "need=need_name", "end=outlook.last", "ends=outlook.ends",
        "finish_as_it_comes=outlook.finish_coming",
    )  # fmt: skip

    blocks: tuple[Block, ...]
    need_name: str
    need: Need
    outlook: SeasonOutlook

    @property
    def block_names(self) -> tuple[str, ...]:
        """Of its blocks."""
        return tuple(block.name for block in self.blocks)

    @property
    def names(self) -> str:
        """The same in a line."""
        return ", ".join(self.block_names)

    @property
    def past(self) -> bool:
        """Whether the middle of the forecast last days lies before day 0."""
        return self.outlook.last < self.outlook.season.first

    def over(self, today: dt.date) -> bool:
        """Whether the season is past by the forecast, and nobody has just seen that it is not."""
        seen = self.need.seen
        fresh = seen and seen.observed and (today - seen.observed).days <= FRESH_STAGE_D
        return self.past and not fresh


def group_notes(group: Group) -> Iterator[str]:
    """What people should know of how a group's season was found."""
    outlook, names = group.outlook, group.names
    best = int(outlook.rounds_hindsight.max(initial=0))
    if outlook.season.labels and best < outlook.owed:
        yield (
            f"{names}: no past winter could hold the program; whoever had known the best one "
            f"beforehand would have made {best} of {outlook.owed} rounds, {outlook.owed - best} "
            "short"
        )
    if outlook.season.never:
        yield (
            f"{names}: in {outlook.season.never} of {len(outlook.season.labels)} winters trees of "
            "the model do not get the chill or heat to flower, and count as late, "
            f"{LATEST_D:.0f} days at most; is the group right?"
        )
    if group.need.usual is not None:
        yield f"{names}: taken before the first flower: {_days_before(group)} (common practice)"
    seen = group.need.seen
    if seen is not None and seen.observed is not None:
        exact = seen.bbch in STAGE_SHARES
        how = "are counted on from there" if exact else "come no sooner than counted from there"
        yield f"{names}: {seen} was seen on {day_words(seen.observed)}; later stages {how}"
        if group.past:
            yield f"{names}: by the forecast the flowers are open by now; look again"


def _days_before(group: Group) -> str:
    """How long before the first flower bud swell is taken, and what ends a material."""
    ends = {stop_stage(material.last_stage) for material in group.outlook.season.materials}
    codes = sorted({BUD_SWELL, *ends} - {FIRST_FLOWER})
    return ", ".join(f"{stage_words(code)} {DAYS_TO_FLOWER[code]} days" for code in codes)

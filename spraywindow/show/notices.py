"""The usual cautions, short, each where it belongs."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

Words = Mapping[tuple[type, str], Callable[[Any, Any], Any]]
"""What says a JSON key of a class in words, given the value and the whole answer it is part of."""

LABEL = (
    "The label is the law and overrides every number here. A planning aid: check the weather on "
    "site before and while spraying."
)
SPRAYING = (
    "Wear the label's protective gear. Never spray open flowers or foraging bees; people and pets "
    "out until the re-entry interval ends.",
    "Not in dead calm, inversion or gusts, nor towards neighbours. Spraying for hire usually "
    "needs a licence; keep records.",
)
FEEDING = (
    "Soil test first: phosphorus over-feeding is toxic and slow to undo. No feeding of dormant "
    "trees or before heavy rain."
)
FEW_WINTERS = "Fewer than ten winters: read the shares as a hint, not as odds."
FULL = "The tables behind this: --full."
EARLY = "too early to say"
"""What people read for an hour past the last one that can be answered."""

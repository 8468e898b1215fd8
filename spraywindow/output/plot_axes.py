"""A trace's name, its scale and its ticks."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from spraywindow.output.plots import EDGE, INK, QUIET, SMALL, TEXT, wrapped

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LINE_PX = 12
"""Height of a line of small print."""
_LETTER_PX = 5.2
_TICKS = 3


def name_track(axes: Axes, name: str, words: str, *, room_px: float | None, left_px: float) -> None:
    """Name a track over its left corner, its limits in the other ink to the right.

    Where `room_px` is given, the limits stand below the name, wrapped to so much room; both begin
    `left_px` left of the axes.
    """
    lines = [words] if room_px is None else name_lines(words, room_px)
    lift = LINE_PX * len(lines) + 1 if room_px is not None and lines else 0
    axes.annotate(name, (0, 1), xytext=(-left_px, 6 + lift), xycoords="axes fraction",
                  textcoords="offset points", fontsize=TEXT, fontweight="bold", color=INK,
                  va="bottom", annotation_clip=False)  # fmt: skip
    for number, line in enumerate(reversed(lines)):
        axes.annotate(line, (1 if room_px is None else 0, 1), xycoords="axes fraction",
                      xytext=(0 if room_px is None else -left_px, 5 + LINE_PX * number),
                      textcoords="offset points", fontsize=SMALL, color=EDGE,
                      ha="right" if room_px is None else "left", va="bottom",
                      annotation_clip=False)  # fmt: skip


def name_lines(words: str, room_px: float) -> list[str]:
    """Limits in words, wrapped to so much room; a number and its unit stay together."""
    return wrapped(words, int(room_px / _LETTER_PX))


def set_scale(
    axes: Axes, values: Iterable[float], *, least_span: float, floor: float | None = None
) -> None:
    """Fit a track's scale to its values, NaN aside, with a little room; it may stand on a floor."""
    known = np.asarray(list(values), dtype=float)
    known = known[np.isfinite(known)]
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, least_span)
    low = low if floor is None else floor
    high = max(high, low + least_span)
    pad = 0.08 * (high - low)
    axes.set_ylim(low if floor is not None else low - pad, high + pad)
    set_ticks(axes, round_ticks(low, high))


def round_ticks(low: float, high: float) -> list[float]:
    """Round figures from `low` to `high`."""
    from matplotlib.ticker import MaxNLocator

    ticks = MaxNLocator(_TICKS, steps=[1, 2, 5, 10]).tick_values(low, high)
    return [float(tick) for tick in ticks if low - 1e-9 <= tick <= high + 1e-9]


def set_ticks(axes: Axes, ticks: list[float]) -> None:
    """Figures at a track's left, and a rule down it."""
    # adding zero turns a rounded -0 into 0
    axes.set_yticks(ticks, [f"{round(tick, 6) + 0.0:g}" for tick in ticks])
    axes.tick_params(axis="y", length=3, labelleft=True, labelsize=SMALL, pad=3, color=QUIET)
    axes.spines["left"].set_visible(True)

"""The look that all pictures share, a trace's name, scale and ticks, and how one becomes a file.

Two inks on paper: the weather and the slots in one, limits and what lies beyond them in the
other, told apart by dashes and hatching as well, so that a copy in black and white says the same.
"""

from __future__ import annotations

import io
import re
import textwrap
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from spraywindow.errors import InputError
from spraywindow.show.files import Mark, write_new

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, QUIET, EDGE = "#20262e", "#575e67", "#7d2f68"
NIGHT, GRID, PAPER = "#e6e3da", "#bdb9af", "#fdfcf9"
VARIABLES = {INK: "--ink", QUIET: "--quiet", EDGE: "--edge", NIGHT: "--night", GRID: "--grid",
             PAPER: "--paper"}  # fmt: skip
"""Colours of the pictures and the names under which a page may change them."""
HATCH = "////"
SMALL, TEXT = 10.0, 11.5
"""Sizes of letters [px]."""
WIDE_PX, NARROW_PX = 760, 298
"""Widths of a picture for a wide screen or paper, and for a phone.

A phone of 390 px shows the narrow one at 358 px: its small letters are 12 px high there.
"""
PICTURE_MARKS: dict[str, Mark] = {
    ".png": (b"\x89PNG", b"tEXtSoftware\x00spraywindow"),
    ".svg": (b"<?xml", b"<dc:title>spraywindow</dc:title>"),
}
"""By which a picture of ours is known, by suffix; `metadata` puts it in."""
HEAD = 15.0
_LETTER_PX = 5.6
"""Mean width of a small letter [px]."""
_PNG_DPI = 144
_POINTS_PER_INCH = 72


@contextmanager
def look(salt: str = "spraywindow") -> Iterator[None]:
    """Draw and save inside this; `salt` keeps the ids of two pictures on one page apart."""
    import matplotlib

    with (
        warnings.catch_warnings(),
        matplotlib.rc_context(
            {
                # names come from people: a dollar sign is no formula
                "text.parse_math": False,
                "svg.fonttype": "none",
                "svg.hashsalt": salt,
                "hatch.linewidth": 0.9,
                "font.family": ["DejaVu Sans"],
                "text.color": INK,
                "axes.edgecolor": QUIET,
                "axes.linewidth": 0.7,
                "axes.unicode_minus": True,
                "xtick.color": QUIET,
                "ytick.color": QUIET,
            }
        ),
    ):
        # a name in another script: the page's own fonts draw it
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


def new_figure(width_px: float, height_px: float) -> Figure:
    """An empty figure of a size on screen; call it inside `look`."""
    from matplotlib.figure import Figure

    size = (width_px / _POINTS_PER_INCH, height_px / _POINTS_PER_INCH)
    return Figure(figsize=size, dpi=_POINTS_PER_INCH)


def set_height(figure: Figure, height_px: float) -> None:
    """Give a figure its height on screen, once what is drawn tells it."""
    figure.set_figheight(height_px / _POINTS_PER_INCH)


def bare(axes: Axes) -> None:
    """Take frame, ticks and background from axes."""
    axes.set_facecolor("none")
    for spine in axes.spines.values():
        spine.set_visible(False)
    axes.set_xticks([])
    axes.set_yticks([])


def wrapped(words: str, letters: int) -> list[str]:
    """Wrap words to so many letters a line; a number and its unit stay together."""
    return textwrap.wrap(re.sub(r"(?<=\d) (?=\S)", "\u00a0", words), letters)


def check_suffix(path: Path) -> None:
    """Refuse a picture's file name that is neither PNG nor SVG."""
    if path.suffix.lower() not in PICTURE_MARKS:
        raise InputError(
            "unknown kind of picture",
            where=str(path),
            expected=" or ".join(PICTURE_MARKS),
            got=path.suffix,
        )


def picture_mark(path: Path) -> Mark:
    """By which a picture of ours is known; errors as of `check_suffix`."""
    check_suffix(path)
    return PICTURE_MARKS[path.suffix.lower()]


def save_picture(figure: Figure, path: Path, title: str, foot: str) -> None:
    """Write a figure as PNG or SVG by the suffix, between two lines of words; inside `look`.

    Parameters
    ----------
    figure : Figure
    path : Path
    title, foot : str
        What the picture shows and of when; how to read it, and where it comes from.

    Raises
    ------
    InputError
        If the suffix is another one, the file cannot be written, or one stands there that is not
        ours.
    """
    mark = picture_mark(path)
    kind = path.suffix.lower()[1:]
    buffer = io.BytesIO()
    width, height = figure.get_size_inches() * _POINTS_PER_INCH
    figure.text(0, 1 + 12 / height, title, va="bottom", fontsize=HEAD, fontweight="bold", color=INK)
    lines = "\n".join(textwrap.wrap(foot, int(width / _LETTER_PX)))
    figure.text(0, -8 / height, lines, va="top", fontsize=SMALL, color=QUIET, linespacing=1.4)
    figure.savefig(buffer, format=kind, dpi=_PNG_DPI, facecolor=PAPER, metadata=metadata(kind),
                   bbox_inches="tight", pad_inches=12 / _POINTS_PER_INCH)  # fmt: skip
    write_new(path, buffer.getvalue(), over=mark)


def metadata(kind: str) -> dict[str, Any]:
    """Our mark, without the clock and the drawing library's name: equal input gives equal bytes."""
    if kind == "svg":
        return {"Date": None, "Creator": "spraywindow", "Format": None, "Type": None}
    return {"Software": "spraywindow"}


LINE_PX = 12
"""Height of a line of small print."""
_TICK_LETTER_PX = 5.2
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
    return wrapped(words, int(room_px / _TICK_LETTER_PX))


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

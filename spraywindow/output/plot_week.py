"""The coming week as one picture of the weather, each limit a line and what lies beyond hatched."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spraywindow.orchard.evening import Evening
from spraywindow.output.plot_axes import LINE_PX, name_lines, name_track
from spraywindow.output.plot_slots import DAYS_PX, day_spans, draw_slots, hour_of, row_height_px
from spraywindow.output.plot_tracks import TRACKS
from spraywindow.output.plots import (
    GRID,
    INK,
    NIGHT,
    QUIET,
    SMALL,
    WIDE_PX,
    bare,
    check_suffix,
    look,
    new_figure,
    save_picture,
)
from spraywindow.output.slot_words import closing_words, hours_words, opening_words
from spraywindow.output.week import week_weather
from spraywindow.output.words import day_words, source_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEFT_PX, RIGHT_PX = 46, 12
TRACK_PX, GAP_PX, FOOT_PX = 58, 28, 24
_NARROW_PX, _EDGE_PX = 600, 6


def draw_week(
    week: pd.DataFrame,
    evenings: Sequence[Evening],
    *,
    width_px: float = WIDE_PX,
    whole: pd.DataFrame | None = None,
) -> Figure:
    """Draw the week; call it inside `spraywindow.output.plots.look`.

    Parameters
    ----------
    week : DataFrame
        From `spraywindow.output.week.week_weather`, or some of its rows.
    evenings : sequence of Evening
        One a material; the limits drawn are those of the first.
    width_px : float
        Width on screen; the height follows.
    whole : DataFrame, optional
        The week that `week` is a part of: it sets the scales.
    """
    first = evenings[0]
    narrow = width_px < _NARROW_PX
    all_of_it = week if whole is None else whole
    room_px = width_px - 2 * _EDGE_PX if narrow else None
    gap = GAP_PX + LINE_PX * most_lines(all_of_it, first, room_px)
    inner = width_px - LEFT_PX - RIGHT_PX
    band_px = DAYS_PX + len(evenings) * row_height_px(week, evenings, inner / len(week))
    height = band_px + len(TRACKS) * (TRACK_PX + gap) + FOOT_PX
    figure = new_figure(width_px, height)

    def axes_at(top_px: float, tall_px: float) -> Axes:
        box = (LEFT_PX / width_px, 1 - (top_px + tall_px) / height, inner / width_px,
               tall_px / height)  # fmt: skip
        axes = figure.add_axes(box)
        axes.set_xlim(0, len(week))
        bare(axes)
        return axes

    band = axes_at(0, band_px)
    draw_slots(band, week, evenings, px_per_hour=inner / len(week))
    top = band_px + gap
    for track in TRACKS:
        axes = axes_at(top, TRACK_PX)
        draw_nights(axes, week)
        name, words = track(axes, week, first, all_of_it)
        name_track(axes, name, words, room_px=room_px, left_px=(LEFT_PX - _EDGE_PX) * narrow)
        _slot_edges(axes, week, first)
        top += TRACK_PX + gap
    _clock_hours(axes, week, px_per_hour=inner / len(week))
    return figure


def most_lines(week: pd.DataFrame, evening: Evening, room_px: float | None) -> int:
    """Most lines that the limits of a track take below its name; none where they stand beside."""
    if room_px is None:
        return 0
    scratch = new_figure(WIDE_PX, WIDE_PX).add_subplot()
    return max(len(name_lines(track(scratch, week, evening, week)[1], room_px)) for track in TRACKS)


def draw_nights(axes: Axes, week: pd.DataFrame) -> None:
    """Shade the hours between sunset and sunrise, and rule the local midnights."""
    step = np.diff(np.concatenate([[0], week["night"].to_numpy(dtype=int), [0]]))
    for dusk, dawn in zip(np.flatnonzero(step == 1), np.flatnonzero(step == -1), strict=True):
        axes.axvspan(float(dusk), float(dawn), color=NIGHT, linewidth=0, zorder=0)
    for start, _ in day_spans(week)[1:]:
        axes.axvline(start, color=GRID, linewidth=0.7, zorder=0.5)


def _slot_edges(axes: Axes, week: pd.DataFrame, evening: Evening) -> None:
    """Carry the brackets' ends down, so that one sees what opens and closes a slot."""
    for slot in evening.slots:
        if slot.start in week.index:
            for time in (slot.start, slot.end):
                axes.axvline(hour_of(week, time), color=INK, linewidth=0.8, zorder=1)


def _clock_hours(axes: Axes, week: pd.DataFrame, px_per_hour: float) -> None:
    """Put the local clock under the lowest track."""
    step = 6 if px_per_hour * 6 >= 26 else 12
    local = pd.DatetimeIndex(week.index)
    ticks = {n - time.minute / 60: time.hour for n, time in enumerate(local)}
    ticks = {at: hour for at, hour in ticks.items() if hour % step == 0 and at >= 0}
    axes.set_xticks(list(ticks), [str(hour) for hour in ticks.values()])
    axes.tick_params(axis="x", length=3, labelbottom=True, labelsize=SMALL, color=QUIET, pad=3)


def week_words(evenings: Sequence[Evening]) -> str:
    """The picture in words, for who does not see it."""
    lines = []
    for evening in evenings:
        name = evening.material.name
        for slot in sorted(evening.slots, key=lambda slot: slot.start):
            hours = hours_words(slot.start, slot.end)
            lines.append(f"{name} {day_words(slot.start.date())} {hours}, "
                         f"{opening_words(slot, evening)}, "
                         f"{closing_words(slot, evening)}")  # fmt: skip
        if not evening.slots:
            lines.append(f"{name}: no slot of {evening.site.job_h:g} h")
    return "Slots: " + "; ".join(lines) + "."


def week_legend(first: Evening) -> str:
    """How to read the week's picture; the limits drawn are those of `first`."""
    name = first.material.name
    return (
        f"Brackets: hours to spray, with what opens and closes them. Dashed: the limits of {name}, "
        "hatched what lies beyond. Dotted: wood in the sun, and gusts. Shaded: night. Thin "
        f"uprights: the hours of {name}. A question mark: nobody tells the rain."
    )


def split_week(week: pd.DataFrame, ends: Sequence[int]) -> list[pd.DataFrame]:
    """The rows up to the end of each of so many whole days after today, and the rest.

    Parts without rows are left out.
    """
    today: dt.date = week.index[0].date()
    days = np.array([(date - today).days for date in pd.DatetimeIndex(week.index).date])
    number = np.searchsorted(ends, days)
    return [week[number == part] for part in range(len(ends) + 1) if (number == part).any()]


def save_week_picture(path: Path, weather: pd.DataFrame, evenings: Sequence[Evening]) -> None:
    """Write the week's picture as PNG or SVG, by the suffix.

    Parameters
    ----------
    path : Path
    weather : DataFrame
        The table that the evenings were made from.
    evenings : sequence of Evening
        One a material; the limits drawn are those of the first.

    Raises
    ------
    InputError
        If the suffix is another one, matplotlib is missing, or the file cannot be written.
    """
    check_suffix(path)
    with look():
        first = evenings[0]
        week = week_weather(weather, first.site, first.now)
        title = f"{first.site.name}: as of {day_words(first.now.date())} {first.now:%Y, %H:%M}"
        foot = f"{week_legend(first)} {source_line(first.source)}."
        save_picture(draw_week(week, evenings), path, title, foot)

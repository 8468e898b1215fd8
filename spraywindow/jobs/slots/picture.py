"""The coming week as one picture of the weather, each limit a line and what lies beyond hatched.

Its slots stand as brackets, a row a material, with what opens and closes them.
"""

from __future__ import annotations

import datetime as dt
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spraywindow.days import day_words
from spraywindow.jobs.slots.answer import DayAnswer, Evening
from spraywindow.jobs.slots.tracks import TRACKS, local_days, week_weather
from spraywindow.jobs.slots.words import closing_words, held_words, opening_words
from spraywindow.show import (
    EARLY,
    GRID,
    INK,
    LINE_PX,
    NIGHT,
    QUIET,
    SMALL,
    TEXT,
    WIDE_PX,
    bare,
    check_suffix,
    hours_words,
    look,
    name_lines,
    name_track,
    new_figure,
    save_picture,
    set_height,
    source_line,
    wrapped,
)
from spraywindow.spray import Slot

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DAYS_PX, _NAME_PX, _WORDS_PX, _LEAST_LINES = 28, 20, 62, 2
_NAME_LEFT_PX = 42
_CHARACTER_PX, _LINE_PX, _HOURS_PX, _APART_PX = 5.7, 11.5, 82, 4
_LEAST_LABEL_H = 9
_NAME_LETTERS = 40
_MONTH_PX, _DAY_PX = 80, 40
"""Narrower days go without the month, and without a label."""


def hour_of(week: pd.DataFrame, time: pd.Timestamp) -> float:
    """Hours from the first row of the week to a time."""
    return float((time - week.index[0]) / pd.Timedelta(hours=1))


def day_spans(week: pd.DataFrame) -> list[tuple[float, float]]:
    """First and last edge of each local day, in hours from the first row of the week."""
    dates = pd.DatetimeIndex(week.index).date
    spans = []
    for day in local_days(week):
        inside = np.flatnonzero(dates == day)
        spans.append((float(inside[0]), float(inside[-1] + 1)))
    return spans


def draw_slots(
    axes: Axes,
    week: pd.DataFrame,
    evenings: Sequence[Evening],
    *,
    px_per_hour: float,
) -> None:
    """Draw a row of brackets for each material, the days above; y runs downwards in pixels.

    Parameters
    ----------
    axes : Axes
        x in hours from the first row of the week.
    week : DataFrame
        From `spraywindow.jobs.slots.tracks.week_weather`, or some of its rows.
    evenings : sequence of Evening
        One a material.
    px_per_hour : float
        Width of an hour on screen.
    """
    row_px = row_height_px(week, evenings, px_per_hour)
    axes.set_ylim(DAYS_PX + len(evenings) * row_px, 0)
    for day, (start, end) in zip(local_days(week), day_spans(week), strict=True):
        width_px = (end - start) * px_per_hour
        if width_px >= _DAY_PX:
            label = day_words(day) if width_px >= _MONTH_PX else f"{day:%a} {day.day}"
            axes.text((start + end) / 2, 16, label, ha="center", va="center",
                      fontsize=TEXT, color=INK, fontweight="bold")  # fmt: skip
    for number, evening in enumerate(evenings):
        top = DAYS_PX + number * row_px
        axes.axhline(top, color=GRID, linewidth=0.7)
        for start, _ in day_spans(week)[1:]:  # below the name, which may be long
            axes.plot([start] * 2, [top + _NAME_PX, top + row_px], color=GRID, linewidth=0.7)
        name = textwrap.shorten(evening.material.name, _NAME_LETTERS, placeholder=" …")
        axes.annotate(
            name, (0, top + 12), xytext=(-_NAME_LEFT_PX, 0), textcoords="offset points",
            fontsize=TEXT, fontweight="bold", color=INK, ha="left", va="center",
            annotation_clip=False,
        )  # fmt: skip
        _row(axes, week, evening, top, px_per_hour)


def row_height_px(week: pd.DataFrame, evenings: Sequence[Evening], px_per_hour: float) -> float:
    """Height of a material's row: as high as the most words on one day need."""
    most = max(
        len(_day_words(slots, evening, _letters(span, px_per_hour)))
        for evening in evenings
        for slots, span in _by_day(week, evening)
    )
    return _WORDS_PX + max(most, _LEAST_LINES) * _LINE_PX


def _by_day(week: pd.DataFrame, evening: Evening) -> list[tuple[list[Slot], tuple[float, float]]]:
    """The slots of each local day of the week, in order of time, and the day's edges."""
    ordered = sorted(evening.slots, key=lambda slot: slot.start)
    return [
        ([slot for slot in ordered if slot.start.date() == day], span)
        for day, span in zip(local_days(week), day_spans(week), strict=True)
    ]


def _letters(span: tuple[float, float], px_per_hour: float) -> int:
    return max(int((span[1] - span[0]) * px_per_hour / _CHARACTER_PX), 9)


def _day_words(slots: Sequence[Slot], evening: Evening, letters: int) -> list[str]:
    """What opens and closes the slots of a day, in lines; of several slots their hours too."""
    several = len(slots) > 1
    parts = [
        words
        for slot in slots
        for words in (
            *([hours_words(slot.start, slot.end)] * several),
            opening_words(slot, evening),
            closing_words(slot, evening),
        )
    ]
    return [line for part in parts for line in wrapped(part, letters)]


def _row(axes: Axes, week: pd.DataFrame, evening: Evening, top: float, px_per_hour: float) -> None:
    answers = {answer.date: answer for answer in evening.answers}
    for day, (slots, span) in zip(local_days(week), _by_day(week, evening), strict=True):
        letters = _letters(span, px_per_hour)
        for slot in slots:
            _bracket(axes, week, slot, top)
        if len(slots) == 1:
            _hours(axes, week, slots[0], span, top, px_per_hour)
        if slots:
            _lines(axes, sum(span) / 2, top + _WORDS_PX, _day_words(slots, evening, letters), INK)
        elif span[1] - span[0] >= _LEAST_LABEL_H:
            _why(axes, answers.get(day), evening, span, top, letters)


def _why(
    axes: Axes,
    answer: DayAnswer | None,
    evening: Evening,
    span: tuple[float, float],
    top: float,
    letters: int,
) -> None:
    """Say why a day has no slot; a dotted line where it is too early to say."""
    words = EARLY
    if answer is None or answer.early:
        axes.plot(span, [top + 68] * 2, color=QUIET, linewidth=1.1, linestyle=(0, (1, 3)))
    else:
        words = held_words(answer, evening)
    _lines(axes, sum(span) / 2, top + 48, wrapped(words, letters), QUIET)


def _lines(axes: Axes, middle: float, top: float, lines: Sequence[str], colour: str) -> None:
    """Centre lines of small print; one text each, so that another font stays centred too."""
    for number, line in enumerate(lines):
        axes.text(middle, top + number * _LINE_PX, line, ha="center", va="baseline", fontsize=SMALL,
                  color=colour)  # fmt: skip


def _bracket(axes: Axes, week: pd.DataFrame, slot: Slot, top: float) -> None:
    start, end = hour_of(week, slot.start), hour_of(week, slot.end)
    axes.plot([start, start, end, end], [top + 50, top + 43, top + 43, top + 50], color=INK,
              linewidth=2.4, solid_capstyle="butt", solid_joinstyle="miter")  # fmt: skip


def _hours(
    axes: Axes,
    week: pd.DataFrame,
    slot: Slot,
    span: tuple[float, float],
    top: float,
    px_per_hour: float,
) -> None:
    """Put the hours over a bracket, inside of their day where they fit.

    In a narrow day they are smaller, so that they do not run into those of the next.
    """
    middle, half = hour_of(week, slot.start) + slot.duration_h / 2, _HOURS_PX / px_per_hour / 2
    low, high = span[0] + half, span[1] - half
    middle = min(max(middle, low), high) if low <= high else sum(span) / 2
    narrow = (span[1] - span[0]) * px_per_hour < _HOURS_PX + _APART_PX
    axes.text(middle, top + 39, hours_words(slot.start, slot.end), ha="center", va="bottom",
              fontsize=SMALL if narrow else TEXT, color=INK, fontweight="bold")  # fmt: skip


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
    """Draw the week; call it inside `spraywindow.show.plots.look`.

    Parameters
    ----------
    week : DataFrame
        From `spraywindow.jobs.slots.tracks.week_weather`, or some of its rows.
    evenings : sequence of Evening
        One a material; the limits drawn are those of the first.
    width_px : float
        Width on screen; the height follows.
    whole : DataFrame, optional
        The week that `week` is a part of: it sets the scales.
    """
    first = evenings[0]
    narrow = width_px < _NARROW_PX
    room_px = width_px - 2 * _EDGE_PX if narrow else None
    inner = width_px - LEFT_PX - RIGHT_PX
    band_px = DAYS_PX + len(evenings) * row_height_px(week, evenings, inner / len(week))
    figure = new_figure(width_px, band_px)  # the tracks' words tell how high it becomes
    band, *tracks = (figure.add_axes((0, 0, 1, 1)) for _ in range(1 + len(TRACKS)))
    for axes in (band, *tracks):
        axes.set_xlim(0, len(week))
        bare(axes)
    draw_slots(band, week, evenings, px_per_hour=inner / len(week))
    titles = []
    for axes, track in zip(tracks, TRACKS, strict=True):
        draw_nights(axes, week)
        titles.append(track(axes, week, first, week if whole is None else whole))
        _slot_edges(axes, week, first)
    lines = max(len(name_lines(words, room_px)) for _, words in titles) if room_px else 0
    gap = GAP_PX + LINE_PX * lines
    height = band_px + len(TRACKS) * (TRACK_PX + gap) + FOOT_PX
    set_height(figure, height)
    top = 0.0
    for axes, tall in zip((band, *tracks), (band_px, *[TRACK_PX] * len(tracks)), strict=True):
        axes.set_position(
            (LEFT_PX / width_px, 1 - (top + tall) / height, inner / width_px, tall / height)
        )
        top += tall + gap
    for axes, (name, words) in zip(tracks, titles, strict=True):
        name_track(axes, name, words, room_px=room_px, left_px=(LEFT_PX - _EDGE_PX) * narrow)
    _clock_hours(tracks[-1], week, px_per_hour=inner / len(week))
    return figure


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

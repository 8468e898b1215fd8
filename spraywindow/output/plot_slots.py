"""The coming week's slots as brackets, a row a material, with what opens and closes them."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spraywindow.orchard.evening import Answer, Evening
from spraywindow.output.notices import EARLY
from spraywindow.output.plots import GRID, INK, QUIET, SMALL, TEXT, wrapped
from spraywindow.output.slot_words import closing_words, held_words, hours_words, opening_words
from spraywindow.output.week import local_days
from spraywindow.output.words import day_words
from spraywindow.spray.slots import Slot

if TYPE_CHECKING:
    from matplotlib.axes import Axes

DAYS_PX, _NAME_PX, _WORDS_PX, _LEAST_LINES = 28, 20, 62, 2
_NAME_LEFT_PX = 42
_CHARACTER_PX, _LINE_PX, _HOURS_PX = 5.7, 11.5, 82
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
        From `spraywindow.output.week.week_weather`, or some of its rows.
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
    answer: Answer | None,
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
    """Put the hours over a bracket, inside of their day where they fit."""
    middle, half = hour_of(week, slot.start) + slot.duration_h / 2, _HOURS_PX / px_per_hour / 2
    low, high = span[0] + half, span[1] - half
    middle = min(max(middle, low), high) if low <= high else sum(span) / 2
    axes.text(middle, top + 39, hours_words(slot.start, slot.end), ha="center", va="bottom",
              fontsize=TEXT, color=INK, fontweight="bold")  # fmt: skip

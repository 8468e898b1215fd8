"""The season in past winters as one picture: usable mornings a week, and the chance to finish."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from spraywindow.days import day_words
from spraywindow.errors import InputError
from spraywindow.show import (
    EDGE,
    GRID,
    INK,
    LINE_PX,
    NIGHT,
    PAPER,
    QUIET,
    SMALL,
    WIDE_PX,
    bare,
    check_suffix,
    look,
    name_track,
    new_figure,
    save_picture,
)
from spraywindow.winters import WEEK_D, SeasonOutlook, wilson_interval

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEFT_PX, RIGHT_PX, TOP_PX = 46, 14, 44
WEEKS_PX, STARTS_PX, GAP_PX, FOOT_PX = 100, 200, 44, 24
WANTED = (0.8, 0.9)
SEASON_LEGEND = (
    "Above, each ring is one past winter with so many usable mornings in that week; where the "
    "rings would not fit, a figure counts them. Fewer in a week: in the other winters the season "
    "had ended. Below, the share of winters that finish when nothing is done before a day; the "
    "brackets span the starts that are early enough."
)
_MARK_PX, _RING_PX, _RINGS_SHARE = 4.8, 4.0, 0.95
"""Step between rings and their size; the share of a week's width that rings may fill."""
_NARROW_PX, _EDGE_PX, _BEFORE_D = 600, 6, 2


def draw_season(outlook: SeasonOutlook, *, width_px: float = WIDE_PX) -> Figure:
    """Draw the season from day 0 on; call it inside `spraywindow.show.plots.look`.

    Parameters
    ----------
    outlook : SeasonOutlook
        With at least one winter used.
    width_px : float
        Width on screen; the height follows.
    """
    count = len(outlook.season.materials)
    narrow = width_px < _NARROW_PX
    more = LINE_PX * narrow  # a second line of words
    height = TOP_PX + count * (WEEKS_PX + GAP_PX) + STARTS_PX + FOOT_PX + more * (count + 1)
    figure = new_figure(width_px, height)
    inner = width_px - LEFT_PX - RIGHT_PX

    def axes_at(top_px: float, tall_px: float) -> Axes:
        axes = figure.add_axes((LEFT_PX / width_px, 1 - (top_px + tall_px) / height,
                                inner / width_px, tall_px / height))  # fmt: skip
        bare(axes)
        axes.set_xlim(-_BEFORE_D, season_days(outlook))
        return axes

    def name(axes: Axes, title: str, words: str) -> None:
        room = width_px - (2 * _EDGE_PX if narrow else LEFT_PX)
        name_track(axes, title, words, room_px=room, left_px=(LEFT_PX - _EDGE_PX) * narrow)

    top = float(TOP_PX + more)
    per_day = inner / (season_days(outlook) + _BEFORE_D)
    ringed = rings_fit(outlook, px_per_day=per_day)
    for number, material in enumerate(outlook.season.materials):
        axes = axes_at(top, WEEKS_PX)
        draw_weeks(axes, outlook, number, px_per_day=per_day, ringed=ringed)
        ours = "; diamond: as forecast" if outlook.spliced else ""
        name(
            axes,
            f"Usable mornings a week, {material.name}",
            f"{'a ring a winter' if ringed else 'figures: winters'}; bar: their middle{ours}",
        )
        top += WEEKS_PX + GAP_PX + more
    axes = axes_at(top, STARTS_PX)
    draw_starts(axes, outlook)
    name(
        axes,
        "Chance to finish, by first day of work",
        f"of {outlook.finish_coming.n} winters; shade: in the long run; diamond: this year",
    )
    _dates(axes, outlook, months=narrow)
    return figure


def season_days(outlook: SeasonOutlook) -> int:
    """Days from day 0 to the end of the longest winter, in whole weeks; at least 4."""
    known = np.flatnonzero(~np.isnan(outlook.weekly).all(axis=(1, 2)))
    weekly = int(known[-1]) + 1 if known.size else 0
    return WEEK_D * max(weekly, 4)


def rings_fit(outlook: SeasonOutlook, *, px_per_day: float) -> bool:
    """Whether the rings of every week stand side by side in its width."""
    weeks = outlook.weekly.reshape(-1, outlook.weekly.shape[-1])
    most = max(int(np.unique(row[~np.isnan(row)], return_counts=True)[1].max(initial=0))
               for row in weeks)  # fmt: skip
    return most * _MARK_PX <= _RINGS_SHARE * WEEK_D * px_per_day


def draw_weeks(
    axes: Axes, outlook: SeasonOutlook, number: int, *, px_per_day: float, ringed: bool
) -> None:
    """A ring for each winter's usable mornings in each week, side by side where equal.

    A figure counts the winters instead where `ringed` is false.

    Parameters
    ----------
    axes : Axes
        x in days from day 0.
    outlook : SeasonOutlook
    number : int
        Of the material in the program's order.
    px_per_day : float
        Width of a day on screen.
    ringed : bool
        See `rings_fit`.
    """
    for week, row in enumerate(outlook.weekly[:, number]):
        middle = (week + 0.5) * WEEK_D
        if week:
            axes.axvline(week * WEEK_D, color=GRID, linewidth=0.5, zorder=0)
        known = row[~np.isnan(row)]
        if not known.size:
            continue
        values, counts = np.unique(known, return_counts=True)
        for value, many in zip(values, counts, strict=True):
            if ringed:
                spread = (np.arange(many) - (many - 1) / 2) * _MARK_PX / px_per_day
                axes.plot(middle + spread, np.full(many, value), linestyle="none", marker="o",
                          markersize=_RING_PX, markerfacecolor=PAPER, markeredgecolor=INK,
                          markeredgewidth=0.9)  # fmt: skip
            else:
                axes.text(middle, value, str(many), ha="center", va="center_baseline",
                          fontsize=SMALL, color=INK,
                          bbox={"facecolor": PAPER, "linewidth": 0, "pad": 1.0})  # fmt: skip
        half = 0.44 * WEEK_D
        axes.plot([middle - half, middle + half], [np.median(known)] * 2, color=EDGE,
                  linewidth=2.0, zorder=1)  # fmt: skip
        if week == 0 and outlook.spliced:
            axes.plot([middle], [np.median(known)], marker="D", markersize=13, color=EDGE,
                      markerfacecolor="none", zorder=3)  # fmt: skip
    axes.set_ylim(-0.6, WEEK_D + 0.4)
    _left(axes, [0, WEEK_D], ["0", str(WEEK_D)])


def draw_starts(axes: Axes, outlook: SeasonOutlook) -> None:
    """The share of winters that finish when nothing is done before a day, with its interval.

    Parameters
    ----------
    axes : Axes
        x in days from day 0.
    outlook : SeasonOutlook
    """
    shares = outlook.start_shares
    days = np.arange(len(shares))
    n = outlook.finish_coming.n
    low, high = np.array([wilson_interval(round(share * n), n) for share in shares]).T
    axes.fill_between(days, low, high, color=NIGHT, linewidth=0, step="post")
    axes.step(days, shares, where="post", color=INK, linewidth=2.0)
    for number, wanted in enumerate(WANTED):
        axes.axhline(wanted, color=EDGE, linewidth=1.1, linestyle=(0, (5, 2.5)), zorder=1)
        start = outlook.latest_start.get(round(100 * wanted))
        if start is not None:
            _start_by(axes, start, outlook, wanted, 1.17 + 0.24 * number)
    axes.plot([0.5], [shares[0]], marker="D", markersize=9, color=INK, zorder=4, clip_on=False)
    axes.set_ylim(0, 1.6)
    _left(axes, [0, *WANTED, 1], ["0", *(f"{100 * wanted:.0f}" for wanted in WANTED), "100 %"])
    axes.spines["left"].set_bounds(0, 1)
    axes.spines["bottom"].set_visible(True)


def _start_by(
    axes: Axes, start: dt.date, outlook: SeasonOutlook, wanted: float, height: float
) -> None:
    """A bracket over the days on which a start is early enough."""
    end = (start - outlook.season.first).days + 1
    axes.plot([0, 0, end, end], [height - 0.07, height, height, height - 0.07], color=INK,
              linewidth=2.4, solid_capstyle="butt", solid_joinstyle="miter",
              clip_on=False)  # fmt: skip
    axes.annotate(f"start by {day_words(start)}: {100 * wanted:.0f} %", (end, height),
                  xytext=(6, -2), textcoords="offset points", fontsize=SMALL, color=INK,
                  va="center")  # fmt: skip


def _left(axes: Axes, ticks: list[float], labels: list[str]) -> None:
    axes.set_yticks(ticks, labels)
    axes.tick_params(axis="y", length=3, labelleft=True, labelsize=SMALL, pad=3, color=QUIET)
    axes.spines["left"].set_visible(True)


def _dates(axes: Axes, outlook: SeasonOutlook, *, months: bool) -> None:
    """Dates under the lowest panel: every week's first day, or every second one."""
    first, step = outlook.season.first, WEEK_D * (2 if months else 1)
    days = list(range(0, season_days(outlook), step))
    dates = [first + dt.timedelta(days=day) for day in days]
    axes.set_xticks(days, [f"{date.day} {date:%b}" for date in dates])
    axes.tick_params(axis="x", length=3, labelbottom=True, labelsize=SMALL, pad=3, color=QUIET)


def season_words(outlook: SeasonOutlook) -> str:
    """The picture in words, for who does not see it."""
    n = outlook.finish_coming.n
    hits = round(outlook.finish_coming.share * n)
    lines = [f"Started on {day_words(outlook.season.first)}, the {outlook.owed} rounds owed fit in "
             f"{hits} of {n} past winters."]  # fmt: skip
    lines += [
        f"Latest start for {per_cent} %: {day_words(day) if day else 'none'}."
        for per_cent, day in outlook.latest_start.items()
    ]
    for number, material in enumerate(outlook.season.materials):
        weeks = [row[~np.isnan(row)] for row in outlook.weekly[:, number]]
        middles = ", ".join(f"{np.median(week):g}" for week in weeks if week.size)
        lines.append(f"Usable mornings for {material.name} in the middle winter, week by week: "
                     f"{middles}.")  # fmt: skip
    return " ".join(lines)


def save_season_picture(path: Path, outlook: SeasonOutlook, site_name: str) -> None:
    """Write the season's picture as PNG or SVG, by the suffix.

    Raises
    ------
    InputError
        If no past winter was used, or the file cannot be written as such a picture.
    """
    check_suffix(path)
    if not outlook.season.labels:
        raise InputError("no picture", where=str(path), expected="a past winter to draw")
    with look():
        labels = outlook.season.labels
        foot = f"By {len(labels)} past winters, {labels[0]} to {labels[-1]}. {SEASON_LEGEND}"
        title = f"{site_name}: the season from {day_words(outlook.season.first)}"
        save_picture(draw_season(outlook), path, title, foot)

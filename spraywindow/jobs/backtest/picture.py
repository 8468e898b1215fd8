"""The backtest as one picture: the rounds that each rule made, and how many were rained on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from spraywindow.errors import InputError
from spraywindow.jobs.backtest.answer import SiteBacktest
from spraywindow.show import (
    EDGE,
    HATCH,
    INK,
    QUIET,
    SMALL,
    TEXT,
    WIDE_PX,
    bare,
    check_suffix,
    look,
    new_figure,
    save_picture,
)
from spraywindow.spray import Material
from spraywindow.winters import RuleResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SOON_H, WANTED_H = 24, 72
BACKTEST_LEGEND = (
    f"A bar: rounds a winter; at its end, of materials that want so many rain-free hours, those "
    f"that measurable rain followed: solid within {SOON_H} h, hatched within {WANTED_H} h."
)
SIDE_PX, TOP_PX, ROW_PX, FOOT_PX = 14, 40, 58, 40
_BAR = 0.34


def draw_backtest(replayed: SiteBacktest, *, width_px: float = WIDE_PX) -> Figure:
    """Draw the rules below each other; call it inside `spraywindow.show.plots.look`.

    Parameters
    ----------
    replayed : SiteBacktest
        With at least one winter.
    width_px : float
        Width on screen; the height follows.
    """
    height = TOP_PX + ROW_PX * len(replayed.results) + FOOT_PX
    figure = new_figure(width_px, height)
    axes = figure.add_axes((SIDE_PX / width_px, FOOT_PX / height, 1 - 2 * SIDE_PX / width_px,
                            1 - (TOP_PX + FOOT_PX) / height))  # fmt: skip
    bare(axes)
    wanted = replayed.rounds_wanted
    axes.set_xlim(0, max(wanted, *(float(each.rounds.mean()) for each in replayed.results)) * 1.02)
    axes.set_ylim(len(replayed.results), 0)
    axes.annotate(f"{wanted} rounds wanted", (wanted, 0), xytext=(0, 4), ha="right",
                  textcoords="offset points", fontsize=SMALL, color=EDGE,
                  annotation_clip=False)  # fmt: skip
    names = run_names(replayed.results)
    for row, result in enumerate(replayed.results):
        draw_rule(axes, result, replayed.season.materials, row + 0.66)
        axes.plot([wanted] * 2, [row + 0.4, row + 0.92], color=EDGE, linewidth=1.1,
                  linestyle=(0, (5, 2.5)))  # fmt: skip
        axes.annotate(names[row], (0, row + 0.42), fontsize=TEXT, fontweight="bold", color=INK,
                      va="bottom")  # fmt: skip
        axes.annotate(rule_words(result, replayed.season.materials), (wanted, row + 0.42),
                      xytext=(-6, 0), textcoords="offset points", fontsize=SMALL, color=QUIET,
                      ha="right", va="bottom")  # fmt: skip
    axes.set_xticks(range(wanted + 1))
    axes.tick_params(axis="x", length=3, labelbottom=True, labelsize=SMALL, color=QUIET, pad=3)
    words = f"rounds a winter, mean of {len(replayed.season.labels)}"
    axes.set_xlabel(words, fontsize=SMALL, color=QUIET, loc="left")
    return figure


def draw_rule(axes: Axes, result: RuleResult, materials: Sequence[Material], middle: float) -> None:
    """One rule's bar: rounds a winter, those rained on too soon at its end.

    Parameters
    ----------
    axes : Axes
        x in rounds a winter.
    result : RuleResult
    materials : sequence of Material
        In the program's order.
    middle : float
        Where the bar stands on y.
    """
    rounds = float(result.rounds.mean())
    soon, later = spoiled_rounds(result, materials)
    axes.barh(middle, rounds, height=_BAR, facecolor="none", edgecolor=INK, linewidth=1.2)
    axes.barh(middle, later, left=rounds - soon - later, height=_BAR, facecolor="none",
              edgecolor=EDGE, hatch=HATCH, linewidth=0)  # fmt: skip
    axes.barh(middle, soon, left=rounds - soon, height=_BAR, facecolor=EDGE, linewidth=0)


def run_names(results: Sequence[RuleResult]) -> list[str]:
    """Names of the rules; the runs of one rule are numbered."""
    names = [result.name for result in results]
    return [
        f"{name} ({names[: row + 1].count(name)})" if names.count(name) > 1 else name
        for row, name in enumerate(names)
    ]


def wanting(materials: Sequence[Material], hours: int) -> list[int]:
    """Numbers of the materials that want at least so many hours without rain afterwards."""
    return [number for number, each in enumerate(materials) if each.dry_spell_h >= hours]


def spoiled_rounds(result: RuleResult, materials: Sequence[Material]) -> tuple[float, float]:
    """Rounds a winter that rain followed within 24 h, and those after that within 72 h.

    Only of the materials that want so many hours without rain.
    """
    rain, winters = result.outcomes.rain, max(result.made.shape[2], 1)
    soon = rain[SOON_H][:, wanting(materials, SOON_H)]
    later = (rain[WANTED_H] & ~rain[SOON_H])[:, wanting(materials, WANTED_H)]
    return float(soon.sum() / winters), float(later.sum() / winters)


def rule_words(result: RuleResult, materials: Sequence[Material]) -> str:
    """A rule's figures: rounds a winter, and the shares of them rained on too soon."""
    parts = []
    for hours in (SOON_H, WANTED_H):
        numbers = wanting(materials, hours)
        made = int(result.made[:, numbers].sum())
        if made:
            share = result.outcomes.rain[hours][:, numbers].sum() / made
            whose = (
                ""
                if len(numbers) == len(materials)
                else " of " + " and ".join(materials[number].name for number in numbers)
            )
            parts.append(f"{100 * share:.0f} %{whose} within {hours} h")
    rained = f"; rained on: {', '.join(parts)}" if parts else ""
    return f"{result.rounds.mean():.1f} rounds{rained}"


def save_backtest_picture(path: Path, replayed: SiteBacktest) -> None:
    """Write the picture as PNG or SVG, by the suffix.

    Raises
    ------
    InputError
        If no winter was replayed, the suffix is another one, matplotlib is missing, or the file
        cannot be written.
    """
    check_suffix(path)
    if not replayed.season.labels:
        raise InputError("no picture", where=str(path), expected="a winter replayed")
    with look():
        labels = replayed.season.labels
        title = f"{replayed.site.name}: {len(labels)} past winters, {labels[0]} to {labels[-1]}"
        save_picture(draw_backtest(replayed), path, title, BACKTEST_LEGEND)

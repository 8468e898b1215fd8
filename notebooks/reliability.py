"""Whether stated chances came true: CORP reliability, the parts of the Brier score, and figures.

`chances.ipynb` draws with it; needs scipy, which the package itself does not.

The curve is the isotonic regression of what came on what was said, by pooling adjacent violators:
no bins to choose. With it the Brier score falls apart as ``score = miscalibration - discrimination
+ uncertainty``: what recalibration would save, what the recalibrated chances save over the base
rate, and the base rate's own score [1]_.

References
----------
.. [1] Dimitriadis, Gneiting, Jordan (2021), Stable reliability diagrams for probabilistic
   classifiers, Proceedings of the National Academy of Sciences 118:e2016191118.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.optimize import isotonic_regression

from spraywindow.show import (
    EDGE,
    GRID,
    INK,
    NIGHT,
    PAPER,
    QUIET,
    SMALL,
    inline_svg,
    look,
    new_figure,
)
from spraywindow.show.plots import VARIABLES

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDE_PX = 760
DRAWS = 400
"""Resamples of a band or an interval."""
BAND = (0.05, 0.95)


@dataclass(frozen=True, eq=False)
class Corp:
    """A reliability curve and the parts of the Brier score.

    Attributes
    ----------
    said, came : array [value]
        Each chance that was said, rising, and its recalibrated one [0-1].
    cases : array [value]
        How often it was said.
    score, miscalibration, discrimination, uncertainty : float
        Brier score and its parts.
    """

    said: np.ndarray
    came: np.ndarray
    cases: np.ndarray
    score: float
    miscalibration: float
    discrimination: float
    uncertainty: float

    @property
    def skill(self) -> float:
        """Brier skill over the base rate of these cases; NaN where all came, or none."""
        if self.uncertainty == 0.0:
            return float("nan")
        return (self.discrimination - self.miscalibration) / self.uncertainty


def corp(said: np.ndarray | pd.Series, held: np.ndarray | pd.Series) -> Corp:
    """Recalibrate chances [0-1] by what came (0 or 1), and take the Brier score apart."""
    chance, event = np.asarray(said, dtype=float), np.asarray(held, dtype=float)
    values, at, cases = np.unique(chance, return_inverse=True, return_counts=True)
    came = isotonic_regression(np.bincount(at, weights=event) / cases, weights=cases).x
    score = float(np.mean((chance - event) ** 2))
    recalibrated = float(np.mean((came[at] - event) ** 2))
    base = float(np.var(event))
    return Corp(values, came, cases, score, score - recalibrated, base - recalibrated, base)


def consistency_band(
    said: np.ndarray, cases: np.ndarray, at: np.ndarray, draws: int = DRAWS, seed: int = 1
) -> tuple[np.ndarray, np.ndarray]:
    """Where the curve would lie, nine times in ten, if every chance were true.

    Parameters
    ----------
    said, cases : array [value]
        As in `Corp`.
    at : array [point]
        Chances to give the band at.
    draws, seed : int
        Outcomes are drawn anew so many times, each case by itself: cases that share their weather
        would have a wider band.

    Returns
    -------
    tuple of array [point]
        Lower and upper end.
    """
    dice = np.random.default_rng(seed)
    curves = [
        np.interp(at, said, isotonic_regression(drawn / cases, weights=cases).x)
        for drawn in dice.binomial(cases, said, size=(draws, len(cases)))
    ]
    low, high = np.quantile(curves, BAND, axis=0)
    return low, high


def doubts(panels: Mapping[str, Corp], least: float = 0.1) -> str:
    """Where the curves leave their bands, in words: of panels with so great a share of cases."""
    found = []
    for title, each in panels.items():
        low, high = consistency_band(each.said, each.cases, each.said)
        for words, off in (("too sure", each.came < low), ("too careful", each.came > high)):
            share = each.cases[off].sum() / each.cases.sum()
            if share >= least:
                found.append(f"{title} {words} in {share:.0%} of the cases")
    if not found:
        return "No curve leaves its band in more than a tenth of the cases."
    return f"Outside the band (a tenth is luck): {'; '.join(found)}."


def skill_interval(
    said: pd.Series, held: pd.Series, block: pd.Series, draws: int = DRAWS, seed: int = 1
) -> tuple[float, float]:
    """Nine tenths of the Brier skills that whole blocks (weeks), drawn anew, give."""
    each = pd.DataFrame({"loss": (said - held) ** 2, "held": held, "n": 1.0})
    sums = each.groupby(block.to_numpy()).sum().to_numpy()
    drawn = np.random.default_rng(seed).integers(0, len(sums), (draws, len(sums)))
    loss, came, n = np.moveaxis(sums[drawn].sum(axis=1), -1, 0)
    base = came / n
    skills = 1.0 - loss / n / (base * (1.0 - base))
    low, high = np.nanquantile(skills[np.isfinite(skills)], BAND)
    return float(low), float(high)


def calibration_error(said: pd.Series, held: pd.Series) -> float:
    """Mean distance of said and came over tenths of what was said, weighed by their cases."""
    tenth = np.minimum((np.asarray(said) * 10).astype(int), 9)
    return float(np.abs(np.bincount(tenth, weights=np.asarray(said - held))).sum() / len(said))


def reliability_panel(axes: Axes, result: Corp, title: str) -> None:
    """Draw a CORP diagram: the curve, the band of true chances, and how often each was said."""
    at = np.linspace(result.said[0], result.said[-1], 41)
    low, high = consistency_band(result.said, result.cases, at)
    axes.fill_between(at, low, high, color=NIGHT, linewidth=0)
    axes.plot([0, 1], [0, 1], color=QUIET, linewidth=0.7, dashes=(4, 3))
    bins = np.linspace(0.0, 1.0, 21)
    counts, _ = np.histogram(result.said, bins, weights=result.cases)
    axes.bar(bins[:-1], 0.15 * counts / counts.max(), 0.05, align="edge", facecolor=PAPER,
             edgecolor=QUIET, linewidth=0.5)  # fmt: skip
    # the ends of each level, and the way between levels
    ends = np.r_[True, np.diff(result.came) != 0] | np.r_[np.diff(result.came) != 0, True]
    axes.plot(
        result.said[ends], result.came[ends], color=EDGE, linewidth=1.6, solid_capstyle="butt"
    )
    axes.set(xlim=(0, 1), ylim=(0, 1), aspect="equal", xticks=(0, 0.5, 1), yticks=(0, 0.5, 1))
    axes.set_facecolor("none")
    axes.tick_params(labelsize=SMALL, color=GRID)
    axes.set_title(title, fontsize=SMALL, loc="left", color=INK)
    axes.text(0.03, 0.97, f"n {result.cases.sum():,}\nskill {result.skill:.2f}", va="top",
              fontsize=SMALL, color=INK)  # fmt: skip


def reliability_figure(panels: Mapping[str, Corp]) -> Figure:
    """CORP diagrams side by side, three to a row, by their titles."""
    columns = min(len(panels), 3)
    rows = -(-len(panels) // columns)
    figure = new_figure(WIDE_PX if columns > 2 else 520, 255 * rows + 20)
    for number, (title, result) in enumerate(panels.items()):
        axes = figure.add_subplot(rows, columns, number + 1)
        reliability_panel(axes, result, title)
        if number % columns == 0:
            axes.set_ylabel("came", fontsize=SMALL)
        if number // columns == rows - 1:
            axes.set_xlabel("said", fontsize=SMALL)
    figure.subplots_adjust(left=0.08, right=0.98, top=1 - 24 / (255 * rows), bottom=40 / (255 * rows),
                           wspace=0.2, hspace=0.25)  # fmt: skip
    return figure


MARKS = (("o", "-", EDGE), ("s", "--", INK), ("^", ":", INK))
"""Sign, line and ink of each forecast, told apart without colour."""


def skill_figure(panels: Mapping[str, pd.DataFrame], lowest: float = -1.0) -> Figure:
    """Brier skill by lead.

    Parameters
    ----------
    panels : mapping of title to DataFrame [lead x forecast]
        Columns beside "low" and "high", the interval of the first one, are forecasts by name.
    lowest : float
        What lies below it is drawn at the edge, with its figure beside it.
    """
    figure = new_figure(WIDE_PX, 290)
    for number, (title, table) in enumerate(panels.items()):
        axes = figure.add_subplot(1, len(panels), number + 1)
        axes.axhline(0.0, color=QUIET, linewidth=0.7)
        axes.vlines(table.index, table.low, table.high, color=EDGE, linewidth=5, alpha=0.25)
        names = table.columns.drop(["low", "high"])
        for name, (sign, line, ink) in zip(names, MARKS, strict=True):
            values = table[name].clip(lower=lowest + 0.03)
            axes.plot(values, linestyle=line, marker=sign, markersize=5, color=ink, linewidth=1.2,
                      markerfacecolor=ink if sign == "o" else PAPER, label=name)  # fmt: skip
        axes.set(ylim=(lowest, 0.75), xticks=table.index)
        axes.set_xlabel("mornings ahead", fontsize=SMALL)
        axes.tick_params(labelsize=SMALL, color=GRID, labelleft=number == 0)
        axes.set_title(title, fontsize=SMALL, loc="left", color=INK)
        axes.set_facecolor("none")
    figure.axes[0].set_ylabel("Brier skill over the base rate", fontsize=SMALL)
    handles, labels = figure.axes[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="lower center", ncols=3, frameon=False, fontsize=SMALL)
    figure.subplots_adjust(left=0.08, right=0.99, top=0.92, bottom=0.26, wspace=0.06)
    return figure


def hours_figure(panels: Mapping[str, pd.DataFrame], late: int) -> Figure:
    """Nights by the sensor's first dry hour and the rule's, as discs by their number.

    Parameters
    ----------
    panels : mapping of title to DataFrame
        Columns ``sensor`` and ``rule``: local hours, `late` where there is none before it; and
        ``winter``, whether the night is one of the dark discs.
    late : int
    """
    figure = new_figure(WIDE_PX, 290)
    ticks = range(6, late + 1, 2)
    names = [f"{hour}" if hour < late else "later" for hour in ticks]
    for number, (title, table) in enumerate(panels.items()):
        axes = figure.add_subplot(1, len(panels), number + 1)
        for face, own in ((NIGHT, table), (EDGE, table[table.winter])):
            counts = own.groupby(["sensor", "rule"]).size().reset_index(name="n")
            axes.scatter(counts.sensor, counts.rule, s=4.0 * counts.n, facecolor=face,
                         edgecolor=EDGE, linewidth=0.7)  # fmt: skip
        axes.plot([5, late], [5, late], color=QUIET, linewidth=0.7, dashes=(4, 3))
        axes.set(xlim=(5, late + 0.8), ylim=(5, late + 0.8), aspect="equal")
        axes.set_xticks(ticks, names, fontsize=SMALL)
        axes.set_yticks(ticks, names, fontsize=SMALL)
        axes.tick_params(color=GRID, labelleft=number == 0)
        axes.set_title(title, fontsize=SMALL, loc="left", color=INK)
        axes.set_xlabel("first dry hour by the sensor", fontsize=SMALL)
        axes.set_facecolor("none")
    figure.axes[0].set_ylabel("by the rule", fontsize=SMALL)
    figure.subplots_adjust(left=0.09, right=0.99, top=0.92, bottom=0.16, wspace=0.06)
    return figure


STYLE = f"""body{{max-width:48rem;margin:2rem auto;padding:0 1rem;color:{INK};background:{PAPER};
font:1rem/1.5 'DejaVu Sans',sans-serif}}
svg{{width:100%;height:auto}}div{{overflow-x:auto}}h2{{margin-top:3rem}}h3{{margin-top:2rem}}
table{{border-collapse:collapse;font-size:.8rem}}
th,td{{padding:.1rem .5rem;text-align:right;border-bottom:1px solid {GRID}}}
@media print{{section{{break-inside:avoid}}}}"""


@dataclass(frozen=True)
class Section:
    """A piece of the page: its words, and the figure or the table that they stand beside.

    Attributes
    ----------
    title, words : str
    what : DataFrame, str or None
        A table, or a picture as from `picture`.
    """

    title: str
    words: str
    what: pd.DataFrame | str | None = None


def picture(draw: Callable[[], Figure], identity: str, title: str, words: str) -> str:
    """What is drawn, as SVG that stands alone or in a page."""
    with look(identity):
        svg = inline_svg(draw(), identity, title, words)
    for ink, name in VARIABLES.items():
        svg = svg.replace(f"var({name})", ink)
    return svg.replace(
        "<svg ",
        '<svg xmlns="http://www.w3.org/2000/svg" font-family="\'DejaVu Sans\',sans-serif" ',
        1,
    )


def page(title: str, foot: str, sections: Sequence[Section]) -> str:
    """One page of pictures, tables and words; it loads nothing."""
    parts = []
    for each in sections:
        level, body = ("h2", "") if each.what is None else ("h3", each.what)
        if isinstance(body, pd.DataFrame):
            body = f"<div>{body.to_html(border=0, na_rep='–')}</div>"
        head = f"<{level}>{escape(each.title)}</{level}>"
        parts.append(f"<section>{head}{body}<p>{escape(each.words)}</p></section>")
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width">'
        f"<title>{escape(title)}</title><style>{STYLE}</style><h1>{escape(title)}</h1>"
        f"{''.join(parts)}<p>{escape(foot)}</p></html>\n"
    )

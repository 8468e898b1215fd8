"""A map of a region's sites: how many winters finish, and the latest start; or usable mornings."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.ticker import Formatter, MaxNLocator

from spraywindow.errors import InputError
from spraywindow.region import answers
from spraywindow.show import INK, PAPER, QUIET, SMALL, look, new_figure, save_picture

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

WIDE, HIGH = 760.0, 380.0


def save_region_map(path: Path, store: Path) -> None:
    """Draw what a store of answers says of its sites, as PNG or SVG.

    Parameters
    ----------
    path : Path
    store : Path
        Answers of `season_region` or `usable_mornings`.

    Raises
    ------
    InputError
        If no site is used, or the picture cannot be written.
    """
    from matplotlib.colors import LinearSegmentedColormap

    with answers(store) as data:
        panels = _panels(data)
        north, east = (
            data[name].broadcast_like(data["site_state"]).to_numpy().ravel()
            for name in ("latitude", "longitude")
        )
        credit = str(data.attrs.get("credit", ""))
    if not any(np.isfinite(values).any() for _, values, _ in panels):
        raise InputError("no site to draw", where=str(store))
    with look():
        figure = new_figure(WIDE, HIGH)
        shades = LinearSegmentedColormap.from_list("ink", [PAPER, INK])
        size = float(np.clip(9000.0 / max(len(north), 1), 4.0, 90.0))
        for number, (title, values, words) in enumerate(panels):
            axes = figure.add_axes((0.07 + 0.5 * number, 0.1, 0.38, 0.8))
            _draw(axes, east, north, values, size, shades, share=words is None)
            axes.set_title(title, fontsize=SMALL + 1, color=INK, loc="left")
            if np.isfinite(values).any():
                ticks = None if words is None else MaxNLocator(integer=True)
                bar = figure.colorbar(axes.collections[-1], ax=axes, fraction=0.05, ticks=ticks)
                bar.ax.tick_params(labelsize=SMALL - 1)
                if words is not None:
                    bar.ax.yaxis.set_major_formatter(_Scale(words))
        foot = (
            "A disc a site, the darker the more, or the later; a cross: left out, unknown, or no "
            "start that reaches the share."
        )
        save_picture(figure, path, f"{len(north)} sites", f"{foot} Weather: {credit or 'unnamed'}")


class _Scale(Formatter):
    """Ticks in words."""

    def __init__(self, words: Callable[[float], str]) -> None:
        self.words = words

    def __call__(self, value: float, pos: int | None = None) -> str:
        return self.words(value)


def _draw(
    axes: Axes, east: Any, north: Any, values: Any, size: float, shades: Any, *, share: bool
) -> None:
    known = np.isfinite(values)
    axes.scatter(east[~known], north[~known], s=size, marker="x", c=QUIET, linewidths=0.7)
    axes.scatter(
        east[known], north[known], s=size, c=values[known], cmap=shades, edgecolors=INK,
        linewidths=0.6, vmin=0.0 if share else None, vmax=1.0 if share else None,
    )  # fmt: skip
    axes.set_xlabel("longitude", fontsize=SMALL, color=QUIET)
    axes.set_ylabel("latitude", fontsize=SMALL, color=QUIET)
    axes.tick_params(labelsize=SMALL - 1)
    axes.set_facecolor("none")


def _panels(data: xr.Dataset) -> list[tuple[str, Any, Any]]:
    """Title, values by site, and how the scale writes a value."""
    if "finish_share" in data:
        first = dt.date.fromisoformat(str(data.attrs["first"]))

        def day(days: float) -> str:
            return f"{first + dt.timedelta(days=round(days)):%-d %b}"

        return [
            ("Share of winters that finish", data["finish_share"].to_numpy().ravel(), None),
            ("Latest start, 80 % finish", data["latest_start_80"].to_numpy().ravel(), day),
        ]
    usable = data["usable"].where(data["usable"] >= 0).mean("day")
    return [
        (f"Usable share of days, {name}", usable.sel(material=name).to_numpy().ravel(), None)
        for name in data["material"].to_numpy()[:2]
    ]

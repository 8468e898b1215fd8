"""What is asked of every site of a region, and what a run found, in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from spraywindow.region import Ran, answers, score_region, season_region, usable_mornings
from spraywindow.show import LABEL
from spraywindow.site import Site, block_need, season_leaf_fall, season_start

if TYPE_CHECKING:
    import xarray as xr

NAMED = 20
"""Most sites that are named in a line."""
OFTEN = 0.8


def asked(
    site: Site, today: dt.date, question: str, *, limits: bool = False
) -> tuple[Callable[[xr.Dataset], xr.Dataset], str]:
    """The question put to a dataset, with what a site file says, and its words in full.

    Parameters
    ----------
    site : Site
        Its program, materials, setting, working hours and largest block hold at all sites.
    today : date
        Of the season to come.
    question : {"hours", "mornings", "season"}
    limits : bool
        Whether hours come with the margins of each limit.
    """
    materials = {name: site.material(name) for name in site.program.materials}
    every = tuple(materials.values())
    work: partial[xr.Dataset]
    if question == "hours":
        work = partial(score_region, material=every, setting=site.setting, limits=limits)
    elif question == "mornings":
        work = partial(
            usable_mornings, material=every, setting=site.setting, access=site.access,
            duration_h=site.job_h,
        )  # fmt: skip
    else:
        start = season_start(today, site)
        if today >= season_leaf_fall(site, start):
            start = season_start(start + dt.timedelta(days=400), site)
        fall = season_leaf_fall(site, start)
        largest = max(site.blocks, key=lambda block: block.trees)
        work = partial(
            season_region, program=site.program.not_begun(), materials=materials, first=fall,
            need=block_need(largest, site, None)[1], setting=site.setting, access=site.access,
            duration_h=site.job_h,
        )  # fmt: skip
    return work, repr((question, *sorted(work.keywords.items())))


def region_text(ran: Ran, out: Path) -> str:
    """What a run did, and the sites that are left out or failed, by name."""
    lines = [f"{out}: {ran.blocks} blocks of sites"]
    if ran.found:
        lines[0] += f", {ran.found} of them from an earlier run"
    lines += [f"  {note}" for note in ran.notes]
    for why, names in ran.left_out.items():
        more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
        lines.append(f"! {why}: {', '.join(names[:NAMED])}{more}")
    lines += [f"! failed, run again to try once more: {names}; {why}" for names, why in ran.failed]
    return "\n".join([*lines, *_found(out), f"! {LABEL}"])


def _found(out: Path) -> list[str]:
    """How many winters finish over the sites, in a line, and the weather's credit."""
    with answers(out) as data:
        lines = [f"Weather: {data.attrs['credit']}"] if data.attrs.get("credit") else []
        if "finish_share" not in data:
            return lines
        shares = data["finish_share"].to_numpy().ravel()
    shares = shares[np.isfinite(shares)]
    if not len(shares):
        return lines
    low, middle, high = 100 * np.quantile(shares, (0.0, 0.5, 1.0))
    often = np.count_nonzero(shares >= OFTEN)
    return [
        f"{len(shares)} sites: the program fits in {middle:.0f} % of the winters at the middle "
        f"one, {low:.0f} % at the worst, {high:.0f} % at the best; in 8 of 10 or more at {often}",
        *lines,
    ]

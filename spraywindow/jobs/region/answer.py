"""What is asked of every site of a region, and what a run found, in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from spraywindow.region import Ran, score_region, season_region, usable_mornings
from spraywindow.site import Site, block_need, season_leaf_fall, season_start

if TYPE_CHECKING:
    import xarray as xr

NAMED = 20
"""Most sites that are named in a line."""


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
    return "\n".join(lines)

"""What the season's tests share: the demo's invented winters, a site, a program."""

from __future__ import annotations

import datetime as dt
from functools import cache

import pandas as pd

from spraywindow.program.program import Program
from spraywindow.site.site import Site, read_site
from spraywindow.sources.demo.samples import DEMO_PLACE, demo_winters, sample_path
from spraywindow.spray.access import Access
from spraywindow.spray.catalogue import COPPER, OIL
from spraywindow.trees.cultivar_groups import cultivar_group
from spraywindow.trees.flowering import Need
from spraywindow.winters.past import PastWinters, past_season

MATERIALS = {"oil": OIL, "copper": COPPER}
PROGRAM = Program.of(oil=(3, 5), copper=(5, 5), between=2)
FIRST = dt.date(2025, 12, 2)
NEED = Need(cultivar_group("low chill peach"))
ACCESS = Access(8.0, 17.0, frozenset(range(6)))


@cache
def winters() -> pd.DataFrame:
    return demo_winters()


@cache
def late_winters() -> pd.DataFrame:
    """The last four, where more of them would tell no more."""
    return winters().loc["2021-09":]


@cache
def season() -> PastWinters:
    return past_season(
        winters(), DEMO_PLACE, PROGRAM, MATERIALS, first=FIRST, need=NEED, access=ACCESS
    )


def site() -> Site:
    return read_site(sample_path("orchard.toml"))

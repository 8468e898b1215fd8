"""The demo's evening, its page, and sites with names that bite."""

from __future__ import annotations

import tomllib
from functools import cache
from typing import Any

import pandas as pd

from spraywindow.jobs.season.answer import SeasonAnswer, prospect
from spraywindow.jobs.slots.answer import Evening
from spraywindow.jobs.slots.first import tonight
from spraywindow.site.site import Site, site_of
from spraywindow.sources.demo.samples import DEMO_NOW, demo_forecast, demo_winters, sample_path

BITING = "Böse <script>alert('x')</script> \"Hof\" & Söhne $x$"


def demo_site(**changes: object) -> Site:
    tables = tomllib.loads(sample_path("orchard.toml").read_text("utf-8"))
    return site_of({**tables, **changes})


def biting_tables() -> dict[str, Any]:
    tables = tomllib.loads(sample_path("orchard.toml").read_text("utf-8"))
    blocks = [{**block, "name": f"{BITING} {n}"} for n, block in enumerate(tables["blocks"])]
    rounds = [*tables["program"]["rounds"], {"material": BITING, "rounds": 1}]
    return {
        **tables, "name": BITING, "blocks": blocks, "materials": {BITING: {}},
        "program": {**tables["program"], "rounds": rounds},
    }  # fmt: skip


def biting_site() -> Site:
    return site_of(biting_tables())


def three_site() -> Site:
    tables = tomllib.loads(sample_path("orchard.toml").read_text("utf-8"))
    rounds = [*tables["program"]["rounds"], {"material": "lime sulfur", "rounds": 1}]
    program = {**tables["program"], "rounds": rounds}
    return site_of({**tables, "materials": {"lime sulfur": {}}, "program": program})


def long_site() -> Site:
    """Five materials and nine blocks with long names, one never looked at, and many rounds."""
    tables = tomllib.loads(sample_path("orchard.toml").read_text("utf-8"))
    oil, copper = tables["program"]["rounds"]
    names = [f"a material whose name no label would have room for, {n}" for n in range(3)]
    days = [f"2025-12-{day:02}" for day in (6, 11, 16, 21, 26)]
    rounds = [oil, {**copper, "rounds": 9, "done": days},
              *({"material": name, "rounds": 2} for name in names)]  # fmt: skip
    blocks = [
        {**tables["blocks"][n % 2], "name": f"terrace {n} behind the barn above the old river road"}
        for n in range(9)
    ]
    del blocks[8]["stage"], blocks[8]["observed"]
    return site_of({
        **tables, "name": "The society for old stone fruit " * 6, "blocks": blocks,
        "materials": {name: {} for name in names},
        "program": {**tables["program"], "rounds": rounds},
    })  # fmt: skip


def evenings_of(site: Site, now: pd.Timestamp = DEMO_NOW) -> list[Evening]:
    return tonight(site, demo_forecast(), now, winters=demo_winters())


@cache
def demo_evenings() -> list[Evening]:
    return evenings_of(demo_site())


@cache
def demo_prospect() -> SeasonAnswer:
    return prospect(demo_site(), demo_winters(), DEMO_NOW, forecast=demo_forecast())

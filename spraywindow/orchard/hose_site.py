"""What ``spraywindow hose`` answers for a site: the mornings for washing each block."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import pandas as pd

from spraywindow.orchard.hosing import HosingDay, HosingRules, hosing_days
from spraywindow.orchard.site import Site
from spraywindow.orchard.site_tables import Block
from spraywindow.orchard.verdicts import Verdict
from spraywindow.orchard.waking import leaf_stage
from spraywindow.weather.hourly import known_at
from spraywindow.weather.source import WeatherSource, weather_source

BACK_D, AHEAD_D = 60, 11
"""Days of weather that washing looks at, before and after now: dust, and the forecast."""


@dataclass(frozen=True)
class BlockHose:
    """Mornings of one block, and the stage that they rest on (None: not known)."""

    json_keys: ClassVar = (
        "name=block.name", "verdict", "reason!", "stage=stage_bbch", "first=first.day", "days",
    )  # fmt: skip

    block: Block
    stage_bbch: int | None
    days: tuple[HosingDay, ...]

    @property
    def verdict(self) -> Verdict:
        """Whether there is a morning: go, no-go, or not known."""
        verdicts = {day.verdict for day in self.days}
        return "go" if "go" in verdicts else "unknown" if "unknown" in verdicts else "no-go"

    @property
    def first(self) -> HosingDay | None:
        """The first good morning."""
        return next((day for day in self.days if day.verdict == "go"), None)


@dataclass(frozen=True)
class HoseAnswer:
    """The whole answer."""

    json_keys: ClassVar = (
        "site=site.name", "now", "verdict", "source", "every_days=rules.dust_days",
        "washing_rain_mm=rules.washing_rain_mm", "film_mm=rules.film_mm",
        "start_hour=rules.start_hour", "done_hour=rules.done_hour",
        "evening_hour=rules.evening_hour", "blocks", "cautions!",
    )  # fmt: skip

    site: Site
    now: pd.Timestamp
    rules: HosingRules
    blocks: tuple[BlockHose, ...]
    source: WeatherSource
    notes: tuple[str, ...]

    @property
    def verdict(self) -> Verdict:
        """Go if any block may be washed on any of the coming mornings."""
        verdicts = {block.verdict for block in self.blocks}
        return "go" if "go" in verdicts else "unknown" if "unknown" in verdicts else "no-go"


def hose_site(site: Site, weather: pd.DataFrame, now: pd.Timestamp) -> HoseAnswer:
    """Answer for one site and day.

    Parameters
    ----------
    site : Site
        Its `[hosing]` may say when the leaves were last washed, and how often they are.
    weather : DataFrame
        Hourly table that holds `now`; `BACK_D` days before and `AHEAD_D` after it are used.
    now : Timestamp
        tz-aware.

    Raises
    ------
    InputError
        If a washing or rain is dated in the future.
    WeatherError
        If the weather does not hold `now`.
    """
    known_at(weather, now)  # refuses a table that does not hold now
    fields = site.hosing
    table = weather.loc[now - pd.Timedelta(days=BACK_D) : now + pd.Timedelta(days=AHEAD_D)]
    today = now.tz_convert(site.place.timezone).date()
    rules = HosingRules(
        dust_days=int(-(-fields.every // 24)), dry_months=fields.months, access=site.access
    )
    blocks = []
    for block in site.blocks:
        stage = leaf_stage(block, site, today)
        days = hosing_days(
            table, site.place, now,
            stage_bbch=stage, last_wash=fields.last_wash, last_rain=fields.last_rain, rules=rules,
        )  # fmt: skip
        blocks.append(BlockHose(block, stage, days))
    return HoseAnswer(
        site=site,
        now=now.tz_convert(site.place.timezone),
        rules=rules,
        blocks=tuple(blocks),
        source=weather_source(weather, now.tz_convert(site.place.timezone)),
        notes=tuple(weather.attrs.get("notes", [])),
    )

"""``spraywindow mix``: spray, tank loads, product, calibration, time, season totals of one job."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.cli.options import (
    DEMO_NOTE,
    ColumnsOption,
    JsonOption,
    NowOption,
    RecordOption,
    SiteOption,
    WeatherOption,
    note,
    record_path,
    say,
    the_now,
    the_site,
    the_weather,
    with_record,
)

if TYPE_CHECKING:
    import pandas as pd

    from spraywindow.orchard.mix_site import MixAnswer
    from spraywindow.orchard.record_fields import Entry
    from spraywindow.orchard.site import Site
    from spraywindow.spray.slots import Slot


def mix(
    site: SiteOption = None,
    weather: WeatherOption = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    material: Annotated[
        str | None, typer.Option("--material", help="Such as oil or copper. Default: next due.")
    ] = None,
    block: Annotated[
        list[str] | None, typer.Option("--block", help="Only this block. Repeatable.")
    ] = None,
    record: RecordOption = None,
    json: JsonOption = False,
) -> None:
    """Say what to mix for one job, and how long it takes; with --weather, when it fits."""
    from spraywindow.orchard.evening import default_material
    from spraywindow.orchard.mix_site import mix_site
    from spraywindow.output.json import to_json
    from spraywindow.output.mix_text import MIX_WORDS, mix_text

    demo = site is None
    the = the_site(site)
    at = the_now(now, the, demo=demo and weather is None)
    the = with_record(the, site, record, at)
    name = material or default_material(the, at.tz_convert(the.place.timezone).date())
    recorded = _recorded(the, site, record)
    answer = mix_site(the, at, name, blocks=block or (), recorded=recorded)
    if demo or weather is not None or columns is not None:
        slot = _next_slot(answer, the_weather(the, weather, columns, at, demo=demo), at)
        answer = replace(answer, looked_at=True, next_slot=slot)
    if demo:
        note(DEMO_NOTE)
    say(to_json(answer, MIX_WORDS) if json else mix_text(answer))


def _recorded(the: Site, site_file: Path | None, record: Path | None) -> list[Entry]:
    """Every entry of the site's record that holds; none where there is no record."""
    from spraywindow.orchard.records import current, open_record

    path = record_path(record, site_file, the)
    if path is None or not path.exists():
        return []
    with open_record(path, read_only=True) as opened:
        return [row.entry for row in current(opened, the.name)]


def _next_slot(answer: MixAnswer, table: pd.DataFrame, now: pd.Timestamp) -> Slot | None:
    """The first slot of the coming week that is long enough for the job."""
    from spraywindow.orchard.evening import evening

    site = answer.site
    crew = site.crew.model_copy(update={"job": float(answer.time.slot_whole_h)})
    slots = evening(site.model_copy(update={"crew": crew}), table, now, answer.material).slots
    return min(slots, key=lambda slot: slot.start) if slots else None

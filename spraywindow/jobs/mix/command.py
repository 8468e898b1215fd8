"""``spraywindow mix``: spray, tank loads, product, calibration, time, season totals of one job."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.call import (
    DEMO_NOTE,
    ColumnsOption,
    JsonOption,
    NowOption,
    RecordOption,
    SiteOption,
    WeatherOption,
    note,
    say,
    the_now,
    the_site,
    the_weather,
    with_record,
)

if TYPE_CHECKING:
    import pandas as pd

    from spraywindow.jobs.mix.answer import MixAnswer
    from spraywindow.site import Site
    from spraywindow.spray import Slot


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
    from spraywindow.jobs.mix.answer import mix_site
    from spraywindow.jobs.mix.text import MIX_WORDS, mix_text
    from spraywindow.jobs.slots import default_material
    from spraywindow.show import to_json

    demo = site is None
    the = the_site(site)
    at = the_now(now, the, demo=demo and weather is None)
    the, kept = with_record(the, site, record, at)
    name = material or default_material(the, at.tz_convert(the.place.timezone).date())
    answer = mix_site(the, at, name, blocks=block or (), recorded=[row.entry for row in kept])
    if demo or weather is not None or columns is not None:
        table = the_weather(the, weather, columns, at, demo=demo)
        answer = replace(answer, looked_at=True, next_slot=_next_slot(the, table, at, answer))
    if demo:
        note(DEMO_NOTE)
    say(to_json(answer, MIX_WORDS) if json else mix_text(answer))


def _next_slot(
    site: Site, table: pd.DataFrame, now: pd.Timestamp, answer: MixAnswer
) -> Slot | None:
    """The first slot of the coming week that is long enough for the job."""
    from spraywindow.jobs.slots import evening

    site = replace(site, job_h=float(answer.time.slot_whole_h))
    slots = evening(site, table, now, answer.material).slots
    return min(slots, key=lambda slot: slot.start) if slots else None

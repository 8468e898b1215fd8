"""``spraywindow mix``: spray, tank loads, product, calibration, time, season totals of one job."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.call import (
    Call,
    ColumnsOption,
    JsonOption,
    NowOption,
    PastColumnsOption,
    PastOption,
    RecordOption,
    SiteOption,
    WeatherOption,
)

if TYPE_CHECKING:
    from spraywindow.jobs.mix.answer import MixAnswer
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
    winters: PastOption = None,
    winters_columns: PastColumnsOption = None,
    json: JsonOption = False,
) -> None:
    """Say what to mix for one job, and how long it takes; with --weather, when it fits."""
    from spraywindow.jobs.mix.answer import mix_site
    from spraywindow.jobs.mix.text import MIX_WORDS, mix_text
    from spraywindow.jobs.slots import default_material, tonight
    from spraywindow.show import to_json

    call = Call(site, weather, columns, now, record, winters_file=winters,
                winters_columns=winters_columns)  # fmt: skip
    looked_at = not call.by_service
    if material is None and looked_at:
        # what the evening would go out with
        lead, *_ = tonight(
            call.with_winters(call.site), call.weather, call.now, winters=call.told_winters
        )
        name = lead.material.name
    else:
        name = material or default_material(call.site, call.today)
    entries = [row.entry for row in call.rows]
    answer = mix_site(call.site, call.now, name, blocks=block or (), recorded=entries)
    if looked_at:
        doubted = call.with_doubts(answer.site, call.weather)
        answer = replace(answer, site=doubted, looked_at=True, next_slot=_next_slot(call, answer))
    call.say(to_json(answer, MIX_WORDS) if json else mix_text(answer))


def _next_slot(call: Call, answer: MixAnswer) -> Slot | None:
    """The first slot of the coming week that is long enough for the job."""
    from spraywindow.jobs.slots import evening

    site = replace(call.site, job_h=float(answer.time.slot_whole_h))
    slots = evening(site, call.weather, call.now, answer.material).slots
    return min(slots, key=lambda slot: slot.start) if slots else None

"""The hours that were advised, for a round that followed them."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from spraywindow.errors import InputError
from spraywindow.jobs.slots import hourless, read_receipt, tonight
from spraywindow.record import Record, kept_receipts

if TYPE_CHECKING:
    from spraywindow.call import Call
    from spraywindow.site import Site

LATEST_D = 7
"""Days after its slot for which a kept receipt still stands for a round; P."""


def hours_of(advised: dict[str, Any], site: Site) -> dict[str, object]:
    """Material and hours of a receipt with a slot: the job's length from its start on."""
    start, end = (dt.datetime.fromisoformat(advised[name]) for name in ("start", "end"))
    end = min(end, start + dt.timedelta(hours=site.job_h))
    return {"material": advised["material"], "start": start, "end": end}


def advised_slot(
    call: Call, record: Record | None, site: Site, material: str | None
) -> tuple[dict[str, object], str | None]:
    """Material and hours of the last slot advised that has begun, and its receipt.

    That of the receipts kept in the record; without one today's, as decided by the weather at
    hand, which is no receipt.

    Raises
    ------
    InputError
        If there is neither.
    """
    now = call.now.to_pydatetime()
    found: list[tuple[dt.datetime, str, dict[str, Any]]] = []
    for text in kept_receipts(record, site.name) if record else ():
        if hourless(text) is None:
            values = read_receipt(text)
            start = dt.datetime.fromisoformat(values["start"])
            recent = start <= now <= start + dt.timedelta(days=LATEST_D)
            if recent and material in (None, values["material"]):
                found.append((start, text, values))
    if found:
        day = max(start for start, _, _ in found).date()
        _, text, values = [each for each in found if each[0].date() == day][-1]  # said last
        return hours_of(values, site), text
    midnight = call.now.tz_convert(site.place.timezone).normalize()
    answer = tonight(call.site, call.weather, midnight, material)[0].first
    decision, slot = answer.decision, answer.slot
    if answer.date != midnight.date() or slot is None:
        raise InputError(
            "no slot was advised for today, and no receipt of one is kept",
            where="--slot",
            cure="give --start and --end",
        )
    chosen = decision.slots[0] if decision is not None and decision.slots else slot
    advised = {"material": chosen.material, "start": str(chosen.start), "end": str(chosen.end)}
    return hours_of(advised, site), None

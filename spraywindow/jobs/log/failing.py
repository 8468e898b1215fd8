"""``spraywindow log failed``: a round that did not hold is owed again.

The mark is a correction of the entry, so that it is undone by another one. Product and day stay.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.call import Call, JsonOption, NowOption, RecordOption, SiteOption, say
from spraywindow.jobs.log.shared import NumberArgument, holding, record_file

if TYPE_CHECKING:
    from spraywindow.record import Application
    from spraywindow.site import Site


def failed(
    number: NumberArgument,
    partly: Annotated[
        str | None,
        typer.Option(help='Only so much of the round, "30 %", or these blocks: "rows 1-4".'),
    ] = None,
    held: Annotated[
        bool, typer.Option("--held", help="It held after all: undo the mark, or end the doubt.")
    ] = False,
    why: Annotated[str | None, typer.Option(help="The reason; it is kept.")] = None,
    site: SiteOption = None,
    record: RecordOption = None,
    now: NowOption = None,
    json: JsonOption = False,
) -> None:
    """Mark a round that did not hold: it is owed again, its product and its day still count."""
    from spraywindow.errors import InputError
    from spraywindow.jobs.log.answer import Entered, check_entry
    from spraywindow.jobs.log.text import ENTERED_WORDS, entered_text
    from spraywindow.record import open_record
    from spraywindow.record import record as records
    from spraywindow.show import to_json

    if held and partly is not None:
        raise InputError("--held and --partly together", cure="choose one")
    call = Call(site, now_text=now, record_file=record, clock=True)
    at = call.now
    with open_record(record_file(call)) as the_record:
        the = call.seen_in(the_record)
        old = holding(records.current(the_record), number).entry
        its_site = the if site is not None and the.name == old.site else None
        share, blocks = (0.0, ()) if held else _what_failed(old, partly, its_site)
        changes = {"failed_share": share, "failed_blocks": blocks}
        reason = why or ("it held" if held else "it failed")
        made = records.correct(the_record, number, changes, why=reason, now=at.to_pydatetime())
        kept = holding(records.current(the_record), made)
        of_site = records.current(the_record, old.site)
        check = None if its_site is None else check_entry(of_site, its_site, kept, at)
        answer = Entered(the, kept, the_record.path, check)
    verb = f"Correction of entry {number}"
    say(to_json(answer, ENTERED_WORDS) if json else entered_text(answer, verb))


def _what_failed(
    entry: Application, partly: str | None, site: Site | None
) -> tuple[float, tuple[str, ...]]:
    """Share of the site's round that failed, and the blocks where it did."""
    from spraywindow.errors import InputError
    from spraywindow.record import share_of_blocks
    from spraywindow.units import quantity

    if partly is None:
        return entry.share, ()
    names = tuple(dict.fromkeys(name.strip() for name in partly.split(",")))
    known = [block.name for block in site.blocks] if site else list(entry.blocks)
    sprayed = entry.blocks or known
    expected = f"a share up to {100 * entry.share:.0f} %, or of {', '.join(sprayed)}"
    if set(names) & set(known):
        if site is None:
            raise InputError("blocks of a site that is not named", cure="give its --site FILE")
        if not set(names) <= set(sprayed):
            raise InputError("not sprayed then", where="--partly", expected=expected, got=partly)
        whole = share_of_blocks(site, entry.blocks, entry.material, entry.day)
        part = share_of_blocks(site, names, entry.material, entry.day)
        return entry.share * min(1.0, part / whole), names
    try:
        share = quantity(partly, "fraction")
    except InputError as error:
        raise InputError(
            "neither a share nor blocks", where="--partly", expected=expected, got=partly
        ) from error
    if not 0 < share <= entry.share:
        raise InputError("out of range", where="--partly", expected=expected, got=partly)
    return share, ()

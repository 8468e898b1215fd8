"""``spraywindow log``: the application record."""

from __future__ import annotations

from contextlib import ExitStack
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.call import (
    Call,
    ColumnsOption,
    JsonOption,
    NowOption,
    RecordOption,
    SiteOption,
    WeatherOption,
    note,
    say,
)
from spraywindow.jobs.log.commands_after import (
    advice,
    bring_in,
    check,
    export,
    judge,
    paper,
)
from spraywindow.jobs.log.failing import failed
from spraywindow.jobs.log.shared import (
    FileArgument,
    NumberArgument,
    SetOption,
    WhyOption,
    estimated,
    holding,
    mixed,
    read_text,
    record_file,
    rows_since,
    written,
)

if TYPE_CHECKING:
    from spraywindow.jobs.log.answer import Entered

log = typer.Typer(
    name="log",
    help="The application record: add, list, correct, papers, and what the rain did afterwards. "
    "Keep a copy: of its file, or what `log export` writes and `log import` reads.",
    no_args_is_help=True,
)


@log.command()
def add(
    file: FileArgument = None,
    site: SiteOption = None,
    record: RecordOption = None,
    material: Annotated[str | None, typer.Option(help="Such as oil or copper.")] = None,
    product: Annotated[str | None, typer.Option(help="As on the label.")] = None,
    start: Annotated[str | None, typer.Option(help='Local, "2026-01-13 10:00".')] = None,
    end: Annotated[str | None, typer.Option(help='"12:30", or as the start.')] = None,
    amount: Annotated[str | None, typer.Option(help='Product used: "4 L", "5 lb".')] = None,
    share: Annotated[
        str | None,
        typer.Option(help='Part of the round done: "60 %". Default: by the trees of the blocks.'),
    ] = None,
    settings: SetOption = None,
    like: Annotated[
        int | None, typer.Option(help="Copy product, numbers, names, intervals of that entry.")
    ] = None,
    slot: Annotated[
        bool, typer.Option("--slot", help="Material and hours of the slot that was advised.")
    ] = False,
    as_mixed: Annotated[
        bool, typer.Option("--as-mixed", help="Spray and product used are those that `mix` gives.")
    ] = False,
    receipt: Annotated[
        Path | None, typer.Option(help="Receipt of the advice (`slots --receipt FILE`).")
    ] = None,
    weather: WeatherOption = None,
    columns: ColumnsOption = None,
    fetch: Annotated[
        bool, typer.Option("--fetch/--no-fetch", help="Ask the service for weather not measured.")
    ] = True,
    now: NowOption = None,
    json: JsonOption = False,
) -> None:
    """Record an application that is done, or a part of one.

    Product, registration and intervals of the label, who sprays, crop, stage and area come from the
    site file and what was seen, where they are not given.
    """
    from spraywindow.jobs.log.answer import Entered, check_entry, receipt_cautions
    from spraywindow.record import entry_from, refuse_ahead
    from spraywindow.record import record as records

    call = Call(site, weather, columns, now, record)
    the, at, path = call.file_site, call.now, record_file(call)
    fields = written(
        file, settings, material=material, product=product, start=start, end=end, amount=amount,
        share=share,
    )  # fmt: skip
    with ExitStack() as stack:
        the_record = pattern = None
        if like is not None or path.exists():
            the_record = stack.enter_context(records.open_record(path))
            the = call.seen_in(the_record)
            if like is not None:
                pattern = holding(records.current(the_record), like).entry
        kept_receipt = None if receipt is None else read_text(receipt, "receipt")
        if slot:
            from spraywindow.jobs.log.advised import advised_slot

            wanted = str(fields["material"]) if "material" in fields else None
            advised, text = advised_slot(call, the_record, the, wanted)
            fields, kept_receipt = advised | fields, kept_receipt or text
        entry = entry_from(the, fields, like=pattern, where=str(file or "entry"))
        refuse_ahead(entry, at.to_pydatetime())
        entry = mixed(the, entry) if as_mixed else entry
        beside = () if kept_receipt is None else receipt_cautions(kept_receipt, entry)
        entry = estimated(call, entry, fetch=fetch)
        enter = partial(records.add, entry=entry, now=at.to_pydatetime(), receipt=kept_receipt)
        # begun with its first entry, so that no failure leaves one without any
        new = not path.exists() and path.parent.is_dir() and records.begin(path, enter)
        if the_record is None:
            the_record = stack.enter_context(records.open_record(path, create=True))
        number = 1 if new else enter(the_record)
        kept = holding(records.current(the_record), number)
        check = check_entry(records.current(the_record, the.name), the, kept, at)
    answer = Entered(the, kept, path, check, beside)
    call.remark()
    if new:
        note(f"A new record: {path}")
    _told(answer, json, "Entered")


@log.command()
def correct(
    number: NumberArgument,
    why: WhyOption,
    file: FileArgument = None,
    site: SiteOption = None,
    record: RecordOption = None,
    settings: SetOption = None,
    weather: WeatherOption = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    json: JsonOption = False,
) -> None:
    """Correct an entry: a new one that points at the old."""
    from spraywindow.jobs.log.answer import Entered, check_entry
    from spraywindow.record import WEATHER_FIELDS, Application, changes_from
    from spraywindow.record import record as records

    call = Call(site, weather, columns, now, record, clock=True)
    at, path = call.now, record_file(call)
    with records.open_record(path) as the_record:
        the = call.seen_in(the_record)
        old = holding(records.current(the_record), number).entry
        its_site = the if site is not None and the.name == old.site else None
        where = f"correction of entry {number}"
        changes = changes_from(old, written(file, settings), site=its_site, where=where)
        dropped = records.stale_estimates(old, changes)
        if weather is not None:
            # looked up at the corrected time
            values = old.model_dump() | {"start": old.start, "end": old.end}
            filled = estimated(call, Application.read(values | dropped | changes))
            found = {n: getattr(filled, n) for n in WEATHER_FIELDS if n in filled.estimated}
            known = {"estimated": filled.estimated, "weather_source": filled.weather_source}
            changes = dropped | changes | found | known
        made = records.correct(the_record, number, changes, why=why, now=at.to_pydatetime())
        kept = holding(records.current(the_record), made)
        of_site = records.current(the_record, the.name)
        held = None if site is None else check_entry(of_site, the, kept, at)
        gone = [n for n in WEATHER_FIELDS if n in dropped and getattr(kept.entry, n) is None]
    answer = Entered(the, kept, path, held, dropped=tuple(gone))
    _told(answer, json, f"Correction of entry {number}")


@log.command()
def withdraw(
    number: NumberArgument,
    why: WhyOption,
    site: SiteOption = None,
    record: RecordOption = None,
    now: NowOption = None,
    json: JsonOption = False,
) -> None:
    """Take back an entry that never should have been made; it stays in the history."""
    from spraywindow.record import record as records
    from spraywindow.show import to_json

    call = Call(site, now_text=now, record_file=record, clock=True)
    at, path = call.now, record_file(call)
    with records.open_record(path) as the_record:
        made = records.withdraw(the_record, number, why=why, now=at.to_pydatetime())
    if json:
        say(to_json({"id": made, "withdraws": number, "why": why, "record": str(path)}))
    else:
        say(f"Entry {number} is withdrawn by entry {made}: {why}")


@log.command("list")
def show(
    site: SiteOption = None,
    record: RecordOption = None,
    since: Annotated[str | None, typer.Option(help="First day, such as 2025-11-01.")] = None,
    history: Annotated[
        bool, typer.Option("--history", help="Also what was corrected or withdrawn.")
    ] = False,
    now: NowOption = None,
    json: JsonOption = False,
) -> None:
    """List the entries; with --site those of the site, and its program so far."""
    from spraywindow.jobs.log.answer import listed
    from spraywindow.jobs.log.text import list_text
    from spraywindow.record import record as records
    from spraywindow.show import to_json

    call = Call(site, now_text=now, record_file=record, clock=True)
    the, at, path = call.file_site, call.now, record_file(call)
    with records.open_record(path, read_only=True) as the_record:
        rows = records.history(the_record) if history else records.current(the_record)
        rows = rows_since(rows, since, the.name if site is not None else None)
        answer = listed(the_record, rows, the if site is not None else None, at)
    say(to_json(answer) if json else list_text(answer, the.units))


log.command()(failed)
log.command()(export)
log.command("import")(bring_in)
log.command()(check)
log.command()(advice)
log.command()(judge)
log.command()(paper)


def _told(answer: Entered, json: bool, verb: str) -> None:
    """Print what was entered."""
    from spraywindow.jobs.log.text import ENTERED_WORDS, entered_text
    from spraywindow.show import to_json

    say(to_json(answer, ENTERED_WORDS) if json else entered_text(answer, verb))

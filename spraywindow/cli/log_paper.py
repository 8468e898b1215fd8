"""``spraywindow log paper``: one entry, three papers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.cli.files import write_new
from spraywindow.cli.log_shared import (
    SetOption,
    holding,
    opened,
    read_text,
    settings,
    site_and_now,
    written,
)
from spraywindow.cli.options import (
    JsonOption,
    RecordOption,
    SiteOption,
    say,
)

if TYPE_CHECKING:
    from spraywindow.orchard.record_fields import Entry
    from spraywindow.orchard.site import Site


def paper(
    kind: Annotated[str, typer.Argument(help="note (the evening before), record or bill.")],
    entry: Annotated[
        str | None, typer.Argument(help="Number of an entry; for a note a file of the plan.")
    ] = None,
    site: SiteOption = None,
    record: RecordOption = None,
    fields: SetOption = None,
    receipt: Annotated[
        Path | None, typer.Option(help="For a note: hours and material from this receipt.")
    ] = None,
    template: Annotated[Path | None, typer.Option(help="Your own text with $fields.")] = None,
    field: Annotated[
        list[str] | None,
        typer.Option("--field", help="A text for the template, NAME=TEXT. Repeatable."),
    ] = None,
    rule: Annotated[
        str | None,
        typer.Option(help="us-federal, us-commercial, us-state or eu. Default: by site units."),
    ] = None,
    show_template: Annotated[
        bool, typer.Option("--show-template", help="Print our text, to start your own from.")
    ] = False,
    to: Annotated[Path | None, typer.Option(help="File to write. Default: the screen.")] = None,
    json: JsonOption = False,
) -> None:
    """Write the client's note for the evening before, the record sheet, or the bill's line."""
    from spraywindow.errors import InputError, describe
    from spraywindow.orchard.papers import PAPERS, built_in_template, write_paper
    from spraywindow.output.json import to_json

    if kind not in PAPERS:
        raise InputError(describe("unknown paper", expected=", ".join(PAPERS), got=kind))
    if show_template:
        typer.echo(built_in_template(kind), nl=False)
        return
    the, _ = site_and_now(site, None, demo=site is None)
    the_entry = _entry_for(kind, entry, the, site, record, fields, receipt)
    text = write_paper(
        kind,
        the_entry,
        template=None if template is None else read_text(template, "template"),
        extra=settings(field, "--field"),
        units=the.units,
        rule=rule or ("us-federal" if the.units == "us" else "eu"),
    )
    if json:
        say(to_json({"paper": kind, "site": the_entry.site, "text": text}))
    elif to is None:
        typer.echo(text, nl=not text.endswith("\n"))
    elif to.exists():
        raise InputError(describe("the file exists", where=str(to), cure="choose another name"))
    else:
        write_new(to, text)
        say(to)


def _entry_for(
    kind: str,
    named: str | None,
    the: Site,
    site: Path | None,
    record: Path | None,
    fields: list[str] | None,
    receipt: Path | None,
) -> Entry:
    """The entry of that number; for a note also a plan: a file, settings, a receipt's hours."""
    import datetime as dt

    from spraywindow.errors import InputError, describe
    from spraywindow.orchard import records
    from spraywindow.orchard.receipts import hourless, read_receipt, refuse_other_site
    from spraywindow.orchard.record_entry import entry_from

    if named is not None and named.isdigit():
        with opened(record, site, the) as the_record:
            return holding(records.current(the_record), int(named)).entry
    if kind != "note":
        raise InputError(
            describe(f"a {kind} is of a round that is done", expected="the number of its entry",
                     got=named, cure="`spraywindow log list` shows the numbers")
        )  # fmt: skip
    plan: dict[str, object] = {}
    if receipt is not None:
        text = read_text(receipt, "receipt")
        refuse_other_site(text, the.name, where=str(receipt))
        if hourless(text) is not None:
            raise InputError(describe("this receipt advises no hours", where=str(receipt),
                                      expected="one of a go"))  # fmt: skip
        advised = read_receipt(text)
        start = dt.datetime.fromisoformat(advised["start"])
        end = min(dt.datetime.fromisoformat(advised["end"]), start + dt.timedelta(hours=the.job_h))
        plan = {"material": advised["material"], "start": start, "end": end}
    plan |= written(None if named is None else Path(named), fields)
    return entry_from(the, plan, where=named or "plan")

"""``spraywindow log export`` and ``check``: the record as a whole."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.cli.files import write_new
from spraywindow.cli.log_shared import (
    opened,
    record_file,
    rows_since,
    site_and_now,
)
from spraywindow.cli.options import (
    JsonOption,
    RecordOption,
    SiteOption,
    say,
)

if TYPE_CHECKING:
    pass


def export(
    site: SiteOption = None,
    record: RecordOption = None,
    form: Annotated[str, typer.Option("--format", help="csv or json.")] = "csv",
    to: Annotated[Path | None, typer.Option(help="File to write. Default: the screen.")] = None,
    since: Annotated[str | None, typer.Option(help="First day, such as 2025-11-01.")] = None,
    history: Annotated[
        bool, typer.Option("--history", help="Also what was corrected or withdrawn.")
    ] = False,
) -> None:
    """Write the record as CSV or JSON, with what professional records ask for.

    In CSV a text that a spreadsheet would run as a formula gets an apostrophe in front.
    """
    from spraywindow.errors import InputError, describe
    from spraywindow.orchard import records
    from spraywindow.orchard.record_export import export_csv, export_json

    makers = {"csv": export_csv, "json": export_json}
    if form not in makers:
        raise InputError(describe("unknown format", where="--format", expected="csv, json",
                                  got=form))  # fmt: skip
    the, _ = site_and_now(site, None)
    with opened(record, site, the) as the_record:
        rows = records.history(the_record) if history else records.current(the_record)
    text = makers[form](rows_since(rows, since, the.name if site is not None else None))
    if to is None:
        typer.echo(text, nl=not text.endswith("\n"))
        return
    if to.exists():
        raise InputError(describe("the file exists", where=str(to), cure="choose another name"))
    write_new(to, text)
    say(to)


def check(site: SiteOption = None, record: RecordOption = None, json: JsonOption = False) -> None:
    """Verify the file, every digest and correction; a damaged record is an error (exit code 2)."""
    from spraywindow.errors import RecordError, one_line
    from spraywindow.orchard.record_export import check_record
    from spraywindow.output.json import to_json

    path = record_file(record, site)
    found = check_record(path)
    if json:
        sound = not found.problems
        say(to_json({"record": str(path), "sound": sound, "entries": found.entries,
                     "problems": list(found.problems)}))  # fmt: skip
    if found.problems:
        raise RecordError(f"{path}: {one_line(found.problems)}")
    if not json:
        say(f"{path}: sound, {found.entries} row{'' if found.entries == 1 else 's'}.")

"""What follows a round: keep it or redo it, was the advice right, and the papers."""

from __future__ import annotations

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
    say,
)
from spraywindow.jobs.log.shared import (
    SetOption,
    holding,
    opened,
    read_text,
    record_file,
    rows_since,
    settings,
    written,
)

if TYPE_CHECKING:
    from spraywindow.record import Application, Outcome


def advice(
    number: Annotated[
        int | None, typer.Argument(help="Entry. Default: the latest round of each material.")
    ] = None,
    site: SiteOption = None,
    record: RecordOption = None,
    weather: WeatherOption = None,
    columns: ColumnsOption = None,
    every: Annotated[bool, typer.Option("--all", help="All rounds of the growing year.")] = False,
    now: NowOption = None,
    json: JsonOption = False,
) -> None:
    """Keep, inspect or redo, by the rain that came; and when the next round may follow."""
    from spraywindow.errors import RecordError
    from spraywindow.jobs.log.advice import ADVICE_WORDS, advice_text, advise, latest_rounds
    from spraywindow.record import record as records
    from spraywindow.show import to_json
    from spraywindow.site import season_start

    call = Call(site, weather, columns, now, record)
    at = call.now
    with opened(call) as the_record:
        the = call.seen_in(the_record)
        holds = records.current(the_record)
    rows = [row for row in holds if row.entry.site == the.name]
    if not rows:
        raise RecordError(
            f"no entry of the site {the.name!r}",
            expected="one of its rounds",
            got=", ".join(sorted({row.entry.site for row in holds})) or "an empty record",
        )
    first = season_start(at.tz_convert(the.place.timezone).date(), the)
    season = [row for row in rows if row.entry.day >= first and row.entry.finished <= at]
    if number is not None:
        chosen = [holding(rows, number)]
    else:
        chosen = season if every else latest_rounds(season, the)
    answer = advise(chosen, rows, the, call.weather, at)
    call.say(to_json(answer, ADVICE_WORDS) if json else advice_text(answer))


def judge(
    number: Annotated[
        int | None, typer.Argument(help="Entry. Default: all that carry a receipt.")
    ] = None,
    site: SiteOption = None,
    record: RecordOption = None,
    receipt: Annotated[
        list[Path] | None, typer.Option(help="Judge this receipt instead. Repeatable.")
    ] = None,
    every: Annotated[
        bool, typer.Option("--kept", help="Also receipts kept by themselves, of no entry.")
    ] = False,
    weather: WeatherOption = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    json: JsonOption = False,
) -> None:
    """Hold the advice that was given against the weather that came; the record keeps the result."""
    from spraywindow.errors import RecordError
    from spraywindow.jobs.log.judge import judge_all, judge_text
    from spraywindow.jobs.slots import refuse_other_site
    from spraywindow.record import keep_outcomes, kept_receipts, outcomes
    from spraywindow.record import record as records
    from spraywindow.show import to_json

    call = Call(site, weather, columns, now, record)
    the, at = call.file_site, call.now
    texts: list[tuple[str, str]] = []
    kept: list[Outcome] = []
    path = call.record_path
    there = path is not None and path.exists()
    if receipt:
        texts = [(str(each), read_text(each, "receipt")) for each in receipt]
    if there or not receipt:
        with opened(call) as the_record:
            kept = outcomes(the_record, the.name)
            rows = (
                [] if receipt else records.current(the_record, None if site is None else the.name)
            )
            chosen = rows if number is None else [holding(rows, number)]
            for row in chosen:
                text = records.receipt_of(the_record, row.id)
                if text is not None:
                    texts.append((str(row.id), text))
            if every:
                known = {text for _, text in texts}
                alone = [t for t in kept_receipts(the_record, the.name) if t not in known]
                texts += [(f"kept {n}", text) for n, text in enumerate(alone, start=1)]
        if not texts and (number is not None or not kept):
            raise RecordError(
                "no receipt to judge",
                cure="keep one with `slots --receipt FILE`, `log add --receipt FILE`",
            )
    if receipt or number is not None:  # one that is asked for by name
        for name, text in texts:
            refuse_other_site(text, the.name, where=name if receipt else f"receipt of entry {name}")
    answer = judge_all(
        texts, the, call.weather, now=at.to_pydatetime(), kept=kept,
        anew=bool(receipt) or number is not None,
    )  # fmt: skip
    pairs = zip(answer.receipts, texts, strict=True)
    found = [(outcome, text) for each, (_, text) in pairs for outcome in each.outcomes]
    if there and any(outcome not in kept for outcome, _ in found):
        try:
            with records.open_record(record_file(call)) as the_record:
                keep_outcomes(the_record, found, now=at.to_pydatetime())
        except RecordError as error:  # the answer stands all the same
            call.tell(f"What came of the chances is not kept: {error}")
    elif found and not there:
        call.tell("What came of the chances is not kept: there is no record yet.")
    call.say(to_json(answer) if json else judge_text(answer))


def export(
    site: SiteOption = None,
    record: RecordOption = None,
    form: Annotated[str, typer.Option("--format", help="csv or json.")] = "csv",
    to: Annotated[Path | None, typer.Option(help="File to write. Default: the screen.")] = None,
    since: Annotated[str | None, typer.Option(help="First day, such as 2025-11-01.")] = None,
    history: Annotated[
        bool, typer.Option("--history", help="Also what was corrected or withdrawn.")
    ] = False,
    now: NowOption = None,
) -> None:
    """Write the record as CSV or JSON, with what professional records ask for.

    In CSV a text that a spreadsheet would run as a formula gets an apostrophe in front. Of the
    whole record (--record FILE --format json --history) `log import` makes the same record again,
    what `log judge` kept included.
    """
    from spraywindow.errors import InputError
    from spraywindow.record import (
        every_receipt,
        export_csv,
        export_json,
        judged_of,
        receipts_of,
        seen_of,
    )
    from spraywindow.record import record as records
    from spraywindow.show import write_new

    if form not in ("csv", "json"):
        raise InputError("unknown format", where="--format", expected="csv, json", got=form)
    call = Call(site, now_text=now, record_file=record, clock=True)
    the, _ = call.file_site, call.now
    with opened(call) as the_record:
        rows = records.history(the_record) if history else records.current(the_record)
        named = the.name if site is not None else None
        rows = rows_since(rows, since, named)
        judged = judged_of(the_record, named) if form == "json" and since is None else []
        seen = seen_of(the_record, named) if form == "json" and since is None else []
        receipts = {}
        if form == "json":
            whole = history and since is None and named is None
            of_rows = receipts_of(the_record, rows, judged)
            receipts = every_receipt(the_record) if whole else of_rows
    text = export_csv(rows) if form == "csv" else export_json(rows, receipts, judged, seen)
    if to is None:
        typer.echo(text, nl=not text.endswith("\n"))
        return
    write_new(to, text, private=True)
    say(to)


def bring_in(
    file: Annotated[Path, typer.Argument(help="What `log export --format json --history` wrote.")],
    site: SiteOption = None,
    record: RecordOption = None,
) -> None:
    """Make a new record of an exported one; a record that is there is never touched."""
    from spraywindow.record import import_json

    path = record_file(Call(site, record_file=record))
    count = import_json(path, read_text(file, "export"), where=str(file))
    say(f"A new record: {path}, {count} row{'' if count == 1 else 's'}.")


def check(
    site: SiteOption = None,
    record: RecordOption = None,
    now: NowOption = None,
    json: JsonOption = False,
) -> None:
    """Verify the file, every digest and correction; a damaged record is an error (exit code 2)."""
    from spraywindow.errors import RecordError, one_line
    from spraywindow.record import check_record
    from spraywindow.show import to_json

    call = Call(site, now_text=now, record_file=record, clock=True)
    path, _ = record_file(call), call.now
    found = check_record(path)
    if json:
        say(to_json(found))
    if found.problems:
        raise RecordError(f"{path}: {one_line(found.problems)}")
    if not json:
        say(f"{path}: sound, {found.entries} row{'' if found.entries == 1 else 's'}.")


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
    now: NowOption = None,
    json: JsonOption = False,
) -> None:
    """Write the client's note for the evening before, the record sheet, or the bill's line."""
    from spraywindow.errors import InputError
    from spraywindow.jobs.log.papers import PAPERS, built_in_template, write_paper
    from spraywindow.show import to_json, write_new

    if kind not in PAPERS:
        raise InputError("unknown paper", expected=", ".join(PAPERS), got=kind)
    if show_template:
        typer.echo(built_in_template(kind), nl=False)
        return
    call = Call(site, now_text=now, record_file=record, clock=True)
    the = call.file_site
    the_entry = _entry_for(call, kind, entry, fields, receipt)
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
    else:
        write_new(to, text)
        say(to)


def _entry_for(
    call: Call,
    kind: str,
    named: str | None,
    fields: list[str] | None,
    receipt: Path | None,
) -> Application:
    """The entry of that number; for a note also a plan: a file, settings, a receipt's hours."""
    from spraywindow.errors import InputError
    from spraywindow.jobs.log.advised import hours_of
    from spraywindow.jobs.slots import hourless, read_receipt, refuse_other_site
    from spraywindow.record import entry_from
    from spraywindow.record import record as records

    if named is not None and named.isdigit():
        with opened(call) as the_record:
            return holding(records.current(the_record), int(named)).entry
    if kind != "note":
        raise InputError(
            f"a {kind} is of a round that is done",
            expected="the number of its entry",
            got=named,
            cure="`spraywindow log list` shows the numbers",
        )
    the, plan = call.bare_site, dict[str, object]()
    if receipt is not None:
        text = read_text(receipt, "receipt")
        refuse_other_site(text, the.name, where=str(receipt))
        if hourless(text) is not None:
            raise InputError(
                "this receipt advises no hours", where=str(receipt), expected="one of a go"
            )
        advised = read_receipt(text)
        plan = hours_of(advised, the)
    plan |= written(None if named is None else Path(named), fields)
    return entry_from(the, plan, where=named or "plan")

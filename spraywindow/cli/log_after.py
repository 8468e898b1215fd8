"""What follows a round: keep it or redo it, was the advice right, and the papers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.cli.log_shared import (
    holding,
    opened,
    read_text,
    site_and_now,
)
from spraywindow.cli.options import (
    DEMO_NOTE,
    ColumnsOption,
    JsonOption,
    NowOption,
    RecordOption,
    SiteOption,
    WeatherOption,
    note,
    say,
    the_weather,
)

if TYPE_CHECKING:
    pass


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
    from spraywindow.errors import RecordError, describe
    from spraywindow.orchard import records
    from spraywindow.orchard.block_states import season_start
    from spraywindow.orchard.round_advice import advise, latest_rounds
    from spraywindow.output.advice_text import ADVICE_WORDS, advice_text
    from spraywindow.output.json import to_json

    the, at = site_and_now(site, now, demo=site is None and weather is None)
    with opened(record, site, the) as the_record:
        holds = records.current(the_record)
    rows = [row for row in holds if row.entry.site == the.name]
    if not rows:
        raise RecordError(
            describe(f"no entry of the site {the.name!r}", expected="one of its rounds",
                     got=", ".join(sorted({row.entry.site for row in holds})) or "an empty record")
        )  # fmt: skip
    first = season_start(at.tz_convert(the.place.timezone).date(), the)
    season = [row for row in rows if row.entry.day >= first and row.entry.finished <= at]
    if number is not None:
        chosen = [holding(rows, number)]
    else:
        chosen = season if every else latest_rounds(season, the)
    table = the_weather(the, weather, columns, at, demo=site is None)
    answer = advise(chosen, rows, the, table, at)
    if site is None:
        note(DEMO_NOTE)
    say(to_json(answer, ADVICE_WORDS) if json else advice_text(answer))


def judge(
    number: Annotated[
        int | None, typer.Argument(help="Entry. Default: all that carry a receipt.")
    ] = None,
    site: SiteOption = None,
    record: RecordOption = None,
    receipt: Annotated[
        list[Path] | None, typer.Option(help="Judge this receipt instead. Repeatable.")
    ] = None,
    weather: WeatherOption = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    json: JsonOption = False,
) -> None:
    """Hold the advice that was given against the weather that came."""
    from spraywindow.errors import RecordError, describe
    from spraywindow.orchard import records
    from spraywindow.orchard.receipts import refuse_other_site
    from spraywindow.output.json import to_json
    from spraywindow.output.judge_answers import judge_answer, judged_all
    from spraywindow.output.judge_text import judge_text

    the, at = site_and_now(site, now, demo=site is None and weather is None)
    texts: list[tuple[str, str]] = []
    if receipt:
        texts = [(str(path), read_text(path, "receipt")) for path in receipt]
    else:
        with opened(record, site, the) as the_record:
            rows = records.current(the_record, None if site is None else the.name)
            chosen = rows if number is None else [holding(rows, number)]
            for row in chosen:
                text = records.receipt_of(the_record, row.id)
                if text is not None:
                    texts.append((str(row.id), text))
        if not texts:
            raise RecordError(
                describe("no receipt to judge",
                         cure="keep one with `slots --receipt FILE`, `log add --receipt FILE`")
            )  # fmt: skip
    if receipt or number is not None:  # one that is asked for by name
        for name, text in texts:
            refuse_other_site(text, the.name, where=name if receipt else f"receipt of entry {name}")
    table = the_weather(the, weather, columns, at, demo=site is None)
    answer = judge_answer(judged_all(texts, the, table, at.to_pydatetime()), the, at)
    if site is None:
        note(DEMO_NOTE)
    say(to_json(answer) if json else judge_text(answer, the))

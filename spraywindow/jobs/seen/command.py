"""``spraywindow seen``: what the adviser saw at a site, in place of editing its file."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.call import (
    Call,
    ColumnsOption,
    Each,
    JsonOption,
    NowOption,
    RecordOption,
    WeatherOption,
    apart,
    named_sites,
    note,
    one_site,
    say_each,
    told,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from spraywindow.jobs.seen.answer import SeenAnswer
    from spraywindow.record import Sighting
    from spraywindow.site import Site


def seen(
    site: Annotated[
        Path,
        typer.Argument(
            metavar="SITE", help="Site file or a site's name; of a folder of them every list."
        ),
    ],
    block: Annotated[
        str | None, typer.Argument(help="Block of trees; a site of one block needs no name.")
    ] = None,
    stage: Annotated[str | None, typer.Argument(help='Its stage, such as "bud swell".')] = None,
    leaf_fall: Annotated[bool, typer.Option("--leaf-fall", help="The leaves are down.")] = False,
    dry: Annotated[
        str | None, typer.Option("--dry", help='When the bark had dried, local: "10:20".')
    ] = None,
    lowest: Annotated[
        str | None, typer.Option("--lowest", help='Lowest of the night before: "-1.5 degC".')
    ] = None,
    on: Annotated[
        str | None, typer.Option("--on", help="Local day it was seen, 2026-01-12. Default: today.")
    ] = None,
    undo: Annotated[
        int | None, typer.Option("--undo", help="Take back what has this number in the list.")
    ] = None,
    weather: WeatherOption = None,
    columns: ColumnsOption = None,
    record: RecordOption = None,
    now: NowOption = None,
    json: JsonOption = False,
) -> None:
    """Note what you saw at a site; without anything seen: the list.

    Every command uses it before the site file, and says so. It is kept in the site's record.
    Dry bark and cold nights teach the site, beside what the weather known now says of them.
    """
    from spraywindow.errors import InputError
    from spraywindow.jobs.seen.answer import SeenAnswer, seen_text
    from spraywindow.record import Sighting, keep_seen, open_record, sightings, undo_seen
    from spraywindow.show import to_json

    asked = (block, stage, leaf_fall or None, dry, lowest, on, undo)
    if site.is_dir() and all(each is None for each in asked):
        _list_every(named_sites([site]).files, record, now, json=json)
        return
    call = Call(one_site(site), weather, columns, now, record)
    the, at, path = call.file_site, call.now, call.record_path
    assert path is not None  # a site is named
    day = _day(on, call.today)
    found = _found(the, block, stage, leaf_fall, day)
    if dry is not None:
        found.append(Sighting(the.name, "dry", day, time=_clock(dry, day, call)))
    if lowest is not None:
        found.append(Sighting(the.name, "lowest", day, temp_c=_temperature(lowest)))
    if undo is not None and (found or on):
        raise InputError("--undo beside something seen", cure="give one of them")
    if on is not None and not found:
        raise InputError("--on without anything seen", cure="say what was seen")
    answer = SeenAnswer(the, path, at.tz_convert(the.place.timezone), ())
    new = not path.exists()
    if found or undo is not None or not new:
        writes = bool(found) or undo is not None
        with open_record(path, create=bool(found), read_only=not writes) as opened:
            if undo is not None:
                undone = undo_seen(opened, undo, the.name, now=at.to_pydatetime())
                answer = replace(answer, undone=undone)
            elif found:
                added = keep_seen(opened, _modelled(call, found), now=at.to_pydatetime())
                answer = replace(answer, added=tuple(added))
            answer = replace(answer, seen=tuple(sightings(opened, the.name)))
    if new and found:
        note(f"A new record: {path}")
    call.say(to_json(answer) if json else seen_text(answer))


def _list_every(
    files: Sequence[Path | None], record: Path | None, now: str | None, *, json: bool
) -> None:
    """What was seen at every site of a folder; exit code 2 where one cannot be told."""
    from spraywindow.jobs.seen.answer import seen_text
    from spraywindow.show import paragraph, to_json

    ready = apart([Call(file, now_text=now, record_file=record) for file in files])
    calls = [call for call, _ in ready.answered]
    every = Each.of(calls, [told(call, _list) for call in calls], ready.unanswered)
    every.refuse_none()
    if json:
        texts = [to_json(answer) for _, answer in every.answered]
        say_each([*texts, *map(to_json, every.unanswered)], json=True, of_list=True)
    else:
        texts = [seen_text(answer) for _, answer in every.answered]
        say_each([*texts, *(paragraph(str(each)) for each in every.unanswered)])
    if every.unanswered:
        raise typer.Exit(2)


def _list(call: Call) -> SeenAnswer:
    """What was seen at a site, as its record has it."""
    from spraywindow.jobs.seen.answer import SeenAnswer
    from spraywindow.record import open_record, sightings

    the, path = call.file_site, call.record_path
    assert path is not None  # a site is named
    answer = SeenAnswer(the, path, call.now.tz_convert(the.place.timezone), ())
    if not path.exists():
        return answer
    with open_record(path, read_only=True) as opened:
        return replace(answer, seen=tuple(sightings(opened, the.name)))


def _found(
    site: Site, block: str | None, stage: str | None, leaf_fall: bool, day: dt.date
) -> list[Sighting]:
    """What one call says was seen."""
    from spraywindow.errors import InputError, did_you_mean
    from spraywindow.record import Sighting
    from spraywindow.trees import parse_stage

    names = [each.name for each in site.blocks]
    found = []
    if block is not None and stage is None and len(names) == 1:
        block, stage = (names[0], block) if block != names[0] else (block, None)
    if block is not None:
        if block not in names:
            raise InputError(
                "no such block", where=site.name, expected="one of " + ", ".join(names), got=block,
                cure=did_you_mean(block, names),
            )  # fmt: skip
        if stage is None:
            raise InputError("a block without its stage", got=block, cure='add it: "bud swell"')
        seen = parse_stage(stage, where="stage").bbch
        found.append(Sighting(site.name, "stage", day, block, seen))
    if leaf_fall:
        found.append(Sighting(site.name, "leaf fall", day))
    return found


def _day(text: str | None, today: dt.date) -> dt.date:
    """The local day of what was seen."""
    from spraywindow.errors import InputError

    if text is None:
        return today
    try:
        day = dt.date.fromisoformat(text)
    except ValueError as error:
        raise InputError(
            "not a date", where="--on", expected="such as 2026-01-12", got=text
        ) from error
    if day > today:
        raise InputError("a day to come", where="--on", expected=f"up to {today}", got=text)
    return day


def _clock(text: str, day: dt.date, call: Call) -> dt.datetime:
    """A clock time of a local day, not after now."""
    from zoneinfo import ZoneInfo

    from spraywindow.errors import InputError

    try:
        clock = dt.time.fromisoformat(text if len(text) > 4 else f"0{text}")
    except ValueError as error:
        raise InputError("not a clock time", where="--dry", expected='"10:20"', got=text) from error
    time = dt.datetime.combine(day, clock, ZoneInfo(call.file_site.place.timezone))
    if time > call.now:
        raise InputError("a time to come", where="--dry", expected="one that is past", got=text)
    return time


def _temperature(text: str) -> float:
    from spraywindow.errors import InputError
    from spraywindow.units import quantity

    temp_c = quantity(text, "degC", where="--lowest")
    if not -40 <= temp_c <= 40:
        raise InputError("out of range", where="--lowest", expected="-40 to 40 degC", got=text)
    return temp_c


def _modelled(call: Call, found: list[Sighting]) -> list[Sighting]:
    """What was seen, with what the weather known now says of it; without where it cannot tell."""
    from spraywindow.errors import SourceError
    from spraywindow.jobs.seen.model import model_dry, model_lowest

    if not any(each.kind in ("dry", "lowest") for each in found):
        return found
    try:
        table = call.weather
    except SourceError as error:
        call.tell(f"No model beside it, so it teaches nothing: {error}")
        return found
    site, out = call.file_site, []
    for each in found:
        if each.kind == "dry":
            told = model_dry(site, table, each.day)
            each = replace(each, model_time=told, dew_off_h=site.setting.dew_off_h)
        elif each.kind == "lowest":
            each = replace(each, model_c=model_lowest(site, table, each.day))
        if each.kind in ("dry", "lowest") and each.off is None:
            call.tell(
                f"No model beside {each.words}, so it teaches nothing: the weather at hand does "
                "not tell that night and morning, or the bark never surely dries on that day."
            )
        out.append(each)
    return out

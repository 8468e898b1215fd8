"""What the sub-commands of ``spraywindow log`` share: the record's file, settings, the weather."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.call import Call, note

if TYPE_CHECKING:
    from spraywindow.record import Application, Kept, Record
    from spraywindow.site import Site

SET_FIELDS = (
    "material", "product", "registration_number", "start", "end", "amount", "spray_volume", "area",
    "blocks", "share", "use_kind", "crop", "eppo_code", "bbch", "location", "latitude", "longitude",
    "applicator", "certification_number", "customer_name", "customer_address", "temp", "wind",
    "wind_from", "reentry", "preharvest", "next_round", "rain_free", "note",
)  # fmt: skip
"""What may be set, as people write it."""
SetOption = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        help='A field, repeatable: --set amount="4 L" --set blocks="rows 1-4, apricots". '
        f"Fields: {', '.join(SET_FIELDS)}.",
    ),
]
FileArgument = Annotated[
    Path | None, typer.Argument(help="Entry file (TOML, or JSON in .json) of fields.")
]
NumberArgument = Annotated[int, typer.Argument(help="Number of the entry.")]
WhyOption = Annotated[str, typer.Option("--why", help="The reason; it is kept.")]
FETCH_WITHIN_H = 36
"""A forecast service still holds the hours of a round this long after it [h]; P."""


def record_file(call: Call) -> Path:
    """The record's file; an error where neither it nor a site is named."""
    from spraywindow.errors import InputError

    path = call.record_path
    if path is None:
        raise InputError(
            "no record named", cure="give --record FILE, or --site FILE whose record it is"
        )
    return path


def opened(call: Call) -> Record:
    """Open the record that is there, to read it."""
    from spraywindow.record import open_record

    return open_record(record_file(call), read_only=True)


def settings(pairs: Sequence[str] | None, option: str = "--set") -> dict[str, str]:
    """Read ``NAME=VALUE`` options."""
    from spraywindow.errors import InputError

    out: dict[str, str] = {}
    for pair in pairs or ():
        name, sign, value = pair.partition("=")
        if not sign or not name.strip():
            raise InputError("not a setting", where=option, expected="NAME=VALUE", got=pair)
        if name.strip() in out:
            raise InputError("given twice", where=f"{option} {name.strip()}")
        out[name.strip()] = value.strip()
    return out


def written(
    file: Path | None, pairs: Sequence[str] | None, **named: str | None
) -> dict[str, object]:
    """Fields of the entry file, with those of the options over them."""
    from spraywindow.errors import InputError
    from spraywindow.record import read_entry_file

    fields = {} if file is None else read_entry_file(file)
    if {"verdict", "limits"} <= fields.keys():
        raise InputError(
            "a receipt, not the fields of an entry", where=str(file), cure=f"--receipt {file}"
        )
    given = {name: value for name, value in named.items() if value is not None}
    return fields | given | settings(pairs)


def holding(kept: Sequence[Kept], number: int) -> Kept:
    """The entry of that number that holds; `RecordError` naming what there is otherwise."""
    from spraywindow.errors import RecordError

    for row in kept:
        if row.id == number:
            return row
    there = ", ".join(map(str, sorted(row.id for row in kept)[-12:])) or "none yet"
    raise RecordError(f"no entry {number} that holds", expected=f"one of {there}")


def read_text(path: Path, what: str) -> str:
    """Read a text file that the user names."""
    from spraywindow.errors import InputError

    try:
        return path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise InputError(f"cannot read the {what}", where=str(path), got=error.strerror) from error
    except UnicodeDecodeError as error:
        raise InputError(f"the {what} is not a text file", where=str(path)) from error


def estimated(call: Call, entry: Application, *, fetch: bool = True) -> Application:
    """Fill in the weather at the time, where it was not measured; without it the entry stands."""
    import pandas as pd

    from spraywindow.errors import SourceError
    from spraywindow.record import WEATHER_FIELDS, with_weather
    from spraywindow.weather import forecasts_of

    lacking = [name for name in WEATHER_FIELDS if getattr(entry, name) is None]
    if not lacking or (call.forecast_files[0] is None and not fetch):
        return entry
    if call.by_service:
        age_h = (call.now - pd.Timestamp(entry.start)) / pd.Timedelta(hours=1)
        if age_h > FETCH_WITHIN_H:
            note("No weather filled in: the round is too long ago for a forecast service; "
                 "`log correct NUMBER --weather FILE` can do it.")  # fmt: skip
            return entry
    try:
        table = call.weather
    except SourceError as error:
        note(f"No weather filled in: {error}")
        return entry
    # of two forecasts one is named as the source, not a mean of both
    filled = with_weather(entry, next(iter(forecasts_of(table)), table))
    if filled == entry:
        note("No weather filled in: the source does not hold the hours of the round.")
    return filled


def mix_gives(site: Site, entry: Application) -> tuple[float, float, str]:
    """Spray [L], product and its base ("L", "kg") that `mix` gives for what an entry did.

    Raises
    ------
    InputError
        If it gives none: no sprayer, no rate, no such block, or none that may have the material.
    """
    from spraywindow.jobs.mix import as_mixed
    from spraywindow.record import share_of_blocks

    whole = share_of_blocks(site, entry.blocks, entry.material, entry.day)
    part = min(1.0, entry.share / whole)
    return as_mixed(site, entry.material, entry.blocks, entry.day, part)


def mixed(site: Site, entry: Application) -> Application:
    """Fill in spray and product as `mix` gives them for the blocks done, and note that."""
    from spraywindow.errors import InputError

    given = (entry.product_l, entry.product_kg, entry.spray_volume_l)
    if any(each is not None for each in given):
        raise InputError("--as-mixed beside an amount", cure="give one of them")
    spray_l, product, base = mix_gives(site, entry)
    note = "spray and product as worked out for the blocks, not measured"
    return entry.model_copy(
        update={
            "spray_volume_l": round(spray_l, 1),
            "product_l" if base == "L" else "product_kg": round(product, 3),
            "note": f"{entry.note}; {note}" if entry.note else note,
        }
    )


def rows_since(rows: Sequence[Kept], since: str | None, site: str | None) -> list[Kept]:
    """Keep the rows of a site (None: all) from a local day on, given as text."""
    import datetime as dt

    from spraywindow.errors import InputError

    first = dt.date.min
    if since is not None:
        try:
            first = dt.date.fromisoformat(since)
        except ValueError as error:
            raise InputError(
                "not a date", where="--since", expected="such as 2025-11-01", got=since
            ) from error
    return [row for row in rows if row.entry.day >= first and site in (None, row.entry.site)]

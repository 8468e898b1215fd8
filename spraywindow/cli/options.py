"""What the commands share: options, the clock's now, the site, its weather, writing out."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pandas as pd

    from spraywindow.orchard.site import Site

SiteOption = Annotated[
    Path | None, typer.Option("--site", help="Site file (TOML). Without it: the invented demo.")
]
WeatherOption = Annotated[
    Path | None,
    typer.Option("--weather", help="Weather file (CSV or Parquet) instead of a service."),
]
ColumnsOption = Annotated[
    Path | None,
    typer.Option("--columns", help="Column map (TOML) that says how to read --weather."),
]
NowOption = Annotated[
    str | None,
    typer.Option("--now", help='Time of the answer, local ("2026-01-12 18:00") or with offset.'),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON.")]
DEMO_NOTE = "The invented demo orchard; give --site FILE for your own (`spraywindow init FILE`)."


def the_site(path: Path | None) -> Site:
    """Read the site file, or give the demo's site."""
    from spraywindow.orchard.site import read_site

    if path is None:
        from spraywindow.sources.samples import sample_path

        path = sample_path("orchard.toml")
    return read_site(path)


def parse_now(text: str, timezone: str) -> pd.Timestamp:
    """Read a time; without an offset it is the site's local time."""
    import pandas as pd

    from spraywindow.errors import InputError, describe

    trouble = InputError(
        describe("not a time", where="--now", expected='such as "2026-01-12 18:00"', got=text)
    )
    try:
        time = pd.Timestamp(text)
    except ValueError as error:
        raise trouble from error
    if not isinstance(time, pd.Timestamp):  # NaT
        raise trouble
    if time.tzinfo is None:
        try:
            time = time.tz_localize(timezone)
        except ValueError as error:
            raise InputError(
                describe("this local time does not exist or comes twice", where="--now", got=text,
                         cure="give it with its offset: 2026-03-29T03:30+03:00")
            ) from error  # fmt: skip
    return time.tz_convert("UTC")


def the_now(text: str | None, site: Site, *, demo: bool) -> pd.Timestamp:
    """The time of the answer: as given, else the demo's issue time, else the clock's."""
    import pandas as pd

    if text is not None:
        return parse_now(text, site.place.timezone)
    if demo:
        from spraywindow.sources.samples import DEMO_NOW

        return DEMO_NOW
    return pd.Timestamp.now(tz="UTC")


def the_weather(
    site: Site,
    weather: Path | None,
    columns: Path | None,
    now: pd.Timestamp,
    *,
    demo: bool,
    service: str | None = None,
) -> pd.DataFrame:
    """The hourly table: from a file, the demo, or a forecast service."""
    from spraywindow.errors import InputError, describe

    if columns is not None and weather is None:
        raise InputError(describe("--columns without --weather", cure="name the weather file"))
    if weather is not None:
        from spraywindow.sources.tables import read_weather

        return read_weather(weather, columns=columns)
    if demo:
        from spraywindow.sources.samples import demo_forecast

        return demo_forecast()
    from spraywindow.sources.forecast import get_forecast

    with progress("fetching the forecast"):
        return get_forecast(site.place, now=now, service=service or site.service)


@contextmanager
def progress(what: str) -> Iterator[None]:
    """Show on stderr, to a person, that something is under way."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console

    with Console(stderr=True).status(f"{what} ..."):
        yield


def write_new(path: Path, text: str) -> None:
    """Write a file whole or not at all, beside its place first; `InputError` if it cannot be."""
    import os
    import tempfile

    from spraywindow.errors import InputError, describe

    try:
        with tempfile.NamedTemporaryFile(
            "w", dir=path.parent, prefix=f".{path.name}.", delete=False, encoding="utf-8"
        ) as file:
            beside = Path(file.name)
            file.write(text)
        os.replace(beside, path)
    except OSError as error:
        raise InputError(describe("cannot write", where=str(path), got=error.strerror)) from error


def say(text: Any) -> None:
    """Print an answer."""
    typer.echo(str(text))


def note(text: str) -> None:
    """Print a remark beside the answer, on stderr."""
    typer.echo(text, err=True)

"""The sites of ``spraywindow visits``: what cannot be read is named, and the others go on."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from spraywindow.cli.options import the_weather, with_record

if TYPE_CHECKING:
    import pandas as pd

    from spraywindow.orchard.site import Site


@dataclass(frozen=True)
class Listed:
    """A site of the call: its file, its content, and the weather file that goes with it."""

    path: Path
    site: Site
    weather: Path | None


@dataclass
class Unread:
    """Name and reason of the sites that cannot be read."""

    rows: list[tuple[str, str]] = field(default_factory=list)

    @contextmanager
    def name(self, site: str) -> Iterator[None]:
        """Note an error that a user can cause, of a site, and go on."""
        from spraywindow.errors import SprayWindowError

        try:
            yield
        except SprayWindowError as error:
            self.rows.append((site, str(error)))

    def refuse(self) -> NoReturn:
        """Raise `InputError` with every site's reason."""
        from spraywindow.errors import InputError, one_line

        raise InputError(one_line([f"{name}: {why}" for name, why in self.rows]))


def listed_sites(
    paths: Sequence[Path], weather: Sequence[Path] | None, unread: Unread
) -> list[Listed]:
    """Read the site files, each with its weather file: one for all, or one each.

    Raises
    ------
    InputError
        If no site file can be read, the weather files do not match, or sites cannot be planned
        together: of one name, or on both sides of the equator.
    """
    from spraywindow.errors import InputError, describe
    from spraywindow.orchard.site import read_site

    files: list[Path | None] = list(weather) if weather else [None]
    if len(files) not in (1, len(paths)):
        raise InputError(
            describe("weather files and sites do not match", where="--weather",
                     expected=f"1 or {len(paths)}", got=len(files))
        )  # fmt: skip
    listed = []
    for path, file in zip(paths, files if len(files) > 1 else files * len(paths), strict=True):
        with unread.name(_name_in(path)):
            listed.append(Listed(path, read_site(path), file))
    if not listed:
        unread.refuse()
    names = [one.site.name for one in listed]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(
            describe(f"two site files are of {twice[0]!r}", cure="give each site its own name")
        )
    if len({one.site.place.latitude >= 0 for one in listed}) > 1:
        raise InputError(describe("sites on both sides of the equator", cure="plan them apart"))
    return listed


def with_weather(
    listed: Sequence[Listed],
    columns: Path | None,
    now: pd.Timestamp,
    unread: Unread,
    *,
    demo: bool = False,
    records: bool = False,
) -> tuple[list[Site], list[pd.DataFrame]]:
    """The sites and a weather table each: of a file, or what each site's service says.

    Parameters
    ----------
    records : bool
        Whether to add what the sites' records say is done.

    Raises
    ------
    InputError
        If the file of all sites, or every site's own, cannot be read.
    """
    site = listed[0].site

    @cache
    def read(path: Path) -> pd.DataFrame:
        return the_weather(site, path, columns, now, demo=False)

    sites, tables = [], []
    if len({one.weather for one in listed}) == 1 and listed[0].weather is not None:
        read(listed[0].weather)  # an error of the file that serves all is told once
    for one in listed:
        with unread.name(one.site.name):
            done = with_record(one.site, one.path, None, now)[0] if records else one.site
            file = one.weather
            table = read(file) if file else the_weather(done, None, columns, now, demo=demo)
            sites.append(done)
            tables.append(table)
    if not sites:
        unread.refuse()
    return sites, tables


def _name_in(path: Path) -> str:
    """The name that a site file gives itself, as far as that can be read; else the file's."""
    try:
        name = tomllib.loads(path.read_bytes().decode("utf-8")).get("name")
    except (OSError, ValueError):  # the reader of the site file tells what is wrong
        return str(path)
    return name if isinstance(name, str) and name.strip() else str(path)

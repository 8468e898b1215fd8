"""Which sites a call is about: site files, folders of them, or names that sites give themselves."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Named:
    """The site files that are meant, None for the demo; whether a folder was among what was named.

    A folder asks for one answer of all its sites, in which one that fails does not stop the others.
    """

    files: tuple[Path | None, ...]
    folder: bool = False


def named_sites(*lists: Sequence[Path] | None) -> Named:
    """The site files of what was named; of a folder all that it holds, each once.

    What is neither a file nor a folder is a site's name, sought among the site files of the folder
    before it, or of the current one: ``"Varkessa Bank"``, ``"sites/Varkessa Bank"``.

    Raises
    ------
    InputError
        If a folder holds no site file, or a name is of none, or of several.
    """
    named = [path for paths in lists for path in paths or ()]
    if not named:
        return Named((None,))
    folder = any(path.is_dir() for path in named)
    files = [
        file
        for path in named
        for file in (files_in(path) if path.is_dir() else [_file_of(path)])
    ]  # fmt: skip
    if folder:
        files = list({file.resolve(): file for file in files}.values())
    return Named(tuple(files), folder)


def one_site(path: Path | None) -> Path | None:
    """The site file of what an option named; `InputError` where that is a folder of several."""
    from spraywindow.errors import InputError

    if path is None or not path.is_dir():
        return None if path is None else _file_of(path)
    files = files_in(path)
    if len(files) > 1:
        raise InputError(
            "a folder of several sites",
            where=str(path),
            expected="one of " + _listed(map(name_in, files)),
            cure=f'name it: "{path / name_in(files[0])}"',
        )
    return files[0]


def files_in(folder: Path) -> list[Path]:
    """The site files of a folder by name; those that cannot be read are among them, to be told.

    Column maps, which stand beside them, and TOML files of other programs are left out.
    """
    from spraywindow.errors import InputError
    from spraywindow.site import may_be_site

    files = [path for path in sorted(folder.glob("*.toml")) if may_be_site(path)]
    if not files:
        raise InputError(
            "no site file in this folder",
            where=str(folder),
            cure=f"`spraywindow init {folder / 'mysite.toml'}` writes one",
        )
    return files


def name_in(path: Path | None) -> str:
    """The name that a site file gives itself, as far as that can be read; else the file's."""
    if path is None:
        return "the demo"
    try:
        name = tomllib.loads(path.read_bytes().decode("utf-8")).get("name")
    except (OSError, ValueError, RecursionError):  # the reader of the site file tells what is wrong
        return str(path)
    return name if isinstance(name, str) and name.strip() else str(path)


def _file_of(path: Path) -> Path:
    """The file itself, else the one whose site has this name, or the only one that begins so."""
    from spraywindow.errors import InputError, did_you_mean
    from spraywindow.site import may_be_site

    if path.exists() or path.suffix == ".toml":
        return path
    typed = path.name.casefold()
    names = {
        file: name_in(file) for file in sorted(path.parent.glob("*.toml")) if may_be_site(file)
    }
    found = [file for file, name in names.items() if name.casefold() == typed]
    found = found or [file for file, name in names.items() if name.casefold().startswith(typed)]
    if len(found) == 1:
        return found[0]
    known = _listed(f"{names[file]} ({file.name})" for file in found or names)
    raise InputError(
        "several sites of this name" if found else "no such file or folder, and no site's name",
        where=str(path),
        expected=f"one of {known}" if known else "",
        cure="" if found else did_you_mean(path.name, names.values()),
    )


def _listed(names: Iterable[str]) -> str:
    return ", ".join(names)

"""The folder of kept replies."""

from __future__ import annotations

import os
from pathlib import Path

from spraywindow.errors import describe


def cache_folder(cache_dir: Path | None = None) -> Path:
    """Where replies are kept: the argument, else ``SPRAYWINDOW_CACHE``, else the user's cache."""
    if cache_dir is not None:
        return Path(cache_dir)
    if os.environ.get("SPRAYWINDOW_CACHE"):
        return Path(os.environ["SPRAYWINDOW_CACHE"])
    from platformdirs import user_cache_path

    return user_cache_path("spraywindow", appauthor=False)


def cache_trouble(folder: Path, error: Exception) -> str:
    """Say that the cache fails, and the cure."""
    return describe(
        f"the cache cannot be used ({error})",
        where=str(folder),
        cure="free or delete it, or set SPRAYWINDOW_CACHE to a folder that can be written",
    )

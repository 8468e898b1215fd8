"""Which version of the package is installed."""

from __future__ import annotations

from importlib.metadata import version

__version__ = version("spraywindow")

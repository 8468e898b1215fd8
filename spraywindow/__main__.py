"""``python -m spraywindow``."""

from spraywindow.cli.main import run

run()

"""``python -m spraywindow``."""

from spraywindow.main import run

run()

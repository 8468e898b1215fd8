"""The command line: one short file a command, and one place where errors become a line."""

from __future__ import annotations

import os
import sys
from typing import Annotated, NoReturn

import typer

from spraywindow.jobs.backtest import backtest
from spraywindow.jobs.feed import feed
from spraywindow.jobs.hose import hose
from spraywindow.jobs.init import init
from spraywindow.jobs.log import log
from spraywindow.jobs.mix import mix
from spraywindow.jobs.region import region
from spraywindow.jobs.report import report
from spraywindow.jobs.season import season
from spraywindow.jobs.seen import seen
from spraywindow.jobs.slots import slots
from spraywindow.jobs.visits import visits

OWN_FAULT = 70
"""Exit code for a fault of the program itself."""

REPORT_IT = (
    "a fault of the program itself: please report it with the version (spraywindow --version), the "
    "command and the lines above; no names, places or keys"
)
"""What helps to find a fault, and what is nobody's business."""
EPILOG = (
    "Exit codes: 0 answered; 2 an error, told in one line; with slots --exit-code 1 for wait or "
    f"no-go and 3 for unknown; {OWN_FAULT} {REPORT_IT}."
)

app = typer.Typer(
    name="spraywindow",
    help="Which hours to spray dormant fruit trees, and whether the season holds the program.",
    epilog=EPILOG,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.command()(slots)
app.command()(season)
app.command()(backtest)
app.add_typer(log)
app.command()(seen)
app.command()(visits)
app.command()(feed)
app.command()(hose)
app.command()(mix)
app.command()(report)
app.command()(init)
app.command()(region)


def _version(asked: bool) -> None:
    if asked:
        from spraywindow.version import __version__

        typer.echo(f"spraywindow {__version__}")
        raise typer.Exit()


@app.callback()
def _main(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Which hours to spray dormant fruit trees, and whether the season holds the program."""


def run() -> None:
    """Run the command line: a clear line and exit code 2 for every error that a user can cause."""
    from spraywindow.errors import SprayWindowError

    try:
        code = app(standalone_mode=False)
    except SprayWindowError as error:
        _fail(str(error))
    except BrokenPipeError:
        # the reader (head, less) has gone: not an error, and nothing more to say
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except KeyboardInterrupt:
        sys.exit(130)
    except Exception as error:
        # the parser's own exceptions (unknown option, missing value) carry their message
        message = getattr(error, "format_message", None)
        if type(error).__name__ == "NoArgsIsHelpError":
            typer.echo(str(error))
            sys.exit(0)
        if message is None:
            if type(error).__name__ == "Abort":  # a prompt was left
                sys.exit(130)
            _own_fault()
        _fail(message() or "see --help")
    sys.exit(code or 0)


def _own_fault() -> NoReturn:
    """Show a fault of the program itself; its exit code is none of those that answers have."""
    import traceback

    traceback.print_exc()
    typer.echo(f"spraywindow: {REPORT_IT}", err=True)
    sys.exit(OWN_FAULT)


def _fail(text: str) -> NoReturn:
    typer.echo("spraywindow: " + " ".join(text.split()), err=True)
    sys.exit(2)

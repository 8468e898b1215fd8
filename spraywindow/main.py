"""The command line: one short file a command, and one place where errors become a line."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from importlib import import_module
from typing import Annotated, NoReturn

import typer

OWN_FAULT = 70
"""Exit code for a fault of the program itself."""

REPORT_IT = (
    "a fault of the program itself: please report it with the version (spraywindow --version), the "
    "command and the lines above; no names, places or keys"
)
"""What helps to find a fault, and what is nobody's business."""
EPILOG = (
    "Exit codes: 0 answered; 2 an error, told in one line, or a site of a folder without answer; "
    "with slots --exit-code 1 for wait or "
    f"no-go and 3 for unknown; {OWN_FAULT} {REPORT_IT}."
)

JOBS = (
    "slots", "season", "backtest", "log", "seen", "visits", "feed", "hose", "mix", "report",
    "tonight", "init", "region",
)  # fmt: skip
"""The commands in the order of --help; each is the one of this name in `spraywindow.jobs`."""


def application(names: Iterable[str] = JOBS) -> typer.Typer:
    """The command line with so many of its commands: each costs its modules and its options."""
    app = typer.Typer(
        name="spraywindow",
        help="Which hours to spray dormant fruit trees, and whether the season holds the program.",
        epilog=EPILOG,
        no_args_is_help=True,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback()(_main)
    for name in names:
        job = getattr(import_module(f"spraywindow.jobs.{name}"), name)
        if isinstance(job, typer.Typer):
            app.add_typer(job)
        else:
            app.command()(job)
    return app


def _version(asked: bool) -> None:
    if asked:
        from spraywindow.version import __version__

        typer.echo(f"spraywindow {__version__}")
        raise typer.Exit()


def _main(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Which hours to spray dormant fruit trees, and whether the season holds the program."""


def run() -> None:
    """Run the command line: a clear line and exit code 2 for every error that a user can cause."""
    from spraywindow.errors import SprayWindowError

    asked = [name for name in sys.argv[1:2] if name in JOBS]
    try:
        code = application(asked or JOBS)(standalone_mode=False)
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

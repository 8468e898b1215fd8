"""``spraywindow region``: every site of a store, on one machine or a cluster."""

from __future__ import annotations

from enum import StrEnum
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.call import Call, NowOption, PlotOption, SiteOption, bar, check_picture, note, say

if TYPE_CHECKING:
    from collections.abc import Callable

    import xarray as xr

    from spraywindow.region import Ran

SITES_TABLE = ".csv"
NEEDED = ("dask", "distributed", "xarray", "zarr")


class Question(StrEnum):
    """What is asked of every site."""

    HOURS = "hours"
    MORNINGS = "mornings"
    SEASON = "season"


def region(
    source: Annotated[
        str,
        typer.Argument(
            metavar="IN",
            help="Hourly weather by the CF conventions: a Zarr store, a netCDF file, a folder or "
            "pattern of them; or a table of sites (CSV: name, latitude, longitude, elevation, "
            "timezone), whose past is then fetched.",
        ),
    ],
    out: Annotated[Path, typer.Option("--out", help="Answers: a Zarr store, or netCDF (.nc).")],
    question: Annotated[
        Question, typer.Option("--ask", help="Every hour, usable mornings, or past winters.")
    ] = Question.SEASON,
    site: SiteOption = None,
    plot: PlotOption = None,
    cluster: Annotated[
        str | None, typer.Option("--cluster", help="Address of a Dask scheduler to use.")
    ] = None,
    workers: Annotated[
        int, typer.Option("--workers", min=1, help="Processes to start without --cluster.")
    ] = 1,
    memory: Annotated[
        str, typer.Option("--memory", help="Memory that each of them may use.")
    ] = "2 GB",
    limits: Annotated[
        bool, typer.Option("--limits", help="Of hours, the margin of each limit too.")
    ] = False,
    now: NowOption = None,
) -> None:
    """Ask every site of a region: hours, usable mornings, or whether the program fits.

    Materials, program, trees and working hours are those of --site, at every site. A run that
    was stopped goes on where it was; sites that are left out, or that failed, are named.
    """
    from spraywindow.errors import InputError

    lacking = [name for name in NEEDED if find_spec(name) is None]
    if lacking:
        cure = 'pip install "spraywindow[region]"'
        raise InputError(f"a region needs {', '.join(lacking)}, an extra", cure=cure)
    from spraywindow.jobs.region.answer import asked, region_text

    check_picture(plot)
    if plot is not None and question is Question.HOURS:
        raise InputError("--plot of hours", cure="ask for mornings or the season")
    call = Call(site, now_text=now)
    work = asked(call.file_site, call.today, question.value, limits=limits)
    ran = _run(call, source, out, work, (cluster, workers, memory))
    if plot is not None:
        from spraywindow.jobs.region.picture import save_region_map

        save_region_map(plot, out)
    if call.demo:
        note("Program, trees and hours of the invented demo orchard; give --site FILE for yours.")
    say(region_text(ran, out))
    if len(ran.failed) == ran.blocks:
        raise InputError("every block failed", where=source)


def _run(
    call: Call,
    source: str,
    out: Path,
    work: tuple[Callable[[xr.Dataset], xr.Dataset], str],
    on: tuple[str | None, int, str],
) -> Ran:
    """Run it, over a table of sites with the past of each."""
    from spraywindow.region import run_region

    notes = []
    if source.lower().endswith(SITES_TABLE):
        from spraywindow.jobs.region.sites import gathered_weather
        from spraywindow.sources.past import reanalysis_record

        store = out.with_name(out.name + ".weather")
        with bar("weather of sites") as shown:
            start, end = call.past_hours
            notes = gathered_weather(Path(source), store, start, end, reanalysis_record, shown)
        source = str(store)
    cluster, workers, memory = on
    with bar("blocks of sites") as shown:
        ran = run_region(
            source, out, work[0], work[1], cluster=cluster, workers=workers, memory=memory,
            shown=shown,
        )  # fmt: skip
    ran.notes += notes
    return ran

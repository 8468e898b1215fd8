"""What the commands share: options, and the `Call` that reads what they name."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from spraywindow.call.named import one_site

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Iterator
    from concurrent.futures import Future

    import pandas as pd
    from requests_cache import CachedSession

    from spraywindow.record import Kept, Record, Sighting
    from spraywindow.site import Site
    from spraywindow.spray import Learned

SiteOption = Annotated[
    Path | None,
    typer.Option(
        "--site", callback=one_site,
        help="Site file (TOML), or a site's name. Without it: the invented demo.",
    ),
]  # fmt: skip
SitesOption = Annotated[
    list[Path] | None,
    typer.Option("--site", help="The same as a site, a folder or a name given alone; repeatable."),
]
SitesArgument = Annotated[
    list[Path] | None,
    typer.Argument(
        metavar="[SITES]...",
        help="Site files (TOML), folders of them, or names of sites (of the folder before the "
        "name, else of this one). Without: the invented demo.",
    ),
]
WeatherOption = Annotated[
    Path | None,
    typer.Option(
        "--weather",
        help="Forecast file (CSV or Parquet); default: the site file's, else a service.",
    ),
]
ColumnsOption = Annotated[
    Path | None,
    typer.Option("--columns", help="Column map (TOML) that says how to read --weather."),
]
PlotOption = Annotated[
    Path | None, typer.Option("--plot", help="Also draw a picture of it (.png or .svg).")
]
NowOption = Annotated[
    str | None,
    typer.Option("--now", help='Time of the answer, local ("2026-01-12 18:00") or with offset.'),
]
FullOption = Annotated[
    bool, typer.Option("--full", help="Also print the tables behind the answer.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON.")]
RecordOption = Annotated[
    Path | None,
    typer.Option(
        "--record",
        help="Application record. Default: the site file's key record, else its name with .db.",
    ),
]
PastOption = Annotated[
    Path | None,
    typer.Option("--winters", help="Hourly record of past winters; default: the site file's key."),
]
PastColumnsOption = Annotated[
    Path | None, typer.Option("--winters-columns", help="Column map (TOML) for --winters.")
]
PAST_WINTERS = 25
DEMO_NOTE = "The invented demo orchard; give --site FILE for your own (`spraywindow init FILE`)."


@contextmanager
def progress(what: str) -> Iterator[None]:
    """Show on stderr, to a person, that something is under way."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console

    with Console(stderr=True).status(f"{what} ..."):
        yield


def say(text: Any) -> None:
    """Print an answer."""
    typer.echo(str(text))


def note(text: str) -> None:
    """Print a remark beside the answer, on stderr."""
    typer.echo(text, err=True)


@dataclass(frozen=True)
class Call:
    """What one call asks of one site; each part is read once, when it is first used.

    A part reads those before it first: site file, time, weather. So the mistake that is told is
    the first of them, in whatever order a command uses the parts.

    Parameters
    ----------
    file : Path or None
        The site file; None for the invented demo.
    weather_file, columns : Path or None
        As asked for: a forecast file in place of a service, and the map that says how to read it.
    now_text : str or None
        The time of the answer as people write it; None for the clock's, or the demo's.
    record_file : Path or None
        The application record; None for the site's own.
    service : str or None
        A forecast service in place of the site's own, or two ("nws,metnorway").
    clock : bool
        Whether the demo, too, is asked at the clock's time.
    first : Call or None
        The first of several sites, where its time is that of all.
    winters_file, winters_columns : Path or None
        As asked for: a record of past winters, and the map to read it.
    asked : Future of DataFrame or None
        The service's forecast to come, where it was asked for already.
    tell : callable
        Takes a remark beside the answer; by default it goes to stderr.
    """

    file: Path | None
    weather_file: Path | None = None
    columns: Path | None = None
    now_text: str | None = None
    record_file: Path | None = None
    service: str | None = None
    clock: bool = False
    first: Call | None = None
    winters_file: Path | None = None
    winters_columns: Path | None = None
    asked: Future[pd.DataFrame] | None = None
    tell: Callable[[str], None] = note

    @property
    def demo(self) -> bool:
        """Whether the site is the invented demo."""
        return self.file is None

    @property
    def demo_weather(self) -> bool:
        """Whether the weather is the demo's, too."""
        return self.demo and self.weather_file is None

    @property
    def forecast_files(self) -> tuple[Path | None, Path | None]:
        """The forecast's file and its column map: as asked for, else the site file's, if any.

        A service that is asked for by name stands before the site file's.
        """
        return self._files(
            "--weather", self.weather_file, "--columns", self.columns,
            "" if self.service else "weather", "columns",
        )  # fmt: skip

    @property
    def past_files(self) -> tuple[Path | None, Path | None]:
        """The file of past winters and its column map: as asked for, else the site file's."""
        return self._files(
            "--winters", self.winters_file, "--winters-columns", self.winters_columns,
            "winters", "winters_columns",
        )  # fmt: skip

    def _files(
        self, option: str, file: Path | None, map_option: str, column_map: Path | None,
        key: str, map_key: str,
    ) -> tuple[Path | None, Path | None]:  # fmt: skip
        from spraywindow.errors import InputError

        named = self.file_site.files
        if file is not None or self.file is None or key not in named:
            if column_map is not None and file is None:
                raise InputError(f"{map_option} without {option}", cure="name the weather file")
            return file, column_map
        beside = self.file.parent
        by_key = beside / named[map_key] if map_key in named else None
        return beside / named[key], column_map or by_key

    @property
    def by_service(self) -> bool:
        """Whether a forecast service is asked for the weather."""
        return not self.demo and self.forecast_files[0] is None

    @cached_property
    def file_site(self) -> Site:
        """The site as its file says it, without its record."""
        from spraywindow.site import read_site

        if self.file is None:
            from spraywindow.sources.demo import sample_path

            return read_site(sample_path("orchard.toml"))
        return read_site(self.file)

    @cached_property
    def bare_site(self) -> Site:
        """The site with what its record says was seen there, without the rounds done."""
        today = self.today  # a wrong time is told before a damaged record
        if self._recorded is None:
            return self.file_site
        from spraywindow.record import as_seen

        return as_seen(self.file_site, self._recorded[2], today)

    def seen_in(self, opened: Record) -> Site:
        """The same by a record that a command has open."""
        from spraywindow.record import as_seen, sightings

        site = self.file_site
        return as_seen(site, sightings(opened, site.name), self.today)

    @cached_property
    def now(self) -> pd.Timestamp:
        """The time of the answer, UTC."""
        timezone = self.file_site.place.timezone
        if self.first is not None:
            return self.first.now
        if self.now_text is not None:
            return parse_now(self.now_text, timezone)
        if self.demo_weather and not self.clock:
            from spraywindow.sources.demo import DEMO_NOW

            return DEMO_NOW
        import pandas as pd

        return pd.Timestamp.now(tz="UTC")

    @property
    def today(self) -> dt.date:
        """The site's local day of `now`."""
        return self.now.tz_convert(self.file_site.place.timezone).date()

    @property
    def record_path(self) -> Path | None:
        """The record named, else the site file's key, else its name with .db; None of the demo."""
        if self.record_file is not None or self.file is None:
            return self.record_file
        named = self.file_site.record
        return self.file.parent / named if named else self.file.with_suffix(".db")

    @cached_property
    def _recorded(self) -> tuple[list[Kept], Learned, list[Sighting]] | None:
        """Entries, what the site's answers teach, what was seen; None without a record."""
        path, name = self.record_path, self.file_site.name
        if path is None or not path.exists():
            return None
        from spraywindow.record import current, learned_at, open_record, sightings

        with open_record(path, read_only=True) as opened:
            learned = learned_at(opened, name, self.today)
            return current(opened, name), learned, sightings(opened, name)

    @cached_property
    def _with_record(self) -> tuple[Site, list[Kept]]:
        site, today, path = self.bare_site, self.today, self.record_path
        from spraywindow.record import open_record, season_rounds, with_rounds

        if self._recorded is None:
            if self.record_file is not None:
                open_record(self.record_file, read_only=True)  # says what is wrong with the name
            return site, []
        rows, learned, _ = self._recorded
        rounds = season_rounds(rows, site, today)
        done, lines = with_rounds(site, rounds)
        days = "1 day" if len(rounds) == 1 else f"{len(rounds)} days"
        self.tell(f"From the record {path}: {days} of work this season.")
        for line in lines:
            self.tell(f"! {line}")
        return replace(done, learned=learned if site.learn else done.learned), rows

    @property
    def site(self) -> Site:
        """The site with the rounds of its application record; what was read is told.

        A default record may be absent.
        """
        return self._with_record[0]

    def with_winters(self, site: Site) -> Site:
        """The site with the days of flowering that the record of past winters tells, if any."""
        if self.past_files[0] is None or self.told_winters is None:
            return site
        from spraywindow.site import with_flowers

        return with_flowers(site, self.told_winters, self.now, self.weather)

    def with_doubts(self, site: Site, *tables: pd.DataFrame) -> Site:
        """The site with the rounds of its record that rain told by any of the tables may undo."""
        if not self.rows:
            return site
        from spraywindow.record import in_doubt

        every = {
            doubt.entry: doubt
            for table in reversed(tables)  # the first that tells of a round counts
            for doubt in in_doubt(self.rows, site, table, self.now)
        }
        return replace(site, in_doubt=tuple(every[number] for number in sorted(every)))

    @cached_property
    def told_winters(self) -> pd.DataFrame | None:
        """The past winters that are named, or the demo's own; None where there are none."""
        named = self.past_files[0] is not None
        return self.winters if named or self.demo_weather else None

    @property
    def rows(self) -> list[Kept]:
        """The entries of the application record that hold."""
        return self._with_record[1]

    @cached_property
    def weather(self) -> pd.DataFrame:
        """The hourly table: from a file, the demo, or a forecast service."""
        _ = self.now  # read first, and told first if it is wrong
        file, columns = self.forecast_files
        if file is not None:
            from spraywindow.sources.files import read_weather
            from spraywindow.sources.grids import field_tables, is_field

            if is_field(file):
                site = self.file_site
                return field_tables(file, {site.name: site.place}, columns)[site.name]
            return read_weather(file, columns=columns)
        if self.demo:
            from spraywindow.sources.demo import demo_forecast

            return demo_forecast()
        if self.asked is not None:
            return self.asked.result()
        with progress("fetching the forecast"):
            return self.forecast()

    def forecast(self, session: CachedSession | None = None) -> pd.DataFrame:
        """What the service says, through the session that several sites share.

        Two services stand side by side; where one of them fails, the other, and it is said.
        """
        from spraywindow.errors import SourceError, one_line
        from spraywindow.sources import get_forecast, named_services
        from spraywindow.weather import side_by_side

        site, now = self.file_site, self.now
        asked = self.service or site.service
        names = [None] if asked is None else named_services(asked)
        if len(names) == 1:
            return get_forecast(site.place, now=now, service=names[0], session=session)
        tables, problems = [], []
        for name in names:
            try:
                tables.append(get_forecast(site.place, now=now, service=name, session=session))
            except SourceError as error:
                problems.append(str(error))
        if not tables:
            raise SourceError(one_line(problems))
        out = side_by_side(tables)
        out.attrs["notes"] = [*out.attrs["notes"], *problems]
        return out

    @cached_property
    def year_weather(self) -> pd.DataFrame:
        """The hourly table; for the demo at a time in its past winters, those.

        Of two forecasts it is the first: nothing weighs them where no hours are scored.
        """
        from spraywindow.weather import forecasts_of

        forecast = next(iter(forecasts_of(self.weather)), self.weather)
        if not self.demo_weather or _holds(forecast, self.now):
            return forecast
        from spraywindow.sources.demo import demo_winters

        winters = demo_winters()
        return winters if _holds(winters, self.now) else forecast

    @property
    def past_hours(self) -> tuple[pd.Timestamp, pd.Timestamp]:
        """First and last hour of the past winters that are asked for."""
        return past_hours(self.file_site, self.now)

    @property
    def winters(self) -> pd.DataFrame:
        """Past winters, hourly: a file, the demo's, or reanalysis with stations as a check."""
        return self._past[0]

    @property
    def winter_notes(self) -> list[str]:
        """What is to be said of the source of the past winters."""
        return list(self._past[1])

    @cached_property
    def _past(self) -> tuple[pd.DataFrame, list[str]]:
        file, columns = self.past_files
        if file is not None:
            from spraywindow.sources.files import read_weather

            table = read_weather(file, columns=columns)
            table.attrs.setdefault("source", {"name": file.name})
            return table, list(table.attrs.get("notes", []))
        if self.demo:
            from spraywindow.sources.demo import demo_winters

            return demo_winters(), []
        return _reanalysis(self.file_site, self.now)

    def remark(self) -> None:
        """Tell of the demo that it is one."""
        if self.demo:
            self.tell(DEMO_NOTE)

    def say(self, text: str, *, end: str = "\n") -> None:
        """Print the answer; of the demo with the remark."""
        self.remark()
        typer.echo(f"{text}{end}", nl=False)


def _holds(table: pd.DataFrame, time: pd.Timestamp) -> bool:
    return bool(table.index[0] <= time <= table.index[-1])


_YEARS = range(1900, 2200)
"""The years of this: calendars of older days, and sums of dates, need not work beyond them."""


def parse_now(text: str, timezone: str) -> pd.Timestamp:
    """Read a time; without an offset it is the site's local time."""
    import re

    import pandas as pd

    from spraywindow.errors import InputError

    trouble = InputError(
        "not a time", where="--now", expected='such as "2026-01-12 18:00"', got=text
    )
    # pandas would read a clock time alone, or "today", by this machine's clock
    if not re.match(r"\d{4}-\d{2}-\d{2}([T ]|$)", text.strip()):
        raise trouble
    try:
        time = pd.Timestamp(text.strip())
        if time.year not in _YEARS:
            raise trouble
        return (time if time.tzinfo else _local(time, timezone, text)).tz_convert("UTC")
    except ValueError as error:
        raise error if isinstance(error, InputError) else trouble from error


def _local(time: pd.Timestamp, timezone: str, text: str) -> pd.Timestamp:
    """Put a local time on the site's clock, which must show it just once."""
    from spraywindow.errors import InputError

    summer, winter = (
        time.tz_localize(timezone, ambiguous=early, nonexistent="shift_forward")
        for early in (True, False)
    )
    if summer == winter and summer.tz_localize(None) == time:
        return summer
    twice = summer != winter
    raise InputError(
        f"the clocks {'show' if twice else 'jump over'} this local time{' twice' * twice}",
        where="--now",
        got=text,
        cure=f"give it as {summer.isoformat(timespec='minutes')}"
        + (f" or {winter.isoformat(timespec='minutes')}" if twice else ""),
    )


def past_hours(site: Site, now: pd.Timestamp) -> tuple[pd.Timestamp, pd.Timestamp]:
    """First and last hour of the past winters that are asked for."""
    import pandas as pd

    # the reanalysis lags some days behind; whole months are asked for, so that the cache serves
    end = (now - pd.Timedelta(days=10)).normalize()
    month = 1 if site.place.latitude < 0 else 7
    return pd.Timestamp(now.year - PAST_WINTERS, month, 1, tz="UTC"), end


def _reanalysis(site: Site, now: pd.Timestamp) -> tuple[pd.DataFrame, list[str]]:
    """Past winters of reanalysis, and how the nearest stations compare."""
    import pandas as pd

    from spraywindow.errors import SourceError
    from spraywindow.sources.past import reanalysis_record, station_record

    start, end = past_hours(site, now)
    with progress(f"fetching {PAST_WINTERS} winters of reanalysis"):
        record = reanalysis_record(site.place, start, end)
    notes = list(record.attrs.get("notes", []))
    try:
        with progress("fetching the nearest stations as a check"):
            station = station_record(site.place, end - pd.Timedelta(days=3 * 365), end)
        notes += [_rain_check(record, station), *station.attrs.get("notes", [])]
    except SourceError as error:
        notes.append(f"No station beside the reanalysis: {error}")
    return record, notes


def _rain_check(record: pd.DataFrame, station: pd.DataFrame) -> str:
    """Rain days of the reanalysis beside those of the stations, on days that both know."""
    from spraywindow.weather import MEASURABLE_MM

    pair = record[["rain_mm"]].join(station["rain_mm"], rsuffix="_station", how="inner").dropna()
    daily = pair.resample("D").agg(["sum", "count"])
    whole = daily[daily[("rain_mm", "count")] == 24]
    if whole.empty:
        return "Rain check: no whole day that the reanalysis and a station both know."
    wet = (
        int((whole[(name, "sum")] >= MEASURABLE_MM).sum())
        for name in ("rain_mm", "rain_mm_station")
    )
    of_record, of_station = wet
    return (
        f"Rain check: of {len(whole)} days that both know, {of_record} have measurable rain in "
        f"the reanalysis and {of_station} at the nearest stations."
    )

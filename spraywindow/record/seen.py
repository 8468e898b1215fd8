"""What the adviser saw at a site, kept append-only: stages, leaf fall, dry bark, cold nights.

A row is only ever added; what was mistaken is undone by a row that points at it.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace

from spraywindow.days import day_words
from spraywindow.errors import RecordError
from spraywindow.record.file import Record, bring_up, transaction
from spraywindow.record.record import digest_of, last_number, rows_beside
from spraywindow.site import Site, season_start
from spraywindow.spray import Offset, learn_offset
from spraywindow.trees import stage_words
from spraywindow.units import convert

SEEN_SINCE = 3
"""The schema version from which a file has them."""
_COLUMNS = "id, noted, undoes, body, digest"
INSERT_SEEN = f"INSERT INTO seen ({_COLUMNS}) VALUES (?, ?, ?, ?, ?)"
_TIMES = ("time", "model_time")
HOUR = dt.timedelta(hours=1)


@dataclass(frozen=True)
class Sighting:
    """Something seen at a site on a local day.

    Attributes
    ----------
    site : str
    kind : str
        "stage" (of the block `block`: `stage`, BBCH), "leaf fall", "dry" (the bark, at `time`) or
        "lowest" (of the night before: `temp_c`).
    day : date
    model_time : datetime or None
        From when on the bark is surely dry by the model of the weather known when it was noted.
    dew_off_h : float or None
        The site file's correction of that hour, as it was then [h].
    model_c : float or None
        The lowest of the night by that weather [degC].
    id : int
        Its number in the record; 0 before it is kept.
    """

    site: str
    kind: str
    day: dt.date
    block: str | None = None
    stage: int | None = None
    time: dt.datetime | None = None
    model_time: dt.datetime | None = None
    dew_off_h: float | None = None
    temp_c: float | None = None
    model_c: float | None = None
    id: int = 0

    @property
    def what(self) -> str:
        """What was seen: "rows 1-4: bud swell", "leaf fall"."""
        if self.stage is not None:
            return f"{self.block}: {stage_words(self.stage)}"
        return {"dry": "bark dry", "lowest": "lowest of the night"}.get(self.kind, self.kind)

    @property
    def off(self) -> float | None:
        """Seen less modelled, [h] of dry bark or [K]; None where no model is known."""
        if self.time is not None and self.model_time is not None:
            return (self.time - self.model_time) / HOUR
        if self.temp_c is not None and self.model_c is not None:
            return self.temp_c - self.model_c
        return None

    @property
    def words(self) -> str:
        """The same with its day: "rows 1-4: bud swell, seen Tue 12 Jan"."""
        return f"{self.what}, seen {day_words(self.day)}"


def sightings(record: Record, site: str | None = None) -> list[Sighting]:
    """Give what was seen and is not undone, by number; with `site` what was seen there.

    Raises
    ------
    RecordError
        If a row does not agree with its digest or cannot be read.
    """
    return [each for each in _read(record).values() if site in (None, each.site)]


def keep_seen(record: Record, found: Sequence[Sighting], *, now: dt.datetime) -> list[Sighting]:
    """Keep what was seen; give it with its numbers. A file of an older schema is brought up first.

    Raises
    ------
    RecordError
        If the file is damaged or cannot be written; then nothing is.
    """
    with transaction(record, "written"):
        bring_up(record)
        _read(record)  # nothing is added to a damaged table
        return [replace(each, id=_insert(record, now, None, _body(each))) for each in found]


def undo_seen(record: Record, number: int, site: str, *, now: dt.datetime) -> Sighting:
    """Take back what was seen at a site, and give it; it stays in the file.

    Raises
    ------
    RecordError
        If the site has no such number that holds.
    """
    with transaction(record, "written"):
        bring_up(record)
        held = {key: each for key, each in _read(record).items() if each.site == site}
        if number not in held:
            there = ", ".join(map(str, sorted(held)[-12:])) or "none yet"
            raise RecordError(
                f"nothing seen at {site} has the number {number}",
                where=str(record.path),
                expected=f"one of {there}",
            )
        _insert(record, now, number, "")
        return held[number]


def as_seen(site: Site, found: Iterable[Sighting], today: dt.date) -> Site:
    """Give the site with the stages and the leaf fall that were seen by a local day.

    The newest counts, whether the site file has it or the record; of one day the record's. What
    was seen of dry bark and cold nights makes the site's hours dry later, and its nights colder,
    never the other way round. What the answers of this growing year stand on is told in
    `Site.seen`.
    """
    past = sorted(
        (each for each in found if each.day <= today), key=lambda each: (each.day, each.id)
    )
    stages = {each.block: each for each in past if each.kind == "stage"}
    used: list[Sighting] = []
    blocks = []
    for block in site.blocks:
        newest = stages.get(block.name)
        if newest and (block.observed is None or block.observed <= newest.day):
            block = block.model_copy(update={"stage": newest.stage, "observed": newest.day})
            used.append(newest)
        blocks.append(block)
    dates = site.dates
    fall = next((each for each in reversed(past) if each.kind == "leaf fall"), None)
    if fall and (dates.leaf_fall is None or dates.leaf_fall <= fall.day):
        dates = dates.model_copy(update={"leaf_fall": fall.day})
        used.append(fall)
    start = season_start(today, site)
    told = [each.words for each in used if each.day >= start]
    setting = site.setting
    if site.learn:
        dry, cold = taught(past, "dry", site), taught(past, "lowest", site)
        setting = replace(
            setting,
            dry_later_h=max(dry.middle, 0.0),
            night_colder_c=max(-cold.middle, 0.0),
        )
        told += taught_words(dry, cold, site)
    return replace(site, blocks=tuple(blocks), dates=dates, setting=setting, seen=tuple(told))


def taught(found: Iterable[Sighting], kind: str, site: Site) -> Offset:
    """What notes of one kind teach, in order of their days; only those whose model is known.

    Where the site file has another dew-off by now, the model stands as it would with that one.
    """
    now_h = site.setting.dew_off_h
    pairs = [
        (each.day, each.id, each.off + (0.0 if each.dew_off_h is None else each.dew_off_h - now_h))
        for each in found
        if each.kind == kind and each.off is not None
    ]
    return learn_offset([off for _, _, off in sorted(pairs)])


def taught_words(dry: Offset, cold: Offset, site: Site) -> tuple[str, ...]:
    """What notes of dry bark and of cold nights teach, a line each where there are any."""
    told = [_dry_words(dry)] if dry.notes else []
    return (*told, *([_cold_words(cold, site)] if cold.notes else []))


def _dry_words(dry: Offset) -> str:
    """Such as "bark dry 40 min after the model here, 9 notes, usually within 50 min"."""
    words = f"bark dry {_minutes(dry.middle)} {'after' if dry.middle >= 0 else 'before'} the model"
    words += f" here, {_notes(dry.notes)}, usually within {_minutes(dry.error)}"
    later = round(max(dry.middle, 0.0))
    if later:
        return f"{words}: it counts as dry {later} h later"
    return words if dry.middle >= 0 else f"{words}: none the sooner for it"


def _cold_words(cold: Offset, site: Site) -> str:
    """Such as "nights 1.2 K colder than forecast here, 6 notes, usually within 0.8 K"."""

    def degrees(kelvin: float) -> str:
        if site.units == "us":
            return f"{convert(abs(kelvin), 'delta_degC', 'delta_degF'):.0f} °F"
        return f"{abs(kelvin):.1f} °C"

    words = f"nights {degrees(cold.middle)} {'colder' if cold.middle <= 0 else 'warmer'} than the"
    words += f" forecast here, {_notes(cold.notes)}, usually within {degrees(cold.error)}"
    return (
        f"{words}: {'taken off' if cold.middle < 0 else 'nothing is added'} where frost is judged"
    )


def _minutes(hours: float) -> str:
    return f"{5 * round(12 * abs(hours))} min"


def _notes(count: int) -> str:
    return "1 note" if count == 1 else f"{count} notes"


def _body(each: Sighting) -> str:
    values = {name: value for name, value in asdict(each).items() if value is not None}
    values |= {"day": each.day.isoformat()}
    values |= {name: values[name].isoformat() for name in _TIMES if name in values}
    del values["id"]
    return json.dumps(values, ensure_ascii=False, allow_nan=False)


def _insert(record: Record, now: dt.datetime, undoes: int | None, body: str) -> int:
    connection = record.connection
    last = connection.execute("SELECT digest FROM seen ORDER BY id DESC LIMIT 1").fetchone()
    number = last_number(connection, "seen") + 1
    noted = now.astimezone(dt.UTC).isoformat(timespec="seconds")
    values = (number, noted, undoes, body)
    digest = digest_of(last[0] if last else "", *values)
    connection.execute(INSERT_SEEN, (*values, digest))
    return number


def seen_rows(record: Record) -> list[tuple[int, str, int | None, str, str]]:
    """The rows of the table as they stand, each held to its digest."""
    return rows_beside(record, "seen", _COLUMNS, since=SEEN_SINCE, one_of_them="sighting")


def _read(record: Record) -> dict[int, Sighting]:
    """What holds, by number."""
    out: dict[int, Sighting] = {}
    for number, _, undoes, body, _ in seen_rows(record):
        try:
            if undoes is not None:
                del out[undoes]
                continue
            values = json.loads(body)
            times = {
                name: dt.datetime.fromisoformat(values[name]) for name in _TIMES if name in values
            }
            day = dt.date.fromisoformat(values["day"])
            out[number] = Sighting(**(values | times | {"day": day, "id": number}))
        except (KeyError, TypeError, ValueError, RecursionError) as error:
            raise RecordError(
                f"damaged: sighting {number} cannot be read", where=str(record.path)
            ) from error
    return out

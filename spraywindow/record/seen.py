"""What the adviser saw at a site, kept append-only beside the entries: stages, leaf fall.

A row is only ever added; what was mistaken is undone by a row that points at it.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace

from spraywindow.days import day_words
from spraywindow.errors import RecordError
from spraywindow.record.file import Record, bring_up, schema_of, told, transaction
from spraywindow.record.record import digest_of, last_number
from spraywindow.site import Site, season_start
from spraywindow.trees import stage_words

SEEN_SINCE = 3
"""The schema version from which a file has them."""
_COLUMNS = "id, noted, undoes, body, digest"


@dataclass(frozen=True)
class Sighting:
    """Something seen at a site on a local day.

    Attributes
    ----------
    site : str
    kind : str
        "stage" (of the block `block`: `stage`, BBCH) or "leaf fall".
    day : date
    id : int
        Its number in the record; 0 before it is kept.
    """

    site: str
    kind: str
    day: dt.date
    block: str | None = None
    stage: int | None = None
    id: int = 0

    @property
    def what(self) -> str:
        """What was seen: "rows 1-4: bud swell", "leaf fall"."""
        return self.kind if self.stage is None else f"{self.block}: {stage_words(self.stage)}"

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
    the answers of this growing year stand on is told in `Site.seen`.
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
    told = tuple(each.words for each in used if each.day >= start)
    return replace(site, blocks=tuple(blocks), dates=dates, seen=told)


def _body(each: Sighting) -> str:
    values = {name: value for name, value in asdict(each).items() if value is not None}
    values |= {"day": each.day.isoformat()}
    del values["id"]
    return json.dumps(values, ensure_ascii=False, allow_nan=False)


def _insert(record: Record, now: dt.datetime, undoes: int | None, body: str) -> int:
    connection = record.connection
    last = connection.execute("SELECT digest FROM seen ORDER BY id DESC LIMIT 1").fetchone()
    number = last_number(connection, "seen") + 1
    noted = now.astimezone(dt.UTC).isoformat(timespec="seconds")
    values = (number, noted, undoes, body)
    digest = digest_of(last[0] if last else "", *values)
    connection.execute(f"INSERT INTO seen ({_COLUMNS}) VALUES (?, ?, ?, ?, ?)", (*values, digest))
    return number


def _read(record: Record) -> dict[int, Sighting]:
    """What holds, by number; every row is held to its digest."""
    if schema_of(record) < SEEN_SINCE:
        return {}
    with told(record.path, "read"):
        rows = record.connection.execute(f"SELECT {_COLUMNS} FROM seen ORDER BY id").fetchall()
    before = ""
    out: dict[int, Sighting] = {}
    for row in rows:
        if digest_of(before, *row[:-1]) != row[-1]:
            raise RecordError(
                f"damaged: sighting {row[0]} was changed, or one before it is gone",
                where=str(record.path),
                cure="keep the file and go back to a copy",
            )
        before = row[-1]
        if row[2] is not None:
            del out[row[2]]
            continue
        values = json.loads(row[3])
        day = dt.date.fromisoformat(values["day"])
        out[row[0]] = Sighting(**(values | {"day": day, "id": row[0]}))
    return out

"""What was seen is kept once, only added to, and stands before the site file where it is newer."""

from __future__ import annotations

import datetime as dt
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from spraywindow.errors import RecordError
from spraywindow.record import file as record_file
from spraywindow.record.export import check_record
from spraywindow.record.file import open_record, schema_of, statements
from spraywindow.record.record import add, digest_of, history
from spraywindow.record.seen import (
    Sighting,
    as_seen,
    keep_seen,
    sightings,
    taught_words,
    undo_seen,
)
from spraywindow.site.site import read_site
from spraywindow.sources.demo.samples import sample_path
from spraywindow.spray.learned import Offset
from tests.record_values import NOW, entry

HILL = "Hill garden"
DAY = dt.date(2026, 1, 12)


def buds(stage: int, day: dt.date = DAY, block: str = "rows 1-4") -> Sighting:
    return Sighting(HILL, "stage", day, block, stage)


def test_what_is_noted_is_read_again_and_what_is_undone_stays_in_the_file(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    with open_record(path, create=True) as opened:
        dormant, fallen = keep_seen(opened, [buds(0), Sighting(HILL, "leaf fall", DAY)], now=NOW)
        assert (dormant.id, dormant.stage, fallen.id) == (1, 0, 2)
        assert sightings(opened, HILL) == [dormant, fallen]
        assert sightings(opened, "Elsewhere") == []
        assert undo_seen(opened, 1, HILL, now=NOW) == dormant
        assert sightings(opened) == [fallen]
        for gone in (1, 3, 4):
            with pytest.raises(RecordError, match=f"number {gone}; expected one of 2"):
                undo_seen(opened, gone, HILL, now=NOW)
        with pytest.raises(RecordError, match="expected one of none yet"):
            undo_seen(opened, 2, "Elsewhere", now=NOW)
        assert opened.connection.execute("SELECT count(*) FROM seen").fetchone()[0] == 3
    assert check_record(path).problems == ()


def test_a_file_of_an_older_schema_is_brought_up_with_its_entries(tmp_path: Path) -> None:
    path = tmp_path / "old.db"
    old = sqlite3.connect(path, isolation_level=None)
    for statement in statements(2).values():
        old.execute(statement)
    old.execute(f"PRAGMA application_id = {record_file.APPLICATION_ID}")
    old.execute("PRAGMA user_version = 2")
    old.close()
    with open_record(path) as opened:
        add(opened, entry(), now=NOW)
        assert (schema_of(opened), sightings(opened)) == (2, [])
        keep_seen(opened, [buds(51)], now=NOW)
        assert (schema_of(opened), len(history(opened)), len(sightings(opened))) == (3, 1, 1)
    assert check_record(path).problems == ()


@pytest.mark.parametrize(
    ("hand", "problem"),
    [
        ("UPDATE seen SET body = replace(body, '51', '60') WHERE id = 2", "sighting 2 was changed"),
        ("DELETE FROM seen WHERE id = 1", "sighting 1 is gone"),
        ("DELETE FROM seen WHERE id = 3", "sighting 3 is gone"),
    ],
)
def test_what_was_tampered_with_is_found(tmp_path: Path, hand: str, problem: str) -> None:
    path = tmp_path / "log.db"
    with open_record(path, create=True) as opened:
        keep_seen(opened, [buds(0), buds(51), buds(53)], now=NOW)
    with sqlite3.connect(path) as other:
        with pytest.raises(sqlite3.IntegrityError, match="only added to"):
            other.execute("DELETE FROM seen")
        for name in ("update", "delete"):
            other.execute(f"DROP TRIGGER seen_no_{name}")
        other.execute(hand)
    other.close()
    assert problem in " | ".join(check_record(path).problems)


@pytest.mark.parametrize("body", ["{}", "[1]", '{"site": "A", "kind": "a", "day": "x"}', "no"])
def test_a_row_that_nobody_understands_is_told(tmp_path: Path, body: str) -> None:
    with open_record(tmp_path / "log.db", create=True) as opened:
        values = (1, NOW.isoformat(), None, body)
        opened.connection.execute(
            "INSERT INTO seen VALUES (?, ?, ?, ?, ?)", (*values, digest_of("", *values))
        )
        with pytest.raises(RecordError, match="sighting 1 cannot be read"):
            sightings(opened)


def test_the_newest_holds_whether_the_file_has_it_or_the_record() -> None:
    site = read_site(sample_path("orchard.toml"))
    rows, apricots = site.blocks
    assert rows.observed is not None
    later = rows.observed + dt.timedelta(days=3)
    newer = [buds(51, rows.observed), buds(53, later), buds(0, later - dt.timedelta(days=1))]
    seen = as_seen(site, newer, later)
    assert (seen.blocks[0].stage, seen.blocks[0].observed) == (53, later)
    assert seen.blocks[1] == apricots
    assert seen.seen == (f"rows 1-4: bud burst, seen {later:%a} {later.day} {later:%b}",)
    # of one day the record's; what is seen after the day that is asked about is not known yet
    assert as_seen(site, newer, rows.observed).blocks[0].stage == 51
    # an older one than the file's, another year's and a block that is gone change nothing
    older = [buds(51, rows.observed - dt.timedelta(days=1)), buds(51, later, "row 9")]
    assert as_seen(site, older, later).blocks == site.blocks
    assert as_seen(site, older, later).seen == ()


def test_leaf_fall_that_was_seen_holds_before_the_files(tmp_path: Path) -> None:
    site = read_site(sample_path("orchard.toml"))
    first = site.dates.leaf_fall
    assert first is not None
    after = first + dt.timedelta(days=4)
    fall = Sighting(site.name, "leaf fall", after)
    assert as_seen(site, [fall], after).dates.leaf_fall == after
    assert as_seen(site, [fall], first).dates.leaf_fall == first
    # that of last winter is told no more, and the file's newer one stands
    last = Sighting(site.name, "leaf fall", first - dt.timedelta(days=360))
    assert as_seen(site, [last], after) == site


def dry(day: int, minutes: float | None) -> Sighting:
    """Bark seen dry so many minutes after the model; None: no model is known."""
    model = dt.datetime(2026, 1, day, 9, tzinfo=dt.UTC)
    time = model + dt.timedelta(minutes=minutes or 0.0)
    return Sighting(HILL, "dry", model.date(), time=time,
                    model_time=None if minutes is None else model)  # fmt: skip


def lowest(day: int, kelvin: float) -> Sighting:
    return Sighting(HILL, "lowest", dt.date(2026, 1, day), temp_c=kelvin - 1.0, model_c=-1.0)


def test_measures_are_read_again_as_they_were_noted(tmp_path: Path) -> None:
    with open_record(tmp_path / "log.db", create=True) as opened:
        kept = keep_seen(opened, [dry(3, 40.0), dry(4, None), lowest(4, -2.0)], now=NOW)
        assert sightings(opened, HILL) == kept
    assert [each.off for each in kept] == [pytest.approx(40 / 60), None, -2.0]


def test_a_site_is_taught_to_the_safe_side_only() -> None:
    site = read_site(sample_path("orchard.toml"))
    setting = site.setting
    # two notes of 60 min: shrunk to 40, of which 60 / (60 + 45) is taken, by the errors so far
    late = as_seen(site, [dry(3, 60.0), dry(4, 60.0), dry(5, None)], dt.date(2026, 1, 9))
    assert late.setting == replace(setting, dry_later_h=pytest.approx(40 / 60 * 60 / 105))
    cold = as_seen(site, [lowest(3, -3.0)], dt.date(2026, 1, 9))
    assert cold.setting == replace(setting, night_colder_c=0.75)
    # sooner dry and warmer nights are told, and change nothing
    other = as_seen(site, [dry(3, -60.0), lowest(3, 3.0)], dt.date(2026, 1, 9))
    assert other.setting == setting
    assert len(other.seen) == 2
    # the site file has taken it up since: an hour sooner by its dew-off, and nothing is left
    noted = [replace(dry(day, -60.0), dew_off_h=0.0) for day in (3, 4, 5)]
    taken_up = replace(site, setting=replace(setting, dew_off_h=-1.0))
    assert as_seen(site, noted, dt.date(2026, 1, 9)).seen[-1].startswith("bark dry 30 min before")
    assert as_seen(taken_up, noted, dt.date(2026, 1, 9)).seen[-1].startswith("bark dry 0 min")
    # not yet, and not where the site file says no
    assert as_seen(site, [dry(3, 60.0)], dt.date(2026, 1, 2)) == site
    deaf = replace(site, learn=False)
    assert as_seen(deaf, [dry(3, 60.0), lowest(3, -3.0)], dt.date(2026, 1, 9)) == deaf


def test_what_is_taught_in_words() -> None:
    site = read_site(sample_path("orchard.toml"))
    told = taught_words(Offset(2 / 3, 5 / 6, 9), Offset(-1.2, 0.8, 1), site)
    assert told == (
        "bark dry 40 min after the model here, 9 notes, usually within 50 min: it counts as dry "
        "1 h later",
        "nights 1.2 °C colder than the forecast here, 1 note, usually within 0.8 °C: taken off "
        "where frost is judged",
    )
    (sooner,) = taught_words(Offset(-1.0, 1.5, 12), Offset(), site)
    assert sooner.endswith("before the model here, 12 notes, usually within 90 min: none the "
                           "sooner for it")  # fmt: skip
    (us,) = taught_words(Offset(), Offset(2.0, 1.0, 6), replace(site, units="us"))
    assert us == ("nights 4 °F warmer than the forecast here, 6 notes, usually within 2 °F: "
                  "nothing is added where frost is judged")  # fmt: skip

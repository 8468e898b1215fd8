"""The site file: what it gives, and errors that name key, expectation and finding."""

from __future__ import annotations

import datetime as dt
import tomllib
from pathlib import Path
from typing import Any

import pytest

from spraywindow.errors import InputError
from spraywindow.site.site import Site, read_site, site_of, with_done
from tests.site_files import MAP, SITE


def site(extra: str = "", **changes: str) -> Site:
    text = SITE
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new)
    return site_of(tomllib.loads(text + extra))


def edited(old: str, new: str) -> dict[str, Any]:
    assert old in SITE
    return tomllib.loads(SITE.replace(old, new))


def test_quantities_as_people_write_them() -> None:
    read = site('[access]\nfrom = "7:30"\nuntil = 16:00:00\ndays = ["Monday", "tue"]\n')
    assert read.place.elevation_m == pytest.approx(60 * 0.3048)
    assert read.blocks[0].height == pytest.approx(12 * 0.3048)
    assert read.setting.tree_height_m == pytest.approx(12 * 0.3048)
    assert (read.access.start_h, read.access.end_h) == (7.5, 16.0)
    assert read.access.weekdays == {0, 1}


def test_program_by_default_is_three_of_oil_and_five_of_copper() -> None:
    program = site().program
    assert [(entry.material, entry.rounds) for entry in program.entries] == [
        ("oil", 3),
        ("copper", 5),
    ]
    assert program.days_between("oil", "copper") == 2


def test_bearings_by_compass_point() -> None:
    read = site_of(edited("timezone =", 'neighbours = ["NW", "120 deg"]\ntimezone ='))
    assert read.setting.neighbours_deg == (315.0, 120.0)


def test_a_shelter_is_a_share_that_leaves_some_wind() -> None:
    assert site_of(edited("timezone =", 'shelter = "50 %"\ntimezone =')).setting.shelter == 0.5
    assert site().setting.shelter == 1.0
    with pytest.raises(InputError, match=r"place\.shelter: .*at least 0\.4.*got '10 %'"):
        site_of(edited("timezone =", 'shelter = "10 %"\ntimezone ='))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("38.5", "91", r"place\.latitude: .*-90 to 90 degrees.*got 91"),
        ("38.5", "true", r"place\.latitude: .*got True"),
        ("38.5", "nan", r"place\.latitude: .*got nan"),
        ('"60 ft"', "60", r"place\.elevation: a number without its unit.*got 60"),
        ('"60 ft"', '"60 degF"', r"place\.elevation: a temperature where a length belongs"),
        ("America/Los_Angeles", "Mars/Base", r"place\.timezone: unknown time zone.*'Mars/Base'"),
        ("latitude", "lattitude", r"place\.lattitude: unknown key; .*did you mean latitude\?"),
        ("[season]", "[seasn]", r"seasn: unknown key; .*did you mean season\?"),
        ('height = "12 ft"', 'height = "-1 ft"', r"blocks\[1\]\.height: out of range"),
        ('height = "12 ft"', 'height = "90 ft"', r"more than 0 m, at most 20 m; got '90 ft'"),
        ("trees = 10", "trees = 0", r"blocks\[1\]\.trees: .*got 0"),
        ("trees = 10", "trees = true", r"blocks\[1\]\.trees: .*got True"),
        ('"dormant"', '"sleeping"', r"blocks\[1\]\.stage: unknown growth stage.*'sleeping'"),
        ("observed = 2026-01-09\n", "", r"blocks\[1\]: .*expected also observed"),
        ("observed = 2026-01-09", 'observed = "9 Jan"', r"observed: not a date.*got '9 Jan'"),
        ("observed = 2026-01-09", "observed = 2026-01-09T10:00:00", r"not a date; expected such"),
        ("[[blocks]]", "[blocks]", r"blocks: .*expected a list of tables: \[\[blocks\]\]"),
        ('name = "Lower Terrace"\n', "", r"name: missing key"),
        ('"us"', '"imperial"', r"units: .*'metric' or 'us'; got 'imperial'"),
    ],
)  # fmt: skip
def test_errors_name_key_expectation_and_finding(old: str, new: str, said: str) -> None:
    with pytest.raises(InputError, match=said) as caught:
        site_of(edited(old, new), where="my.toml")
    assert "my.toml, " in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        ('[access]\nfrom = "17:00"\nuntil = "8:00"\n', "until is not after from.*17:00 to 08:00"),
        ('[access]\nfrom = "25:00"\n', r"access\.from: not a clock time.*'25:00'"),
        ("[access]\ndays = []\n", "no working day"),
        ('[access]\ndays = ["Mo"]\n', r"access\.days\[1\]: not a day of the week"),
        ('[access]\nfrom = "8:00"\nuntil = "9:00"\n', "crew.job: the job is longer.*at most 1 h"),
        ('[[program.rounds]]\nmaterial = "oyl"\n', r"unknown material.*did you mean oil\?"),
        ('[[program.rounds]]\nmaterial = "oil"\n' * 2, "a material stands twice"),
        ('[[program.rounds]]\nmaterial = "oil"\ntarget = ["sleepy"]\n', "unknown growth stage"),
        ('[program]\ntank_mixes = [["oil", "sulfur"]]\n', "unknown material in a tank mix"),
        ('[[program.rounds]]\nmaterial = "oil"\ndone = [2026-01-03, 2026-01-03]\n', "stands twice"),
    ],
)  # fmt: skip
def test_contradictions_in_other_tables(extra: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        site(extra)


@pytest.mark.parametrize(
    ("longitude", "timezone", "fits"),
    [
        (-122.33, "America/Los_Angeles", True),
        (122.33, "America/Los_Angeles", False),
        (110.0, "Europe/Athens", False),  # 5.3 h from standard time, 4.3 h from summer time
        (-149.0, "Australia/Sydney", False),
        (149.0, "Australia/Sydney", True),
        (-157.4, "Pacific/Kiritimati", True),  # UTC+14, the date line is no distance
        (173.2, "America/Adak", True),  # the westernmost of the Aleutian Islands
        (-179.9, "Pacific/Fiji", True),
        (178.4, "Pacific/Fiji", True),
        (166.6, "Pacific/Wake", True),
        (75.99, "Asia/Shanghai", True),  # the clock farthest from the sun
        (-8.5, "Europe/Dublin", True),  # whose winter time is the shifted one by law
    ],
)
def test_longitude_and_time_zone_must_fit(longitude: float, timezone: str, fits: bool) -> None:
    tables = edited("America/Los_Angeles", timezone)
    tables["place"]["longitude"] = longitude
    if fits:
        assert site_of(tables).place.longitude == longitude
        return
    said = rf"my\.toml, place: longitude and time zone do not fit; .*{longitude}; is the sign right"
    with pytest.raises(InputError, match=said):
        site_of(tables, where="my.toml")


@pytest.mark.parametrize(
    ("crop", "meant"),
    [
        ("apricott", "apricot"),
        ("Peech", "peach"),
        ("white necterine", "nectarine"),
        ("chery", "cherry"),
        ("plumb", "plum"),
    ],
)
def test_a_slip_in_a_crop_is_refused(crop: str, meant: str) -> None:
    with pytest.raises(InputError, match=rf"crop: unknown crop; got '{crop}'; .* {meant}\?"):
        site_of(edited('"peach"', f'"{crop}"'))


@pytest.mark.parametrize(
    "crop", ["Apricots", "flat peaches", "sour cherries", "pear", "berries", "apple", "桃", "palm"]
)
def test_other_crops_may_be_called_anything(crop: str) -> None:
    assert site_of(edited('"peach"', f'"{crop}"')).blocks[0].crop == crop


def test_an_unknown_cultivar_group_is_refused_with_the_known_ones() -> None:
    said = r"blocks\[1\]\.chill: unknown cultivar group; .* one of very low chill peach, .*high"
    with pytest.raises(InputError, match=said):
        site_of(edited("trees = 10", 'trees = 10\nchill = "high"'))


def test_all_problems_at_once() -> None:
    tables = edited("38.5", "91")
    tables["place"]["elevation"] = 60
    tables["materials"] = {"oil": {"limits": {"cold": {"value": "40 mph"}}}}
    tables["blocks"] = [*tables["blocks"], dict(tables["blocks"][0])]
    with pytest.raises(InputError) as caught:
        site_of(tables)
    for part in ("latitude", "elevation", "limits.cold.value", "'rows 1-4'"):
        assert part in str(caught.value)


def test_names_of_any_alphabet() -> None:
    assert site_of(edited("rows 1-4", "Höhe Ω 桃")).blocks[0].name == "Höhe Ω 桃"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"name = [", r"not TOML; .*a table's name in \[brackets\]"),
        (b"a = 1\ndone = [01/09/2017]", "not TOML; .*line 2.*; dates are written 2017-01-09"),
        (b"done = [9 Jan 2017]", "not TOML; .*; dates are written 2017-01-09"),
        (b"closed = [\n2017-02-30]", "not TOML; .*line 2.*; dates are written .*calendar"),
        (b"a = Rows\nb = 2017-01-09", "not TOML; .*line 1.*; text stands in quotes"),
        (MAP.encode(), "site.toml: this looks like a column map, not a site file; .*--columns$"),
        (b"\xff\xfe\x00", "not a text file"),
        (b"", "name: missing key"),
    ],
)
def test_files_that_cannot_be_read(tmp_path: Path, content: bytes, said: str) -> None:
    path = tmp_path / "site.toml"
    path.write_bytes(content)
    with pytest.raises(InputError, match=said):
        read_site(path)
    with pytest.raises(InputError, match="cannot read the site file"):
        read_site(tmp_path / "absent.toml")


def test_rounds_of_a_record_come_beside_those_of_the_file() -> None:
    jan = [dt.date(2026, 1, day) for day in (3, 10)]
    before = site('[[program.rounds]]\nmaterial = "oil"\ndone = [2026-01-03]\n')
    after = with_done(before, {"oil": jan, "sulfur": jan[:1]})
    assert after.program.entries[0].done == tuple(jan)
    assert after.other_sprays["sulfur"] == (jan[0],)
    assert before.program.entries[0].done == (jan[0],)


def test_a_labels_days_apart_count_inside_the_program() -> None:
    program = site(
        '[materials."lime sulfur"]\n[[program.rounds]]\nmaterial = "oil"\n'
        '[[program.rounds]]\nmaterial = "lime sulfur"\n'
    ).program
    # 30 days from sulfur: UC IPM, Applying dormant or delayed-dormant treatments (2017)
    assert program.days_between("oil", "lime sulfur") == 30

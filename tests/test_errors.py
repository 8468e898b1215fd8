"""Every error a user can cause: one line on stderr, exit 2, nothing on stdout, no traceback."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from matplotlib.figure import Figure

from spraywindow.main import OWN_FAULT
from tests.command import command
from tests.conftest import ROOT
from tests.site_files import MAP, NOW, SITE, steady, write_mapped


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    write_mapped(tmp_path, steady())
    return tmp_path


def slots(folder: Path, *words: str | Path, now: str = NOW) -> str:
    own = ["--site", folder / "site.toml", "--weather", folder / "weather.csv"]
    own += ["--columns", folder / "map.toml", "--now", now]
    return command("slots", *own, *words).refusal


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["slotz"], "Did you mean 'slots'"),
        (["slots", "--jsn"], "--json"),
        (["slots", "--now"], "--now"),
        (["slots", "--json", "--csv"], "--json and --csv together"),
        (["slots", "--columns", "map.toml"], "--columns without --weather"),
        (["slots", "--service", "nws"], "--service beside the demo"),
        (["slots", "--material", "oyl"], "did you mean oil?"),
        (["slots", "--site", "absent.toml"], "cannot read the site file"),
        (["slots", "--weather", "absent.csv"], "absent.csv"),
        (["slots", "--now", "2020-01-12"], "got '2020-01-11T22:00+00:00'"),
        (["slots", "extra"], "extra"),
    ],
)
def test_words_that_cannot_be_used(words: list[str], said: str) -> None:
    assert said in command(*words).refusal


@pytest.mark.parametrize("json", [[], ["--json"], ["--csv"]])
def test_errors_go_to_stderr_whatever_is_printed(folder: Path, json: list[str]) -> None:
    (folder / "site.toml").write_text(SITE.replace("38.5", "91"), encoding="utf-8")
    assert "place.latitude" in slots(folder, *json)


@pytest.mark.parametrize(
    ("now", "said"),
    [
        ("tomorrow", "not a time"),
        ("18:00", "not a time"),  # would be read by this machine's clock
        ("2026", "not a time"),
        ("2026-13-01", "not a time"),
        ("", "not a time"),
        ("9999-12-31 23:00", "not a time"),  # tomorrow would lie beyond the calendar
        ("0001-01-01 00:00", "not a time"),
        # the clocks of California in 2026: forward on 8 March, back on 1 November
        ("2026-03-08 02:30", "jump over this local time"),
        ("2026-11-01 01:30", "2026-11-01T01:30-07:00 or 2026-11-01T01:30-08:00"),
    ],
)
def test_times_that_are_none_or_two(folder: Path, now: str, said: str) -> None:
    assert said in slots(folder, now=now)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("[place]", "[place", "not TOML"),
        ("latitude", "lattitude", "did you mean latitude?"),
        ('"60 ft"', "60", "a number without its unit"),
        ("", '[materials.oil.limits.cold]\nvalue = "40 mph"\n', "a speed where a temperature"),
        ("", '[[program.rounds]]\nmaterial = "oil"\ndone = [2026-01-20]\n', "a day to come"),
    ],
)
def test_site_files(folder: Path, old: str, new: str, said: str) -> None:
    text = SITE.replace(old, new) if old else SITE + new
    (folder / "site.toml").write_text(text, encoding="utf-8")
    assert said in slots(folder)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("degF", "degrees", "unit"),
        ('column = "rain"', 'column = "rane"', "rain"),
        ("[time]", "[tim]", "time"),
        ('timezone = "UTC"', 'timezone = "Mars"', "Mars"),
    ],
)
def test_column_maps(folder: Path, old: str, new: str, said: str) -> None:
    (folder / "map.toml").write_text(MAP.replace(old, new), encoding="utf-8")
    assert said in slots(folder)


def test_a_site_file_and_a_column_map_in_each_others_place(folder: Path) -> None:
    site, column_map = folder / "site.toml", folder / "map.toml"
    said = slots(folder, "--columns", site)
    assert said.endswith(
        "site.toml: this looks like a site file, not a column map; give it as --site\n"
    )
    assert "looks like a column map" in slots(folder, "--site", column_map)


@pytest.mark.parametrize("content", [b"", b"<html></html>", b"\x00\x01\x02", b"time,temp\n1,2\n"])
def test_weather_files(folder: Path, content: bytes) -> None:
    (folder / "weather.csv").write_bytes(content)
    assert "weather.csv" in slots(folder)


DEEP = "[" * 400 + "]" * 400


@pytest.mark.parametrize(
    "extra",
    [
        f"x = {'[' * 5000}",
        f"x = {'9' * 5000}",
        f"x = {DEEP}",
        f'x = "{"a" * 100_000}"',
        f"'{'a' * 100_000}' = 1",
        "".join(f'[mix.m{n}]\nrate = "{"a" * 400}"\n' for n in range(500)),
        f"[access]\nclosed = {['a' * 400] * 2000}",
        f'[sprayer]\nflow = "1 {"m/" * 20_000}s"',
    ],
)
def test_a_message_is_bounded_whatever_it_tells_of(folder: Path, extra: str) -> None:
    (folder / "site.toml").write_text(f"{SITE}\n{extra}\n", encoding="utf-8")
    assert len(slots(folder)) < 20_000
    (folder / "site.toml").write_text(SITE, encoding="utf-8")
    (folder / "map.toml").write_text(f"{MAP}\n{extra}\n", encoding="utf-8")
    assert len(slots(folder)) < 20_000


@pytest.mark.parametrize(
    "sign", [r"\u001b[31m", r"\n", r"\u0085", r"\u009b2J", r"\u2028", r"\u202e"]
)
@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("Lower Terrace", "Lower{}Terrace"),
        ("rows 1-4", "rows{}"),
        ("peach", "pe{}ach"),
        ("", '[materials."oil{}"]\nbased_on = "oil"\n'),
        ("", '[materials.oil]\ntitle = "o{}"\n'),
        ("", '[materials.oil]\ncautions = ["o{}"]\n'),
        ("", '[other_sprays]\n"{}" = [2026-01-01]\n'),
        ("", '[mix.oil]\nrate = "4 gal"\nproduct = "{}"\n'),
    ],
)
def test_no_name_of_a_site_file_moves_the_cursor(
    folder: Path, old: str, new: str, sign: str
) -> None:
    changed = SITE.replace(old, new.format(sign)) if old else SITE + new.format(sign)
    (folder / "site.toml").write_text(changed, encoding="utf-8")
    said = slots(folder, "--ics", folder / "week.ics")
    assert "control character or line break" in said
    assert said.strip().isprintable()


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "＝", "＋", "－", "＠"])
def test_no_cell_of_ours_runs_as_a_formula(folder: Path, start: str) -> None:
    """OWASP, CSV Injection; the full-width signs as spreadsheets of East Asia read them."""
    name = f"{start}1+1"
    added = f'[materials."{name}"]\ntitle = "x"\nbased_on = "oil"\n' + (
        f'[materials."{name}".limits."{name}"]\nquantity = "temp"\nbound = "at least"\n'
        'value = "40 degF"\ncomfort = "9 degF"\nkind = "hard"\nwords = "x"\n'
    )
    (folder / "site.toml").write_text(SITE + added, encoding="utf-8")
    own = ("--site", folder / "site.toml", "--weather", folder / "weather.csv")
    own += ("--columns", folder / "map.toml", "--now", NOW, "--material", name)
    for words in ((), ("--hours",)):
        said = command("slots", *own, "--csv", *words).text
        assert f"'{name}" in said
        assert f",{name}" not in said


def test_no_receipt_is_left_by_an_error(folder: Path) -> None:
    assert "plain file" in slots(folder, "--receipt", folder)
    assert "cannot write" in slots(folder, "--receipt", folder / "no" / "r.json")
    receipt = ("--receipt", folder / "r.json")
    assert "unknown kind of picture" in slots(folder, *receipt, "--plot", "p.xyz")
    assert "cannot write" in slots(folder, *receipt, "--ics", folder / "no" / "c.ics")
    assert not [path for path in folder.iterdir() if "json" in path.name]


def test_no_file_of_another_kind_is_written_over(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # what is not written need not be drawn
    monkeypatch.setattr("spraywindow.jobs.report.page.page_html", lambda *_, **__: "")
    site = folder / "site.toml"
    assert "another kind of file" in slots(folder, "--receipt", site)
    own = ("--site", site, "--weather", folder / "weather.csv", "--columns", folder / "map.toml")
    assert "another kind of file" in command("report", *own, "--now", NOW, "--out", site).refusal
    assert site.read_text(encoding="utf-8") == SITE
    record = folder / "a.db"
    record.write_bytes(b'SQLite format 3\0 holds a receipt: {"input_sha256": "..."}')
    assert "another kind of file" in slots(folder, "--receipt", record)
    again = ("slots", *own, "--now", NOW, "--receipt", folder / "r.json")
    assert [command(*again).code for _ in range(2)] == [0, 0]  # an older one of ours


def test_a_fault_of_the_program_is_no_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("spraywindow.jobs.slots.first.tonight", broken)
    said = command("slots", "--exit-code")
    assert said.code == OWN_FAULT not in (0, 1, 2, 3)
    assert "ZeroDivisionError" in said.err
    last = said.err.splitlines()[-1]
    assert last.startswith("spraywindow: a fault of the program itself: please report it with")
    # the page and --help say the code, and what to send along
    assert str(OWN_FAULT) in command("--help").out.split("Exit codes: ")[1]
    readme = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    for told in (command("--help").words, readme):
        assert "please report it with" in told
        assert "spraywindow --version" in told


def test_no_calendar_and_no_picture_of_another_program_is_written_over(folder: Path) -> None:
    """A calendar as RFC 5545, 3.6.1 shows one; a picture without our mark."""
    foreign = (
        "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//other//EN\r\nBEGIN:VEVENT\r\n"
        "UID:19970901T130000Z-123401@example.com\r\nDTSTAMP:19970901T130000Z\r\n"
        "DTSTART:19970903T163000Z\r\nSUMMARY:Annual review\r\nEND:VEVENT\r\n"
        "END:VCALENDAR\r\n"
    )
    figure = Figure()
    for name, option in (("a.ics", "--ics"), ("a.png", "--plot"), ("a.svg", "--plot")):
        there = folder / name
        if option == "--ics":
            there.write_bytes(foreign.encode())
        else:
            figure.savefig(there)
        before = there.read_bytes()
        said = slots(folder, option, there, "--receipt", folder / "r.json")
        assert "another kind of file" in said
        assert there.read_bytes() == before
    # ours, to which another program has added an event; ours of another site
    own = ("--weather", folder / "weather.csv", "--columns", folder / "map.toml", "--now", NOW)
    mine, site = folder / "mine.ics", folder / "site.toml"
    assert command("slots", "--site", site, *own, "--ics", mine).code == 0
    assert command("slots", "--site", site, *own, "--ics", mine).code == 0
    other = folder / "other.toml"
    name = tomllib.loads(SITE)["name"]
    other.write_text(SITE.replace(name, "Another"), encoding="utf-8")
    event = foreign[foreign.index("BEGIN:VEVENT") : foreign.index("END:VCALENDAR")]
    ours = mine.read_bytes()
    event_of_ours = event.replace("example.com", "spraywindow").replace(
        "SUMMARY", f"LOCATION:{name}\r\nSUMMARY"
    )
    for added in (event, event_of_ours):
        both = ours.replace(b"END:VCALENDAR", added.encode() + b"END:VCALENDAR")
        mine.write_bytes(both)
        said = command("slots", "--site", other, *own, "--ics", mine).refusal
        assert "not of this site" in said
        assert mine.read_bytes() == both
    assert not (folder / "r.json").exists()


@pytest.mark.parametrize("name", ["week.png", "week.svg"])
def test_a_picture_of_ours_is_drawn_anew(folder: Path, name: str) -> None:
    own = ("--weather", folder / "weather.csv", "--columns", folder / "map.toml", "--now", NOW)
    again = ("slots", "--site", folder / "site.toml", *own, "--plot", folder / name)
    assert [command(*again).code for _ in range(2)] == [0, 0]
    assert {path.name for path in folder.iterdir() if "week" in path.name} == {name}

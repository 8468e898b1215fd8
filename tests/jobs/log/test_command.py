"""The application record as commands: what a year's entries print, and what bad input does."""

from __future__ import annotations

import csv
import json
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from tests.command import Said, command
from tests.site_files import write_site, write_weather

pytestmark = pytest.mark.usefixtures("no_service")
NOW = "2026-01-13 18:00"
OIL = (
    "--material", "oil", "--product", "Winter oil 80",
    "--start", "2026-01-13 10:00", "--end", "12:00",
)  # fmt: skip


@pytest.fixture
def site(tmp_path: Path) -> Path:
    return write_site(tmp_path / "ossa.toml")


@pytest.fixture
def weather(tmp_path: Path) -> Path:
    # 5 mm on the evening of 14 January, 30 h after a round that ends at noon of the 13th
    return write_weather(tmp_path / "w.csv", "2026-01-01", 31, rain={"2026-01-14T16:00": 5.0})


def _entry(said: Said) -> dict[str, Any]:
    assert said.code == 0, said.err
    found: dict[str, Any] = said.answer["entry"]
    return found


def test_quantities_are_read_as_people_write_them(site: Path, tmp_path: Path) -> None:
    plan = tmp_path / "entry.toml"
    plan.write_text(
        'material = "copper"\nproduct = "Copper 40"\nstart = 2026-01-13T09:00:00\nend = 10:30:00\n'
        'amount = "2 lb"\nspray_volume = "50 gal"\narea = "0.5 acre"\nreentry = "2 days"\n'
        'next_round = "7 days"\nwind = "4 mph"\nwind_from = "NW"\ntemp = "50 degF"\n'
        'blocks = ["rows 1-4"]\nshare = "60 %"\n'
    )
    entry = _entry(command("log", "add", plan, "--site", site, "--now", NOW, "--json"))
    # NIST SP 811, appendix B.8: 1 lb = 0.45359237 kg, 1 gal = 3.785411784 L, 1 acre = 4046.856 m2
    assert entry["product_kg"] == pytest.approx(0.90718474)
    assert entry["spray_volume_l"] == pytest.approx(189.2705892)
    assert entry["area_m2"] == pytest.approx(2023.4282, abs=1e-3)
    assert (entry["reentry_h"], entry["next_round_days"]) == (48.0, 7)
    assert (entry["wind_ms"], entry["wind_from_deg"]) == (pytest.approx(1.78816), 315.0)
    assert (entry["temp_c"], entry["share"]) == (pytest.approx(10.0), 0.6)
    assert entry["start"] == "2026-01-13T09:00:00+02:00"
    assert entry["end"] == "2026-01-13T10:30:00+02:00"
    assert entry["estimated"] == []


def test_the_site_file_gives_what_it_knows(site: Path) -> None:
    said = command(
        "log", "add", "--site", site, *OIL, "--now", "2026-01-13 18:00", "--no-fetch", "--json"
    )
    entry = _entry(said)
    assert (entry["site"], entry["timezone"], entry["crop"]) == (
        "Ossa Terrace", "Europe/Athens", "peach",
    )  # fmt: skip
    assert entry["bbch"] is None  # the stage was seen eleven days before: too long ago


def test_an_end_after_midnight_falls_on_the_next_day(site: Path) -> None:
    said = command("log", "add", "--site", site, *OIL[:4], "--start", "2026-01-12 23:00", "--end",
               "00:30", "--now", NOW, "--no-fetch", "--json")  # fmt: skip
    assert _entry(said)["end"] == "2026-01-13T00:30:00+02:00"


def test_weather_not_measured_is_filled_in_and_marked(site: Path, weather: Path) -> None:
    said = command("log", "add", "--site", site, *OIL, "--set", "temp=11 degC", "--weather",
                   weather, "--now", NOW, "--json")  # fmt: skip
    entry = _entry(said)
    assert (entry["temp_c"], entry["wind_ms"], entry["wind_from_deg"]) == (11.0, 2.0, 0.0)
    assert entry["estimated"] == ["wind_ms", "wind_from_deg"]
    assert entry["weather_source"] == "w.csv"


def test_without_weather_the_entry_is_made_all_the_same(site: Path, tmp_path: Path) -> None:
    early = write_weather(tmp_path / "early.csv", "2025-11-01", 5)
    said = command("log", "add", "--site", site, *OIL, "--weather", early, "--now", NOW)
    assert (said.code, "does not hold the hours" in said.err) == (0, True)
    old = command(
        "log", "add", "--site", site, *OIL[:4], "--start", "2026-01-05 10:00", "--now", NOW
    )
    assert (old.code, "too long ago" in old.err) == (0, True)
    unreached = command(
        "log", "add", "--site", site, *OIL[:4], "--start", "2026-01-13 15:00", "--now", NOW
    )
    assert (unreached.code, "the service does not answer" in unreached.err) == (0, True)


def test_a_correction_may_change_the_kind_of_amount(site: Path) -> None:
    command("log", "add", "--site", site, *OIL, "--amount", "4 L", "--now", NOW, "--no-fetch")
    said = command("log", "correct", 1, "--site", site, "--set", "amount=3 kg", "--why", "a paste",
                   "--now", NOW, "--json")  # fmt: skip
    entry = _entry(said)
    assert (entry["product_l"], entry["product_kg"], entry["corrects"]) == (None, 3.0, 1)


def test_a_correction_can_look_the_weather_up(site: Path, weather: Path) -> None:
    command("log", "add", "--site", site, *OIL, "--now", NOW, "--no-fetch")
    said = command("log", "correct", 1, "--site", site, "--weather", weather, "--why", "weather",
               "--now", NOW, "--json")  # fmt: skip
    assert _entry(said)["estimated"] == ["temp_c", "wind_ms", "wind_from_deg"]


def test_like_copies_the_label_and_not_the_day(site: Path, weather: Path) -> None:
    command("log", "add", "--site", site, *OIL, "--amount", "4 L", "--set", "reentry=12 h", "--set",
        "note=calm", "--set", "blocks=rows 1-4", "--weather", weather, "--now", NOW)  # fmt: skip
    said = command("log", "add", "--site", site, "--like", 1, "--start", "2026-01-19 10:00",
                   "--now", "2026-01-19 18:00", "--no-fetch", "--json")  # fmt: skip
    entry = _entry(said)
    assert (entry["product"], entry["reentry_h"], entry["product_l"]) == (
        "Winter oil 80",
        12.0,
        4.0,
    )
    assert (entry["note"], entry["blocks"], entry["temp_c"], entry["end"]) == ("", [], None, None)


def test_over_the_maximum_is_told_and_recorded(site: Path) -> None:
    for day in ("2025-12-10", "2025-12-20", "2026-01-02", "2026-01-12"):
        said = command("log", "add", "--site", site, *OIL[:4], "--start", f"{day} 10:00",
                       "--now", NOW, "--no-fetch")  # fmt: skip
        assert said.code == 0
    assert "4 rounds are recorded, over the season maximum of 3" in said.words
    listed = command("log", "list", "--site", site, "--now", NOW, "--json").answer
    assert [each["done"] for each in listed["program"]] == [4.0, 0.0]
    assert len(listed["entries"]) == 4


def test_slots_read_what_is_done(site: Path, weather: Path, tmp_path: Path) -> None:
    ask = (
        "slots",
        "--site",
        site,
        "--weather",
        weather,
        "--material",
        "oil",
        "--now",
        NOW,
        "--json",
    )
    before = command(*ask).answer["tomorrow"]
    command("log", "add", "--site", site, *OIL, "--now", NOW, "--no-fetch")
    after = command(*ask)
    assert "oil went on" not in before["reason"]
    assert "oil went on" in after.answer["tomorrow"]["reason"]
    assert "1 day of work" in after.err
    elsewhere = command(*ask, "--record", tmp_path / "other.db")
    assert "no record there" in elsewhere.refusal


def test_slots_answer_with_a_record_over_its_maximum(site: Path, weather: Path) -> None:
    for day in ("2025-12-10", "2025-12-20", "2026-01-02", "2026-01-12"):
        command(
            "log",
            "add",
            "--site",
            site,
            *OIL[:4],
            "--start",
            f"{day} 10:00",
            "--now",
            NOW,
            "--no-fetch",
        )
    said = command("slots", "--site", site, "--weather", weather, "--now", NOW)
    assert (said.code, "over the season maximum" in said.err) == (0, True)


def test_a_day_in_both_site_file_and_record_counts_once(tmp_path: Path) -> None:
    site = write_site(tmp_path / "both.toml")
    text = site.read_text().replace("season_maximum = 3", "done = [2026-01-13]")
    site.write_text(text)
    command("log", "add", "--site", site, *OIL, "--share", "50 %", "--now", NOW, "--no-fetch")
    listed = command("log", "list", "--site", site, "--now", NOW, "--json").answer
    assert listed["program"][0]["done"] == 1.0


def test_the_parts_of_one_round_are_not_too_near(site: Path) -> None:
    command("log", "add", "--site", site, *OIL, "--share", "0.5", "--now", NOW, "--no-fetch")
    ask = (
        "log",
        "add",
        "--site",
        site,
        *OIL[:4],
        "--start",
        "2026-01-14 10:00",
        "--now",
        "2026-01-14 18:00",
    )
    part = command(*ask, "--share", "0.5", "--no-fetch")
    assert "asked for" not in part.out
    whole = command(
        *ask[:-4], "--start", "2026-01-15 10:00", "--now", "2026-01-15 18:00", "--no-fetch"
    )
    assert "days between 2026-01-14 and 2026-01-15, 5 asked for" in whole.words


def test_advice_keeps_the_older_round_and_judges_the_newer_by_its_own_rain(
    site: Path, weather: Path
) -> None:
    command("log", "add", "--site", site, *OIL, "--now", NOW, "--no-fetch", "--set", "reentry=24 h")
    said = command(
        "log", "advice", "--site", site, "--weather", weather, "--now", "2026-01-20 12:00"
    )
    # 5 mm fell 28 h after the end: within the wanted 72 h, after the usual minimum of 24 h
    assert "inspect: oil, Tue 13 Jan 2026 10:00-12:00 (entry 1); 5.0 mm fell" in said.out
    assert "Re-entry: from Wed 14 Jan 12:00 (over)." in said.out
    assert "Next oil: from Sun 18 Jan (program; the label's days are not entered)." in " ".join(
        said.out.split()
    )
    early = command("log", "advice", "--site", site, "--weather", weather, "--now",
                    "2026-01-14 12:00", "--json")  # fmt: skip
    data = early.answer
    assert data["rounds"][0]["verdict"] == "unknown"
    assert data["rounds"][0]["open_share"] == 0.0


def test_rain_after_the_next_round_is_not_held_against_the_last(site: Path, tmp_path: Path) -> None:
    weather = write_weather(
        tmp_path / "wet.csv",
        "2026-01-01",
        25,
        rain={f"2026-01-18T{h:02d}:00": 5 for h in range(12)},
    )
    copper = ("log", "add", "--site", site, "--material", "copper", "--product", "C", "--no-fetch")
    for day in ("2026-01-03", "2026-01-13"):
        command(*copper, "--start", f"{day} 10:00", "--now", f"{day} 18:00")
    ask = ("log", "advice", "--site", site, "--weather", weather, "--now", "2026-01-22 12:00")
    rounds = command(*ask, "--all", "--json").answer["rounds"]
    # 60 mm on the 18th: more than the 50 mm after which copper is to be sprayed again
    assert [each["verdict"] for each in rounds] == ["keep", "redo"]
    assert [each["judged_until"] for each in rounds] == ["2026-01-13T10:00:00+02:00", None]
    assert [each["id"] for each in command(*ask, "--json").answer["rounds"]] == [2]


def test_the_dry_spell_of_the_site_file_counts(tmp_path: Path, weather: Path) -> None:
    site = write_site(tmp_path / "short.toml")
    site.write_text(site.read_text() + '[materials.oil]\ndry_spell = "24 h"\n')
    command("log", "add", "--site", site, *OIL, "--now", NOW, "--no-fetch")
    said = command(
        "log", "advice", "--site", site, "--weather", weather, "--now", "2026-01-20 12:00"
    )
    assert "keep: oil" in said.out  # the 5 mm fell after 28 h


def test_a_material_that_the_site_does_not_know_is_judged_with_caution(
    site: Path, weather: Path
) -> None:
    start = ("--start", "2026-01-13 10:00", "--end", "12:00")
    command("log", "add", "--site", site, "--material", "zinc", "--product", "Z", *start,
            "--now", "2026-01-13 14:00", "--no-fetch")  # fmt: skip
    said = command(
        "log", "advice", "--site", site, "--weather", weather, "--now", "2026-01-20 12:00"
    )
    # the 5 mm fell after 28 h: later than the day that oil needs, within the three that it wants
    assert "inspect: zinc" in said.out


def test_advice_in_us_units(tmp_path: Path, weather: Path) -> None:
    site = write_site(tmp_path / "us.toml", units="us")
    command("log", "add", "--site", site, *OIL, "--now", NOW, "--no-fetch")
    said = command(
        "log", "advice", "--site", site, "--weather", weather, "--now", "2026-01-20 12:00"
    )
    assert "0.20 in fell" in said.out  # 5 mm / 25.4
    assert " mm" not in said.out


def test_a_receipt_is_kept_and_judged(site: Path, weather: Path, tmp_path: Path) -> None:
    receipt = tmp_path / "r.json"
    advised = command("slots", "--site", site, "--weather", weather, "--material", "oil", "--now",
                  "2026-01-20 18:00", "--receipt", receipt)  # fmt: skip
    assert advised.out.startswith("Ossa Terrace: ")
    kept = json.loads(receipt.read_text())
    assert kept["verdict"] in ("go", "unknown", "no-go")
    kept |= {
        "verdict": "go",
        "start": "2026-01-13T10:00:00+02:00",
        "end": "2026-01-13T15:00:00+02:00",
    }
    receipt.write_text(json.dumps(kept))
    added = command(
        "log", "add", "--site", site, *OIL, "--now", NOW, "--no-fetch", "--receipt", receipt
    )
    assert "receipt" not in added.out  # done within the hours advised
    other = command("log", "add", "--site", site, *OIL[:4], "--start", "2026-01-13 16:00",
                    "--now", NOW, "--no-fetch", "--receipt", receipt)  # fmt: skip
    assert "Outside the hours of the receipt (13 Jan 10:00 to 15:00)" in other.out
    command("log", "withdraw", 2, "--site", site, "--why", "a test", "--now", NOW)
    said = command(
        "log", "judge", "--site", site, "--weather", weather, "--now", "2026-01-25 12:00", "--json"
    )
    answer = said.answer
    (judged,) = answer["receipts"]
    # the 5 mm fell 27 h after the end of the hours advised; oil wants 72 h (common practice)
    assert judged["spoiled"] == {"24": False, "48": True, "72": True}
    assert (judged["held"], judged["broken_by"]) == (False, "dry spell")
    assert (answer["go"]["held"], answer["go"]["judged"]) == (0, 1)


def test_a_receipt_without_hours_is_named_not_judged(
    site: Path, weather: Path, tmp_path: Path
) -> None:
    receipt = tmp_path / "r.json"
    receipt.write_text(
        json.dumps({"site": "Ossa Terrace", "material": "oil", "now": "2026-01-12T18:00:00+02:00",
                    "verdict": "no-go", "start": None, "end": None, "date": "2026-01-13",
                    "limits": []})
    )  # fmt: skip
    added = command(
        "log", "add", "--site", site, *OIL, "--now", NOW, "--no-fetch", "--receipt", receipt
    )
    assert "The receipt advised no hours" in added.out
    said = command(
        "log", "judge", "--site", site, "--receipt", receipt, "--weather", weather, "--now", NOW
    )
    assert said.out.startswith("Ossa Terrace: no go answer can be judged yet.\n")
    assert "no hours advised" in said.out
    note = command(
        "log", "paper", "note", "--site", site, "--receipt", receipt, "--set", "product=A"
    )
    assert "advises no hours" in note.refusal


def test_without_a_receipt_there_is_nothing_to_judge(site: Path, weather: Path) -> None:
    command("log", "add", "--site", site, *OIL, "--now", NOW, "--no-fetch")
    ask = ("--site", site, "--weather", weather, "--now", "2026-01-25 12:00")
    for number in ((), (1,)):
        assert "no receipt to judge" in command("log", "judge", *number, *ask).refusal


def test_a_receipt_that_was_changed_is_not_judged(site: Path, tmp_path: Path) -> None:
    receipt, dry = tmp_path / "r.json", write_weather(tmp_path / "dry.csv", "2026-01-01", 31)
    command("slots", "--site", site, "--weather", dry, "--material", "oil", "--now",
            "2026-01-12 18:00", "--receipt", receipt)  # fmt: skip
    command("log", "add", "--site", site, *OIL, "--now", NOW, "--no-fetch", "--receipt", receipt)
    ask = ("log", "judge", "--site", site, "--weather", dry, "--now", "2026-01-25 12:00")
    assert command(*ask, "--json").answer["receipts"][0]["verdict"] == "go"
    path = site.with_suffix(".db")
    with sqlite3.connect(path) as connection:
        connection.execute("DROP TRIGGER receipts_no_update")
        connection.execute("""UPDATE receipts SET text = replace(text, '"go"', '"no-go"')""")
    connection.close()
    told = command(*ask).refusal
    assert f"{path}: damaged: the receipt of entry 1 is changed or gone" in told


@pytest.mark.parametrize("text", ["[]", '[{"material": "oil"}]', '"oil"', "3"])
def test_an_entry_file_without_a_table_is_refused(site: Path, tmp_path: Path, text: str) -> None:
    plan = tmp_path / "entry.json"
    plan.write_text(text)
    said = command("log", "add", plan, "--site", site, "--now", NOW)
    assert f"{plan}: no table of fields" in said.refusal
    assert not site.with_suffix(".db").exists()


def test_three_papers_of_one_entry(site: Path, tmp_path: Path) -> None:
    plan = tmp_path / "plan.json"
    plan.write_text(json.dumps({"material": "oil", "product": "A", "start": "2026-02-01 10:00",
                                "end": "12:00"}))  # fmt: skip
    note = command("log", "paper", "note", plan, "--site", site, "--field", "gate=The side gate.")
    assert "Sunday 1 February 2026, from 10:00 to about 12:00" in note.out
    assert "- Gate: The side gate." in note.out
    command("log", "add", "--site", site, *OIL, "--amount", "4 L", "--now", NOW, "--no-fetch")
    record = command("log", "paper", "record", 1, "--site", site, "--rule", "us-federal")
    assert "Total product         4 L" in record.out
    own = tmp_path / "bill.txt"
    own.write_text("$product|$amount|$$5\n")
    assert (
        command("log", "paper", "bill", 1, "--site", site, "--template", own).out
        == "Winter oil 80|4 L|$5\n"
    )
    own.write_text("$price")
    wrong = command("log", "paper", "bill", 1, "--site", site, "--template", own)
    assert "unknown field price" in wrong.refusal
    given = command(
        "log", "paper", "bill", 1, "--site", site, "--template", own, "--field", "price=9"
    )
    assert given.out == "9\n"


def test_export_and_history(site: Path, tmp_path: Path) -> None:
    command("log", "add", "--site", site, *OIL, "--now", NOW, "--no-fetch")
    command("log", "withdraw", 1, "--site", site, "--why", "another orchard", "--now", NOW)
    to = tmp_path / "all.csv"
    assert command("log", "export", "--site", site, "--history", "--to", to).code == 0
    with to.open(newline="") as file:
        assert [row["kind"] for row in csv.DictReader(file)] == ["application", "withdrawal"]
    again = command("log", "export", "--site", site, "--to", to)
    assert "exists" in again.refusal
    assert command("log", "export", "--site", site, "--format", "json").answer["entries"] == []


def test_a_damaged_record_is_an_error(site: Path) -> None:
    command("log", "add", "--site", site, *OIL, "--now", NOW, "--no-fetch")
    assert command("log", "check", "--site", site).code == 0
    path = site.with_suffix(".db")
    with sqlite3.connect(path) as connection:
        connection.execute("DROP TRIGGER entries_no_update")
        connection.execute("UPDATE entries SET body = replace(body, 'Winter', 'Summer')")
    connection.close()
    said = command("log", "check", "--site", site, "--json")
    assert (said.code, json.loads(said.out)["sound"]) == (2, False)
    assert "was changed" in said.err
    for words in (("list",), ("advice",), ("paper", "record", "1")):
        assert command("log", *words, "--site", site, "--now", NOW).code == 2
    path.write_bytes(b"SQLite format 3\x00" + b"\x07" * 4000)
    assert command("log", "add", "--site", site, *OIL, "--now", NOW, "--no-fetch").code == 2


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("add", *OIL[:4], "--start", "2027-01-01 10:00", "--now", NOW), "lies in the future"),
        (("add", *OIL[:4], "--start", "2026-01-13", "--now", NOW), "start: not a time"),
        (("add", *OIL[:4], "--start", "2025-10-26 03:30", "--now", NOW), "comes twice"),
        (("add", *OIL, "--amount", "4", "--now", NOW), "a number without its unit"),
        (("add", *OIL, "--amount", "4 cubits", "--now", NOW), "unknown unit"),
        (
            ("add", *OIL, "--amount", "-4 L", "--now", NOW),
            "amount: input should be greater than 0; got '-4 L'",
        ),
        (("add", *OIL, "--amount", "-3 gal", "--now", NOW), "got '-3 gal'"),
        (("add", *OIL, "--share", "120 %", "--now", NOW), "share: "),
        (("add", *OIL, "--share", "60", "--now", NOW), """such as "60 %"; got '60'"""),
        (("add", *OIL, "--set", "share=140 %", "--now", NOW), "got '140 %'"),
        (("add", *OIL, "--set", "temp=200 degF", "--now", NOW), "temp: "),
        (("add", *OIL[:6], "--end", "9:00", "--now", NOW), "the end is before the start"),
        (("add", *OIL[:6], "--end", "2026-01-13 09:00", "--now", NOW), "end: before the start"),
        (("add", "--material", "oli", *OIL[2:], "--now", NOW), "did you mean oil?"),
        (("correct", "1", "--set", "share=0.5", "--why", "x", "--now", NOW), "log add` begins"),
        (("add", *OIL, "--set", "tmep=9 degC", "--now", NOW), "did you mean temp?"),
        (("add", *OIL, "--set", "temp", "--now", NOW), "not a setting"),
        (("add", "--now", NOW), "start: is missing"),
        (("add", "nowhere.toml", "--now", NOW), "cannot read the entry file"),
        (("list",), "`spraywindow log add` begins one"),
        (("check",), "no record"),
        (("export", "--format", "xml"), "unknown format"),
        (("paper", "poster", "1"), "unknown paper"),
        (("paper", "bill"), "the number of its entry"),
    ],
)
def test_bad_input_is_one_line_and_leaves_no_record(
    site: Path, arguments: tuple[str, ...], told: str
) -> None:
    said = command("log", arguments[0], "--site", site, *arguments[1:])
    assert told in said.refusal
    assert not site.with_suffix(".db").exists()


def test_an_unknown_entry_is_named_with_those_there_are(site: Path) -> None:
    command("log", "add", "--site", site, *OIL, "--now", NOW, "--no-fetch")
    for words in (
        ("correct", "9", "--set", "share=0.5", "--why", "x"),
        ("withdraw", "9", "--why", "x"),
        ("paper", "bill", "9"),
        ("add", "--like", "9", *OIL),
    ):
        said = command("log", words[0], *words[1:], "--site", site)
        assert "no entry 9" in said.refusal


def test_the_key_of_the_site_file_names_the_record(tmp_path: Path) -> None:
    site = write_site(tmp_path / "keyed.toml", extra='record = "book.db"\n')
    command("log", "add", "--site", site, *OIL, "--now", NOW, "--no-fetch")
    assert (tmp_path / "book.db").exists()
    weather = write_weather(tmp_path / "x.csv", "2026-01-01", 25)
    said = command("slots", "--site", site, "--now", NOW, "--weather", weather)
    assert "1 day of work" in said.err


def test_every_line_fits_eighty_columns(site: Path, weather: Path) -> None:
    command("log", "add", "--site", site, *OIL, "--amount", "4 L", "--set", "blocks=rows 1-4",
        "--set", "reentry=24 h", "--set", "preharvest=21 days", "--weather", weather,
        "--now", NOW)  # fmt: skip
    command("log", "correct", 1, "--site", site, "--set", "share=0.5", "--now", NOW,
        "--why", "the wind got up and " * 6)  # fmt: skip
    at = ("--site", site, "--now", "2026-01-15 12:00")
    for words in (("list",), ("list", "--history"), ("advice", "--weather", weather)):
        said = command("log", *words, *at)
        assert said.code == 0
        assert max(map(len, said.out.splitlines())) <= 80


def test_an_exported_record_is_made_anew_and_never_over_another(site: Path, tmp_path: Path) -> None:
    assert command("log", "add", *OIL, "--site", site, "--now", NOW, "--no-fetch").code == 0
    record, copy, text = site.with_suffix(".db"), tmp_path / "copy.db", tmp_path / "all.json"
    whole = ("log", "export", "--record", record, "--format", "json", "--history")
    assert command(*whole, "--to", text).text == f"{text}\n"
    assert "the file exists" in command(*whole, "--to", text).refusal
    assert "1 row." in command("log", "import", text, "--record", copy).text
    assert "a file already" in command("log", "import", text, "--record", copy).refusal
    again = ("log", "export", "--record", copy, "--format", "json", "--history")
    assert command(*again).text == command(*whole).text

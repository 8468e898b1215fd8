"""After a round: the answer first, the rest of a round begun, earlier winters, other sites."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.command import Said, command
from tests.site_files import write_site, write_weather

pytestmark = pytest.mark.usefixtures("no_service")
PART = ("--material", "oil", "--product", "Winter oil 80", "--no-fetch")


@pytest.fixture
def site(tmp_path: Path) -> Path:
    return write_site(tmp_path / "ossa.toml")


@pytest.fixture
def weather(tmp_path: Path) -> Path:
    return write_weather(tmp_path / "w.csv", "2026-01-01", 31)


def add(site: Path, day: str, *more: object) -> Said:
    at = ("--start", f"{day} 10:00", "--end", "12:00", "--now", f"{day} 18:00")
    said = command("log", "add", "--site", site, *PART, *at, *more)
    assert said.code == 0, said.err
    return said


def test_the_rest_of_a_round_begun_may_go_on_at_once(site: Path, weather: Path) -> None:
    add(site, "2026-01-12", "--share", "60 %", "--set", "next_round=7 days")
    ask = ("--site", site, "--weather", weather, "--now", "2026-01-13 18:00")
    said = command("log", "advice", *ask).words
    assert "40 % of the round is still to be done: the rest at once." in said
    # the program's 5 days, the label's 7, from the rest's first day
    assert "Next oil: from Tue 20 Jan (label), counted from the rest." in said
    (told,) = command("log", "advice", *ask, "--json").answer["rounds"]
    assert (told["rest_from"], told["open_share"]) == ("2026-01-13", 0.4)
    assert told["next_round_from_program"] == "2026-01-18"
    assert told["next_round_from_label"] == "2026-01-20"
    slots = command("slots", *ask, "--material", "oil", "--json").answer
    assert "oil went on" not in slots["tomorrow"]["reason"]


def test_the_rest_waits_where_another_material_holds_it(site: Path, weather: Path) -> None:
    add(site, "2026-01-12", "--share", "60 %")
    add(site, "2026-01-13", "--set", "use_kind=area", "--material", "copper")
    ask = ("--site", site, "--weather", weather, "--now", "2026-01-13 18:00", "--json")
    told = command("log", "advice", *ask).answer["rounds"]
    # two days between materials
    assert [each["rest_from"] for each in told if each["material"] == "oil"] == ["2026-01-15"]


def test_the_parts_of_one_round_lead_to_one_next_day(site: Path, weather: Path) -> None:
    add(site, "2026-01-12", "--share", "60 %")
    add(site, "2026-01-14", "--share", "40 %")
    ask = ("--site", site, "--weather", weather, "--now", "2026-01-16 18:00")
    said = command("log", "advice", *ask).words
    assert said.count("Next oil") == 1
    assert "Next oil: from Mon 19 Jan (program" in said  # 5 days after the last part
    assert "still to be done" not in said
    told = command("log", "advice", *ask, "--json").answer["rounds"]
    assert [each["next_round_from_program"] for each in told] == ["2026-01-19"] * 2
    assert [each["rest_from"] for each in told] == [None] * 2
    assert [each["parts"] for each in told] == [[1, 2]] * 2
    slots = command("slots", *ask, "--material", "oil", "--json").answer
    assert "so from Mon 19 Jan on" in slots["tomorrow"]["reason"]


def test_a_round_begun_last_winter_is_not_finished_in_this_one(site: Path, weather: Path) -> None:
    add(site, "2025-01-12", "--share", "60 %")
    add(site, "2026-01-14", "--share", "40 %")
    ask = ("--site", site, "--weather", weather, "--now", "2026-01-16 18:00", "--json")
    (told,) = command("log", "advice", *ask).answer["rounds"]
    assert (told["parts"], told["open_share"]) == ([2], 0.6)


def test_a_round_over_many_days_is_not_replaced_by_its_own_parts(
    site: Path, tmp_path: Path
) -> None:
    wet = write_weather(tmp_path / "wet.csv", "2026-01-01", 31, rain={"2026-01-14T16:00": 5.0})
    add(site, "2026-01-13", "--share", "60 %")
    add(site, "2026-01-20", "--share", "40 %")
    ask = ("--site", site, "--weather", wet, "--now", "2026-01-25 18:00", "--json")
    told = command("log", "advice", *ask).answer["rounds"]
    assert [(each["verdict"], each["judged_until"]) for each in told] == [
        ("inspect", None), ("keep", None),
    ]  # fmt: skip


def test_the_first_line_of_the_advice_is_the_answer(site: Path, tmp_path: Path) -> None:
    wet = write_weather(tmp_path / "wet.csv", "2026-01-01", 31, rain={"2026-01-17T16:00": 5.0})
    copper = ("--material", "copper", "--product", "C")
    add(site, "2026-01-13", *copper)
    add(site, "2026-01-16")
    ask = ("log", "advice", "--site", site, "--weather", wet)
    # 5 mm 30 h after the oil: past the 24 h needed, within the 72 h wanted (common practice)
    first = command(*ask, "--now", "2026-01-25 18:00").out.splitlines()[0]
    assert first == "Ossa Terrace: inspect oil of Fri 16 Jan; keep copper of Tue 13 Jan."
    early = command(*ask, "--now", "2026-01-16 18:00").out.splitlines()[0]
    assert early == "Ossa Terrace: not known yet: oil of Fri 16 Jan; keep copper of Tue 13 Jan."


@pytest.mark.parametrize("units", ["metric", "us"])
def test_the_first_line_of_the_judge_is_the_answer_and_all_lines_fit(
    tmp_path: Path, weather: Path, units: str
) -> None:
    site = write_site(tmp_path / "ossa.toml", units=units)
    receipt = tmp_path / "a rather long name of a receipt for Ossa Terrace, 2026-01-12.json"
    command("slots", "--site", site, "--weather", weather, "--material", "oil", "--now",
        "2026-01-12 18:00", "--receipt", receipt)  # fmt: skip
    ask = ("log", "judge", "--site", site, "--weather", weather, "--receipt", receipt, "--now")
    late, early = command(*ask, "2026-01-25 12:00"), command(*ask, "2026-01-13 12:00")
    # Wilson's interval of 1 in 1: 21 to 100 %
    assert late.out.startswith(
        "Ossa Terrace: 1 of 1 go answers held (100 %, in the long run 21-100 %).\n"
    )
    assert early.out.startswith("Ossa Terrace: no go answer can be judged yet.\n")
    for said in (late, early):
        assert max(map(len, said.out.splitlines())) <= 80
    assert "Came less forecast, air temperature: mean 0" in late.out


def test_the_judge_tells_what_broke_a_go(site: Path, weather: Path, tmp_path: Path) -> None:
    receipt = tmp_path / "r.json"
    command("slots", "--site", site, "--weather", weather, "--material", "oil", "--now",
        "2026-01-12 18:00", "--receipt", receipt)  # fmt: skip
    wet = write_weather(tmp_path / "wet.csv", "2026-01-01", 31, rain={"2026-01-15T10:00": 31.0})
    said = command("log", "judge", "--site", site, "--weather", wet, "--receipt", receipt, "--now",
               "2026-01-25 12:00")  # fmt: skip
    assert "0 of 1 go answers held" in said.out
    assert "rain too soon, rain 0.0 / 31.0 / 31.0 mm" in said.words


def test_a_receipt_of_another_site_is_refused(site: Path, weather: Path, tmp_path: Path) -> None:
    receipt = tmp_path / "r.json"
    command("slots", "--site", site, "--weather", weather, "--material", "oil", "--now",
        "2026-01-12 18:00", "--receipt", receipt)  # fmt: skip
    other = write_site(tmp_path / "other.toml", name="Elsewhere")
    for words in (
        ("paper", "note", "--set", "product=A"),
        ("judge", "--weather", weather, "--now", "2026-01-25 12:00"),
    ):
        said = command("log", *words, "--site", other, "--receipt", receipt)
        assert (said.code, said.out, said.err.count("\n")) == (2, "", 1)
        assert "of another site; expected Elsewhere; got 'Ossa Terrace'" in said.err
        assert command("log", *words, "--site", site, "--receipt", receipt).code == 0


def test_a_record_with_a_receipt_of_another_site_is_judged_without_it(
    site: Path, weather: Path, tmp_path: Path
) -> None:
    receipt = tmp_path / "r.json"
    command("slots", "--site", site, "--weather", weather, "--material", "oil", "--now",
        "2026-01-12 18:00", "--receipt", receipt)  # fmt: skip
    add(site, "2026-01-13", "--receipt", receipt)
    other = json.loads(receipt.read_text()) | {"site": "Elsewhere"}
    receipt.write_text(json.dumps(other))
    warned = add(site, "2026-01-19", "--receipt", receipt)
    assert "The receipt is of Elsewhere" in warned.out
    ask = ("log", "judge", "--site", site, "--weather", weather, "--now", "2026-01-25 12:00")
    said = command(*ask)
    assert "1 of 1 go answers held" in said.out
    assert "of another site, Elsewhere (entry 2)" in said.words
    named = command("log", "judge", 2, *ask[2:])
    assert (named.code, "receipt of entry 2: the receipt is of another site" in named.err) == (
        2, True,
    )  # fmt: skip


def test_the_note_is_never_of_hours_that_cannot_be(site: Path) -> None:
    said = command("log", "paper", "note", "--site", site, "--set", "product=A", "--set",
               "material=oil", "--set", "start=2026-01-20 14:00", "--set", "end=13:00")  # fmt: skip
    assert "the end is before the start" in said.refusal


def test_the_list_counts_this_winters_rounds(tmp_path: Path) -> None:
    site = write_site(tmp_path / "old.toml")
    done = "done = [2025-01-03, 2025-01-12, 2025-02-01]"
    site.write_text(site.read_text().replace("rounds = 3", f"rounds = 3\n{done}", 1))
    add(site, "2026-01-13")
    said = command("log", "list", "--site", site, "--now", "2026-01-13 18:00")
    assert "Rounds this season: oil 1 of 3 (last 2026-01-13)" in said.out
    assert "over the season maximum" not in said.out
    assert "asked for" not in said.out


def test_the_list_fits_without_amounts_and_tells_what_is_withdrawn(site: Path) -> None:
    lime = ("--material", "lime sulfur", "--product", "A product with a rather long name")
    for day in (12, 13):
        add(site, f"2026-01-{day}", *lime, "--set", "reentry=48 h")
    command("log", "withdraw", 1, "--site", site, "--why", "twice", "--now", "2026-01-13 18:00")
    command("log", "correct", 2, "--site", site, "--why", "paced", "--set", "area=0.1 ha",
        "--now", "2026-01-13 18:00")  # fmt: skip
    said = command("log", "list", "--site", site, "--history", "--now", "2026-01-14 12:00")
    assert max(map(len, said.out.splitlines())) <= 80
    told = said.words
    assert ("(withdrawn by 3)" in told, "(corrected by 4)" in told) == (True, True)


def test_a_damaged_record_is_named_once(site: Path) -> None:
    import sqlite3

    add(site, "2026-01-13")
    path = site.with_suffix(".db")
    hand = sqlite3.connect(path, isolation_level=None)
    hand.execute("DROP TRIGGER entries_no_update")
    hand.execute("UPDATE entries SET body = replace(body, 'Winter', 'Summer')")
    hand.close()
    said = command("log", "check", "--site", site)
    assert (said.code, said.err.count(str(path))) == (2, 1)


def test_a_gap_that_is_short_is_named_and_the_entry_made(site: Path) -> None:
    """30 days from oil to sulfur both ways: UC IPM, Applying dormant treatments (2017)."""
    oil = add(site, "2026-01-10")
    assert "asked for" not in oil.out
    sulfur = add(site, "2026-01-13", "--material", "sulfur")
    assert "Sulfur on Tue 13 Jan, oil on Sat 10 Jan: 3 days apart, 30 asked for." in sulfur.words
    copper = add(site, "2026-01-11", "--material", "copper")  # entered after what came after it
    assert "Copper on Sun 11 Jan, oil on Sat 10 Jan: 1 day apart, 2 asked for." in copper.words
    assert "sulfur" not in copper.words
    path = site.with_suffix(".db")
    rows = command("log", "list", "--record", path, "--json").answer["entries"]
    assert [row["material"] for row in rows] == ["oil", "copper", "sulfur"]


def test_what_is_mixed_in_one_tank_is_not_apart(site: Path) -> None:
    mixes = '[program]\ntank_mixes = [["oil", "copper"]]\n'
    site.write_text(site.read_text().replace("[program]\n", mixes, 1))
    add(site, "2026-01-10")
    assert "asked for" not in add(site, "2026-01-10", "--material", "copper").out
    assert "1 day apart" in add(site, "2026-01-11", "--material", "copper").words


def test_advice_keeps_every_gap_as_slots_does(site: Path, weather: Path) -> None:
    """The next oil waits for the sulfur too, and the sulfur names what waits for it."""
    for day, material in (("05", "oil"), ("12", "sulfur")):
        add(site, f"2026-01-{day}", "--material", material)
    files = ("--site", site, "--weather", weather, "--now", "2026-01-20 12:00")
    oil, sulfur = command("log", "advice", *files, "--json").answer["rounds"]
    assert oil["next_round_from_program"] == "2026-02-11"  # 30 days from 12 January
    assert oil["named_materials_from"]["sulfur"] == "2026-02-04"
    assert sulfur["named_materials_from"] == {"oil": "2026-02-11"}
    assert sulfur["other_materials_from"] == "2026-01-14"
    said = command("log", "advice", *files).words
    assert "Next oil: from Wed 11 Feb" in said
    assert "Other materials: from Wed 14 Jan; oil from Wed 11 Feb." in said
    slots = command("slots", *files, "--material", "oil").words
    assert "30 days apart, so from Wed 11 Feb on" in slots


def test_what_can_hardly_be_is_recorded_and_said(site: Path) -> None:
    add(site, "2026-01-13")
    said = add(site, "2026-01-13", "--material", "copper", "--set", "wind=20 m/s")
    assert "Entry 1 (oil) is of the same time." in said.words
    assert "is noted: nobody sprays in it; is the unit right?" in said.words
    assert "of the same time" not in add(site, "2026-01-14", "--material", "copper").words


@pytest.mark.parametrize(
    ("noted", "asked"),
    [
        (("--amount", "600 L"), "600 L of product noted, `mix` gives"),
        (("--set", "spray_volume=9 gal"), "L of spray noted, `mix` gives"),
        (("--set", "wind=5 m/s"), "5.0 m/s is noted: oil asks for at most 4.5 m/s."),
        (("--as-mixed", "--set", "wind=4 m/s"), ""),
        (("--as-mixed", "--share", "20 %"), ""),  # a fifth of a round takes a fifth
        (("--share", "20 %", "--amount", "12 L"), "12 L of product noted, `mix` gives"),
    ],
)
def test_an_amount_or_a_wind_far_off_is_recorded_and_asked_about(
    site: Path, noted: tuple[str, ...], asked: str
) -> None:
    """Twice or half of what `mix` gives: common practice; the wind: 3 CCR 6960, 10 mph."""
    text = '[sprayer]\nway = "hand gun"\ntank = "200 L"\nflow = "8 L/min"\n'
    site.write_text(site.read_text() + text)
    said = add(site, "2026-01-13", *noted).words
    assert said.count("is noted") + said.count(" noted, `mix`") == bool(asked)
    assert asked in said
    add(site, "2026-01-16", "--material", "sulfur", "--amount", "600 L")  # no rate, no question


def test_a_receipt_given_for_the_fields_of_a_note_is_one_line(
    site: Path, weather: Path, tmp_path: Path
) -> None:
    receipt = tmp_path / "r.json"
    command("slots", "--site", site, "--weather", weather, "--material", "oil", "--now",
        "2026-01-12 18:00", "--receipt", receipt)  # fmt: skip
    refused = command("log", "paper", "note", receipt, "--site", site).refusal
    assert "a receipt, not the fields of an entry" in refused
    assert f"--receipt {receipt}" in refused

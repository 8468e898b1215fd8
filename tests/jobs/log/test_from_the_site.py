"""An entry takes what the site file and the advice know, so that little is left to type."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import pytest

from spraywindow.errors import RecordError
from spraywindow.record.file import open_record
from spraywindow.record.receipts import keep_receipt, kept_receipts
from spraywindow.sources.demo.samples import demo_forecast, sample_path
from tests.command import command

FORECAST = ("--weather", sample_path("forecast.csv"))
EVENING = ("--now", "2026-01-12 18:00")
NEXT_DAY = ("--now", "2026-01-13 15:00")
HOURS = ("--start", "2026-01-13 10:00", "--end", "12:00", "--no-fetch")


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """The demo's site with what a record wants of label and crew, and an area of the rows."""
    text = sample_path("orchard.toml").read_text(encoding="utf-8")
    label = 'registration = "0000-00"\nreentry = "24 h"\npreharvest = "20.5 days"\n'
    text = text.replace("[mix.oil]\n", f"[mix.oil]\n{label}")
    text = text.replace("[crew]\n", '[crew]\napplicator = "A. Example"\ncertification = "X-1"\n')
    text = text.replace('name = "rows 1-4"\n', 'name = "rows 1-4"\narea = "0.2 ha"\n')
    path = tmp_path / "site.toml"
    path.write_text(text, encoding="utf-8")
    return path


def entry(site: Path, number: int) -> dict[str, Any]:
    rows = command("log", "list", "--site", site, *NEXT_DAY, "--json").answer["entries"]
    return next(dict(row) for row in rows if row["id"] == number)


def test_label_crew_stage_and_area_come_from_the_site_file(site: Path) -> None:
    said = command("log", "add", "--site", site, "--material", "oil", *HOURS, *NEXT_DAY,
                   "--set", "blocks=rows 1-4")  # fmt: skip
    assert said.code == 0, said.err
    found = entry(site, 1)
    assert {name: found[name] for name in (
        "product", "registration_number", "reentry_h", "preharvest_days", "applicator",
        "certification_number", "area_m2", "product_l", "spray_volume_l",
    )} == {
        "product": "dormant oil", "registration_number": "0000-00", "reentry_h": 24.0,
        "preharvest_days": 21, "applicator": "A. Example", "certification_number": "X-1",
        "area_m2": pytest.approx(2000.0), "product_l": None, "spray_volume_l": None,
    }  # fmt: skip
    # what is written stands before it, and the label of another material is its own
    command("log", "add", "--site", site, "--material", "copper", *HOURS, *NEXT_DAY, "--product",
            "Made up 80", "--set", "applicator=B. Example", "--share", "50 %")  # fmt: skip
    other = entry(site, 2)
    assert (other["product"], other["applicator"]) == ("Made up 80", "B. Example")
    assert (other["registration_number"], other["reentry_h"]) == ("", None)
    assert other["area_m2"] == pytest.approx(1000.0)  # the apricots are in flower


def test_which_part_of_a_named_block_was_done_nobody_knows(site: Path) -> None:
    ask = ("log", "add", "--site", site, "--material", "oil", *HOURS, *NEXT_DAY)
    command(*ask, "--set", "blocks=rows 1-4", "--share", "30 %")
    assert entry(site, 1)["area_m2"] is None


def test_spray_and_product_as_mix_gives_them(site: Path) -> None:
    mixed = command("mix", "--site", site, "--material", "oil", *EVENING, "--json").answer
    ask = ("log", "add", "--site", site, "--material", "oil", *HOURS, *NEXT_DAY, "--as-mixed")
    assert command(*ask).code == 0
    found = entry(site, 1)
    assert found["spray_volume_l"] == pytest.approx(mixed["spray_l"], abs=0.05)
    assert found["product_l"] == pytest.approx(mixed["product_total"], abs=0.001)
    assert "not measured" in found["note"]
    # half of the rows takes half of it
    command(*ask, "--set", "blocks=rows 1-4", "--share", "40 %")
    rows = next(each for each in mixed["blocks"] if each["name"] == "rows 1-4")
    trees = {each["name"]: each["trees"] for each in mixed["blocks"]}
    assert trees == {"rows 1-4": rows["trees"]}  # the apricots are in flower
    assert entry(site, 2)["spray_volume_l"] < 0.8 * found["spray_volume_l"]
    assert "beside an amount" in command(*ask, "--amount", "4 L").refusal
    bare = site.with_name("bare.toml")
    text = site.read_text(encoding="utf-8")
    bare.write_text(text[: text.index("[sprayer]")] + text[text.index("[mix.oil]") :])
    asked = ("log", "add", "--site", bare, "--material", "oil", *HOURS, *NEXT_DAY, "--as-mixed")
    assert "no table [sprayer]" in command(*asked).refusal


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> None:
    """The demo's forecast, as a service gives it."""
    table = demo_forecast()
    monkeypatch.setattr("spraywindow.sources.get_forecast", lambda *_, **__: table)


@pytest.mark.usefixtures("served")
def test_receipts_are_kept_where_there_is_a_record_and_the_slot_is_taken(site: Path) -> None:
    evening = command("slots", "--site", site, *EVENING, "--json").answer["tomorrow"]
    assert not site.with_suffix(".db").exists()  # no record is begun for it
    command("seen", site, "rows 1-4", "dormant", "--on", "2026-01-10", *EVENING)
    for name in ("visits", "slots", "slots", "report"):
        asked = ("--out", site.with_name("page.html")) if name == "report" else ()
        assert command(name, "--site", site, *EVENING, *asked).code == 0
    command("slots", "--site", site, *EVENING, *FORECAST)  # a file is no forecast asked for
    with open_record(site.with_suffix(".db"), read_only=True) as opened:
        (kept,) = kept_receipts(opened, "Varkessa Bank")  # the same weather once
        assert kept_receipts(opened, "Elsewhere") == []
    assert json.loads(kept)["start"] == evening["start"]
    said = command("log", "add", "--site", site, "--slot", "--no-fetch", *NEXT_DAY)
    assert said.code == 0, said.err
    found = entry(site, 1)
    start = dt.datetime.fromisoformat(evening["start"])
    assert dt.datetime.fromisoformat(found["start"]) == start
    assert dt.datetime.fromisoformat(found["end"]) == start + dt.timedelta(hours=2)
    assert found["material"] == json.loads(kept)["material"]
    assert found["receipt_hash"] is not None
    assert command("log", "check", "--site", site).code == 0
    # what no round followed can be judged all the same
    ask = ("log", "judge", "--site", site, *FORECAST, "--now", "2026-01-17 18:00", "--json")
    command("slots", "--site", site, "--now", "2026-01-13 18:00")
    of_entries, every = (command(*ask, *more).answer["receipts"] for more in ((), ("--kept",)))
    assert (len(of_entries), len(every)) == (1, 2)


def test_without_a_receipt_it_is_todays_slot_as_decided(site: Path) -> None:
    ask = ("log", "add", "--site", site, "--slot", *FORECAST)
    # the job is not done yet; nothing goes on that Sunday
    assert "lies in the future" in command(*ask, "--now", "2026-01-13 08:00").refusal
    assert "no slot was advised for today" in command(*ask, "--now", "2026-01-18 15:00").refusal
    today = command("slots", "--site", site, *FORECAST, "--now", "2026-01-13 00:00", "--json")
    said = command(*ask, *NEXT_DAY)
    assert said.code == 0, said.err
    found = entry(site, 1)
    assert found["start"] == today.answer["today"]["start"]
    assert found["receipt_hash"] is None


def test_a_receipt_is_kept_once_a_day_and_weather(tmp_path: Path) -> None:
    made = {"site": "A", "material": "oil", "date": "2026-01-13", "input_sha256": "12", "now": "2"}
    with open_record(tmp_path / "log.db", create=True) as opened:
        assert keep_receipt(opened, json.dumps(made))
        assert not keep_receipt(opened, json.dumps(made | {"now": "3"}))
        for name in ("site", "material", "date", "input_sha256"):
            assert keep_receipt(opened, json.dumps(made | {name: "1"} | {"now": "1"}))
        assert [json.loads(each)["now"] for each in kept_receipts(opened, "A")] == ["1"] * 3 + ["2"]


def test_a_record_that_cannot_be_written_costs_no_answer(
    site: Path, served: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    command("seen", site, "rows 1-4", "dormant", "--on", "2026-01-10", *EVENING)

    def full(*_: object) -> bool:
        raise RecordError("the disk is full")

    monkeypatch.setattr("spraywindow.jobs.slots.receipt.keep_receipt", full)
    said = command("slots", "--site", site, *EVENING)
    assert said.code == 0
    assert "The receipt is not kept: the disk is full" in said.err

"""Two forecasts side by side: the worse of each hour, said so; where they differ, a table.

Rules by hand (no source): a crew that is sent out on two forecasts is sent on the stricter.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import SourceError
from spraywindow.place import Place
from spraywindow.sources.files.read_file import read_weather
from spraywindow.sources.services import metnorway, nws
from spraywindow.spray.catalogue import COPPER, OIL
from spraywindow.spray.hours import score_hours
from spraywindow.spray.material import Material
from spraywindow.spray.slots import stretches
from spraywindow.weather import check_hourly, side_by_side
from tests.command import Said, command
from tests.conftest import ROOT, SHARED, needs_records

SAMPLES = ROOT / "data" / "samples"
ISSUED = pd.Timestamp("2026-01-12 15:00", tz="UTC")
NAMES = {"nws": "US National Weather Service", "metnorway": "MET Norway"}
WEDNESDAY = slice("2026-01-14 09:00", "2026-01-14 12:00")


def told(name: str) -> pd.DataFrame:
    """The demo's forecast as a service would tell it."""
    table = read_weather(SAMPLES / "forecast.csv")
    source = {"name": name, "issued": ISSUED, "fetched": ISSUED, "credit": name, "stale": False}
    table.attrs = {"source": source, "forecast_from": ISSUED, "notes": []}
    return table


def both() -> dict[str, pd.DataFrame]:
    """By service: the second sees rain on Wednesday and ends two and a half days earlier."""
    first, second = (told(name) for name in NAMES.values())
    second.loc[WEDNESDAY, "rain_mm"] = 1.2
    return dict(zip(NAMES, (first, second.iloc[:-60]), strict=True))


@pytest.fixture
def site(tmp_path: Path) -> Path:
    path = tmp_path / "site.toml"
    path.write_bytes((SAMPLES / "orchard.toml").read_bytes())
    return path


@pytest.fixture
def ask(monkeypatch: pytest.MonkeyPatch, site: Path) -> Any:
    """Asks ``slots`` of services that tell these tables; None is one that does not answer."""

    def asked(tables: dict[str, pd.DataFrame | None], *words: object) -> Said:
        def forecast(*_: object, service: str | None, **__: object) -> pd.DataFrame:
            table = tables[service or ""]
            if table is None:
                raise SourceError("no answer", where=service)
            return table

        monkeypatch.setattr("spraywindow.sources.get_forecast", forecast)
        return command("slots", "--site", site, "--now", "2026-01-12 18:00", *words)

    return asked


PAIR = ("--service", "nws,metnorway", "--material", "copper")


def test_where_they_differ_the_stricter_is_followed_and_its_reason_told(ask: Any) -> None:
    said = ask(both(), *PAIR)
    assert "every hour by the worse of the two: US National Weather Service and MET" in said.words
    assert "they differ on Wed 14 Jan; from Mon 19 Jan on US National Weather Service" in said.words
    assert "earned on single forecasts" in said.words
    table = said.text.split("Where the forecasts differ")[1].split("\n\n")[0]
    row = next(line for line in table.splitlines() if line.startswith("Wed 14 Jan"))
    assert "08:00-14:00  0.0 mm  no-go" in row
    assert "4.8 mm" in row
    assert "MET Norway: rain soon after it" in row
    assert "by US National Weather Service alone" not in said.words.split("Letting")[0]


def test_the_json_tells_both_and_the_answer_is_no_better_than_either(ask: Any) -> None:
    pair = ask(both(), *PAIR, "--json").answer
    assert [each["source"]["name"] for each in pair["forecasts"]] == [*NAMES.values()]
    worse = {"go": 0, "unknown": 1, "no-go": 2}
    for name, apart in zip(NAMES, pair["forecasts"], strict=True):
        alone = ask(both(), "--service", name, "--material", "copper", "--json").answer
        assert alone["forecasts"] == []
        days = {day["date"]: day for day in alone["days"]}
        chances = {day["date"]: day["chance"] for day in pair["days"]}
        for day in apart["days"]:
            if day["date"] > apart["known_until"][:10]:
                continue
            assert day["verdict"] == days[day["date"]]["verdict"]
            joint = next(each for each in pair["days"] if each["date"] == day["date"])
            assert worse[joint["verdict"]] >= worse[day["verdict"]]
            if chances[day["date"]] is not None and days[day["date"]]["chance"] is not None:
                assert chances[day["date"]] <= days[day["date"]]["chance"] + 1e-9
    wednesday = [each["days"][1]["rain_high_mm"] for each in pair["forecasts"]]
    assert wednesday == pytest.approx([0.0, 4.8])


def test_every_command_that_asks_a_service_goes_by_the_pair(
    ask: Any, site: Path, tmp_path: Path
) -> None:
    site.write_text('service = ["nws", "metnorway"]\n' + site.read_text("utf-8"), "utf-8")
    lone = both() | {"metnorway": None}
    ask(lone)  # the services stay as they are told
    when = ("--now", "2026-01-12 18:00")
    visits = command("visits", site, *when).words
    assert "likely to hold; by US National Weather Service alone, not by two" in visits
    assert "it stands on US National Weather Service alone" in visits
    ask(both())
    assert "they differ on Wed 14 Jan" in command("visits", site, *when).words
    page = tmp_path / "page.html"
    assert command("report", "--site", site, "--out", page, *when).code == 0
    assert "every hour by the worse of the two" in page.read_text("utf-8")
    # what scores no hours goes by the first, and names no other
    assert "Weather: US National Weather Service;" in command("hose", "--site", site, *when).words


def test_forecasts_that_agree_say_so_without_a_table(ask: Any) -> None:
    said = ask({name: told(full) for name, full in NAMES.items()}, *PAIR)
    assert "they agree on every day. A chance" in said.words
    assert "Where the forecasts differ" not in said.text


def test_a_service_that_fails_makes_a_weaker_go_and_two_an_error(ask: Any) -> None:
    said = ask(both() | {"metnorway": None}, *PAIR)
    assert "by US National Weather Service alone, not by two" in said.words.split("Letting")[0]
    assert "one came: it stands on US National Weather Service alone" in said.words
    assert "Note: metnorway: no answer" in said.words
    refused = ask(dict.fromkeys(NAMES), *PAIR).refusal
    assert "nws: no answer" in refused
    assert "metnorway: no answer" in refused


@pytest.mark.parametrize(
    ("service", "words"),
    [
        ("nws,nws", "nor two side by side"),
        ("nws,metnorway,openmeteo", "nor two side by side"),
        ("nws,other", "unknown service"),
    ],
)
def test_names_that_are_no_pair_are_refused(ask: Any, site: Path, service: str, words: str) -> None:
    assert words in ask(both(), "--service", service).refusal
    named = json.dumps(service.split(","))
    site.write_text(f"service = {named}\n" + site.read_text("utf-8"), "utf-8")
    assert f"service: {words}" in ask(both()).refusal.replace("not one service, ", "")


def test_the_site_file_may_name_the_pair_and_the_receipt_has_both(
    ask: Any, site: Path, tmp_path: Path
) -> None:
    text = site.read_text("utf-8")
    site.write_text('service = ["nws", "metnorway"]\n' + text, "utf-8")
    path = tmp_path / "receipt.json"
    assert "by the worse of the two" in ask(both(), "--receipt", path).words
    receipt = json.loads(path.read_text("utf-8"))
    assert [each["name"] for each in receipt["inputs"]] == [*NAMES.values()]
    hashes = []
    for name, each in zip(NAMES, receipt["inputs"], strict=True):
        ask(both(), "--service", name, "--receipt", path).text  # noqa: B018 (refuses exit 2)
        alone = json.loads(path.read_text("utf-8"))
        assert alone["inputs"] == []
        assert alone["input_sha256"] == each["sha256"]
        hashes.append(each["sha256"])
    assert receipt["input_sha256"] not in hashes


@needs_records
@pytest.mark.parametrize("material", [OIL, COPPER], ids=lambda each: each.name)
def test_recorded_forecasts_give_no_hour_that_one_of_them_does_not(material: Material) -> None:
    """Two recorded replies, the second moved to the first's time: other columns, other horizon."""
    place = Place(30.44, -84.3, 50.0, "America/New_York")
    folder = SHARED / "payloads"
    one = check_hourly(nws.parse(json.loads(
        (folder / "nws" / "pynws_gridpoint_TAE_58_65_2022-02-04.json").read_text("utf-8")
    )))  # fmt: skip
    reply = folder / "met-norway" / "rorysullivan_complete_london_2020-07-20_with_headers.json"
    two = check_hourly(metnorway.parse(json.loads(reply.read_text("utf-8"))["data"]))
    two.index = two.index + (one.index[0] - two.index[0]) + pd.Timedelta(hours=3)
    pair = score_hours(side_by_side([one, two]), place, material)
    apart = [score_hours(each, place, material) for each in (one, two)]
    for alone in apart:
        hours = alone.reindex(pair.index)
        tells = np.asarray(
            (pair.index >= alone.index[0]) & (pair.index <= alone.attrs["known_until"])
        )
        assert not (pair["go"] & ~hours["go"].eq(True))[tells].any()
        forbids = np.asarray(hours["verdict"] == "no-go")
        assert (pair["verdict"][forbids] == "no-go").all()
        both_go = pair["go"].to_numpy() & tells
        assert (pair["margin"][both_go] <= hours["margin"][both_go]).all()
    go = [each["go"].reindex(pair.index, fill_value=False) for each in apart]
    assert pair["go"][go[0] & go[1]].all()
    assert set(apart[0].attrs["not_judged"]) & set(apart[1].attrs["not_judged"]) == set(
        pair.attrs["not_judged"]
    )


def test_a_chance_is_the_smaller_of_the_two() -> None:
    place = Place(37.8, 21.4, 50.0, "Europe/Athens")
    tables = both()
    pair = stretches(score_hours(side_by_side([*tables.values()]), place, COPPER), 3.0)
    whole = score_hours(tables["nws"], place, COPPER).index
    for name in NAMES:
        alone = score_hours(tables[name], place, COPPER)
        found = stretches(alone, 3.0)
        until = alone.attrs["known_until"]
        theirs = dict(zip(alone.index[found.first], found.chance, strict=True))
        for first, chance in zip(whole[pair.first], pair.chance, strict=True):
            if first in theirs and first + pd.Timedelta(hours=2) <= until:
                assert not chance > theirs[first] + 1e-9
    assert np.nanmax(pair.chance) > 0.5

"""The page: self-contained, small, everything escaped, and it says what the answer says."""

from __future__ import annotations

import re
from contextlib import chdir
from dataclasses import dataclass, replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.days import day_words
from spraywindow.jobs.report.command import file_name
from spraywindow.jobs.report.leaf_curl import (
    CopperLeft,
    copper_left,
    copper_words,
    curl_spells,
    curl_words,
)
from spraywindow.jobs.report.page import page_html, verdict
from spraywindow.jobs.season.answer import prospect
from spraywindow.jobs.season.what_if import what_if_words
from spraywindow.jobs.slots.answer import evening
from spraywindow.jobs.slots.first import planned_slots
from spraywindow.jobs.slots.words import cautions, chance_words, decision_line, how_known
from spraywindow.show.notices import LABEL
from spraywindow.show.words import hours_words, source_line
from spraywindow.sources.demo.samples import DEMO_NOW, demo_forecast, demo_winters, sample_path
from spraywindow.weather.table import check_hourly
from tests.command import Said, command
from tests.page_values import (
    BITING,
    biting_tables,
    demo_evenings,
    demo_prospect,
    demo_site,
    evenings_of,
    long_site,
)
from tests.year_site import write

KILOBYTE = 1000


class Reader(HTMLParser):
    """Collects tags with their attributes, and the text outside of style sheets."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words = ""
        self._inside: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._inside.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag in self._inside:
            while self._inside.pop() != tag:
                pass

    def handle_data(self, data: str) -> None:
        if "style" not in self._inside:
            self.words += data


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Said, Path]:
    """What the command says of the demo, and the folder where it was asked."""
    folder = tmp_path_factory.mktemp("demo")
    with chdir(folder):
        return command("report"), folder


@pytest.fixture(scope="module")
def demo(written: tuple[Said, Path]) -> str:
    return (written[1] / "varkessa-bank.html").read_text("utf-8")


@dataclass(frozen=True)
class Own:
    """A page of files of one's own, written over the demo's, and the JSON about it."""

    told: Any
    path: Path
    files: tuple[object, ...]


@pytest.fixture(scope="module")
def own(demo: str, few_winters: Path, tmp_path_factory: pytest.TempPathFactory) -> Own:
    folder = tmp_path_factory.mktemp("own")
    page, site = folder / "page.html", write(folder, biting_tables())
    page.write_text(demo, "utf-8")
    files = ("--site", site, "--weather", sample_path("forecast.csv"), "--now", "2026-01-12 18:00",
             "--winters", few_winters)  # fmt: skip
    said = command("report", *files, "--out", page, "--json")
    return Own(said.answer, page, files)


@pytest.fixture(scope="module")
def bare() -> str:
    """A page in US units, of weather without gusts, without past winters."""
    site, table = demo_site(units="us"), demo_forecast().drop(columns="gust_ms")
    return page_html([evening(site, table, DEMO_NOW, n) for n in site.program.materials], table)


def test_it_is_one_small_file_that_asks_nobody(demo: str) -> None:
    assert len(demo.encode()) < 400 * KILOBYTE
    reader = Reader(demo)
    assert not [tag for tag, _ in reader.tags if tag in ("script", "iframe", "object", "img")]
    named = [v for _, a in reader.tags for k, v in a.items() if k.endswith(("href", "src"))]
    assert all(value and value.startswith(("#", "data:,")) for value in named)
    assert "@import" not in demo
    assert not re.search(r"url\((?!#)", demo)
    assert not [key for _, attrs in reader.tags for key in attrs if key.startswith("on")]


def test_headings_go_down_in_order(demo: str) -> None:
    levels = [int(tag[1]) for tag, _ in Reader(demo).tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert max(np.diff(levels)) <= 1


def test_tables_and_pictures_speak(demo: str) -> None:
    reader = Reader(demo)
    tags = [tag for tag, _ in reader.tags]
    assert tags.count("table") == tags.count("caption") == tags.count("thead") > 2
    assert all(attrs.get("scope") in ("col", "row") for tag, attrs in reader.tags if tag == "th")
    pictures = [attrs for tag, attrs in reader.tags if tag == "svg"]
    assert len(pictures) == 6
    ids = [attrs["id"] for _, attrs in reader.tags if attrs.get("id")]
    assert len(ids) == len(set(ids))
    for attrs in pictures:
        assert attrs["role"] == "img"
        assert all(name in ids for name in (attrs["aria-labelledby"] or "").split())
    assert ("html", {"lang": "en"}) in reader.tags


def test_it_says_the_answer(demo: str) -> None:
    words = " ".join(Reader(demo).words.split())
    for each in demo_evenings():
        slot = each.first.slot
        assert slot is not None
        assert each.first.decision is not None
        assert f"{each.first.decision.word} {slot.start:%H:%M}-{slot.end:%H:%M}" in words
        assert f"{100 * slot.chance:.0f} % likely to hold" in words
        for line in cautions(each):  # on the sheet
            assert line[1:] in words
    behind = words[words.index("The full report") :]
    assert behind.count("planned round") == len(planned_slots(demo_evenings())) + 1  # at the top
    assert "invented demo weather" in words
    assert "just issued" in words
    assert all(label in words for label in demo_prospect().outlook.season.labels)


def test_what_the_sheet_cuts_is_said() -> None:
    evenings = evenings_of(long_site())
    words = " ".join(Reader(page_html(evenings, demo_forecast(), sheet_alone=True)).words.split())
    assert "And 4 more blocks in the full report" in words  # nine, of which five stand there
    assert "1 earlier, Thu 11 Dec" in words
    assert re.search(r"And \d+ more cautions in the full report", words)
    assert LABEL in words


def test_the_sheet_says_next_visit_chances_and_credit(demo: str) -> None:
    lead = demo_evenings()[0]
    sheet = demo[: demo.index('id="tomorrow"')]
    words = " ".join(Reader(sheet).words.split())
    slot = planned_slots(demo_evenings())[0]
    assert (
        f"Next visit: {day_words(slot.start.date())} {hours_words(slot.start, slot.end)}" in words
    )
    assert how_known(lead) in words
    assert source_line(lead.source) in words
    assert decision_line(lead) in words


def test_the_page_tells_what_would_help(demo: str) -> None:
    outlook = prospect(demo_site(), demo_winters(), DEMO_NOW, forecast=demo_forecast(), what_if=())
    (said,) = what_if_words(outlook.outlook)[:1]
    assert said in " ".join(Reader(demo).words.split())


def test_names_from_the_site_file_are_text(own: Own) -> None:
    reader = Reader(own.path.read_text("utf-8"))
    assert not [tag for tag, _ in reader.tags if tag == "script"]
    assert f"{BITING} 0" in reader.words
    assert reader.words.count(BITING) > 5


def test_no_winters_no_season(demo: str, bare: str) -> None:
    assert 'id="season"' in demo
    assert 'id="season"' not in bare


def test_planned_rounds_keep_the_program_s_gaps() -> None:
    planned = planned_slots(demo_evenings())
    program = demo_site().program
    days = [(slot.material, slot.start.date()) for slot in planned]
    days += [(entry.material, day) for entry in program.entries for day in entry.days_done]
    for number, (one, first) in enumerate(days):
        for other, second in days[number + 1 :]:
            assert abs((second - first).days) >= program.days_between(one, other)
    assert planned


def test_of_two_slots_a_day_the_likelier_is_planned() -> None:
    oil = demo_evenings()[0]
    likely, other = oil.slots[0], replace(oil.slots[0], chance=0.01)
    assert planned_slots([replace(oil, slots=[likely, other])])[0] == likely


def test_no_plan_without_a_slot() -> None:
    wet = demo_forecast()
    wet["rain_mm"] = 5.0
    assert planned_slots([evening(demo_site(), wet, DEMO_NOW, "oil")]) == []


def _weather(rain_mm: float, temp_c: float) -> pd.DataFrame:
    """Steady weather, saturated and dull, from before the last copper on."""
    index = pd.date_range("2025-12-10", "2026-02-10", freq="h", tz="UTC")
    table = pd.DataFrame(
        {"temp_c": temp_c, "dew_point_c": temp_c, "wind_ms": 2.0, "rain_mm": 0.0, "cloud": 1.0},
        index=index,
    )
    table.loc["2026-01-14 06:00":"2026-01-16 05:00", "rain_mm"] = rain_mm / 48
    return check_hourly(table)


@pytest.mark.parametrize(
    ("rain_mm", "temp_c", "curl"),
    # Rossi et al. 2006: rain of 3 mm, below 16 °C while wet
    [(20.0, 8.0, True), (2.0, 8.0, False), (20.0, 17.0, False)],
)
def test_leaf_curl_weather_by_the_published_gates(
    rain_mm: float, temp_c: float, curl: bool
) -> None:
    spells = curl_spells(_weather(rain_mm, temp_c), demo_site(), DEMO_NOW)
    assert bool(spells) == curl
    assert ("No leaf-curl weather" in curl_words(spells, "metric")[0]) != curl


def test_copper_left_is_halved_by_25_mm() -> None:
    """Ontario 2020: about half lost per 25 mm."""
    site = demo_site()
    table = _weather(0.0, 8.0)
    done = pd.Timestamp("2025-12-16 12:00", tz=site.place.timezone)
    table.loc[done + pd.Timedelta(days=3), "rain_mm"] = 25.0
    left = copper_left(table, site, DEMO_NOW)
    assert left is not None
    assert left.share == (0.5, 0.5)
    assert "about 50 %" in copper_words(left, site)[0]


def test_copper_left_is_bounded_where_the_rain_is_not_known() -> None:
    site = demo_site()
    left = copper_left(demo_forecast(), site, DEMO_NOW)
    assert left is not None
    assert left.share[0] == 0.0
    assert "at most about 75 % of it is left" in copper_words(left, site)[0]  # of 10.5 mm
    assert "every 25 mm takes half" in copper_words(left, site)[0]
    assert "No copper" in copper_words(None, site)[0]


def test_totals_of_twelve_hours_wash_copper_off_too() -> None:
    """As the rain of `log advice` does: a total inside counts whole, one that overlaps may not."""
    site, table = demo_site(), _weather(0.0, 8.0)
    noon = pd.Timestamp("2025-12-16 12:00", tz=site.place.timezone)

    def left_with(*begins: int) -> CopperLeft | None:
        weather = table.assign(rain_total_mm=np.nan, rain_total_h=np.nan, rain_total_hour=np.nan)
        for begin in begins:
            hours = pd.date_range(noon + pd.Timedelta(hours=begin), periods=12, freq="h")
            weather.loc[hours, "rain_mm"] = np.nan
            weather.loc[hours, ["rain_total_mm", "rain_total_h"]] = 25.0, 12.0
            weather.loc[hours, "rain_total_hour"] = np.arange(12.0)
        return copper_left(weather, site, DEMO_NOW)

    whole, partly = left_with(24, 48), left_with(-6, 24)
    assert whole is not None
    assert (whole.rain_mm, whole.share) == ((50.0, 50.0), (0.25, 0.25))
    assert copper_words(whole, site)[0].endswith("50.0 mm of rain. Most of it is gone.")
    assert partly is not None
    assert (partly.rain_mm, partly.share) == ((25.0, 50.0), (0.25, 0.5))
    assert "about 25 to 50 % of it is left" in copper_words(partly, site)[0]


def test_the_page_and_log_advice_tell_of_the_same_copper(tmp_path: Path) -> None:
    """The record knows the hour of a round: rain before it on its day washes nothing off."""
    path, now = write(tmp_path, biting_tables()), "2026-01-12 18:00"
    weather = tmp_path / "weather.csv"
    table = _weather(0.0, 8.0).loc[:"2026-01-14 23:00"]
    for day, mm in (("2026-01-05 13:00", 30.0), ("2026-01-07 13:00", 25.0)):
        table.loc[day, "rain_mm"] = mm
    table.to_csv(weather)
    files = ("--site", path, "--now", now)
    entry = ("--material", "copper", "--product", "Copper A", "--no-fetch")
    command("log", "add", *files, *entry, "--start", "2026-01-05 16:00", "--end", "17:00")
    advice = command("log", "advice", *files, "--weather", weather, "--json").answer
    copper = next(each for each in advice["rounds"] if each["material"] == "copper")
    assert copper["residue_share"] == [0.5, 0.5]
    page = tmp_path / "page.html"
    command("report", *files, "--weather", weather, "--out", page)
    words = " ".join(Reader(page.read_text("utf-8")).words.split())
    assert "Mon 5 Jan: about 50 % of it is left after 25.0 mm of rain" in words


def test_copper_outside_the_program_is_on_the_wood_for_its_season() -> None:
    based = {"materials": {"bordeaux": {"based_on": "copper"}}}
    program = {"rounds": [{"material": "oil", "rounds": 3}]}
    for day, counts in (("2025-12-20", True), ("2024-12-20", False)):
        sprays = {"bordeaux": [day], "captan": ["2026-01-02"]}
        site = demo_site(program=program, other_sprays=sprays, **based)
        left = copper_left(_weather(0.0, 8.0), site, DEMO_NOW)
        assert (left is not None and str(left.done) == day) == counts


def test_us_sites_read_us_units_throughout(bare: str) -> None:
    words = Reader(bare).words
    assert "66 °F" in words
    assert "every inch takes half" in words
    assert not re.search(r"\d\s(°C|mm|m/s)\b", words)
    assert "61 °F" in curl_words([], "us")[0]


def test_of_two_that_say_go_one_is_planned_and_the_other_is_instead() -> None:
    """The demo's program keeps two days between oil and copper."""
    evenings = demo_evenings()
    planned = planned_slots(evenings)
    oil, copper = (verdict(each, evenings, planned) for each in evenings)
    assert oil["answers"][-1]["planned"]
    assert not [line for line in oil["lines"] if "nstead" in line]
    assert not copper["answers"][-1]["planned"]
    assert copper["lines"][0].startswith("Instead of oil, not as well: keep 2 days between them")


def test_a_slot_that_hardly_holds_is_risky() -> None:
    slot = demo_evenings()[0].slots[0]
    assert chance_words(replace(slot, chance=0.33)) == "risky, 33\u00a0% likely to hold"
    assert chance_words(replace(slot, chance=0.34)) == "34\u00a0% likely to hold"


def test_what_the_weather_does_not_tell_stands_near_the_top(bare: str) -> None:
    told, gusty = bare.index("this weather does not tell whether"), bare.index("too gusty")
    assert 0 < told < gusty < bare.index('id="week"')


def test_the_command_writes_the_page_and_says_its_name(written: tuple[Said, Path]) -> None:
    said, folder = written
    assert said.text == "varkessa-bank.html\n"
    assert [path.name for path in folder.iterdir()] == ["varkessa-bank.html"]


def test_the_demo_is_called_one(demo: str) -> None:
    assert "<title>Varkessa Bank" in demo
    assert "Invented demo orchard" in demo
    assert "--site" not in Reader(demo).words


def test_json_holds_the_page_s_name_and_the_answers(own: Own) -> None:
    assert own.told["page"] == str(own.path)
    assert [each["material"] for each in own.told["answers"]] == ["oil", "copper", BITING]
    assert own.told["answers"][0] == command("slots", *own.files, "--json").answer


def test_the_command_takes_files_of_one_s_own(own: Own) -> None:
    text = own.path.read_text("utf-8")
    assert '<h1 id="site">Böse &lt;script&gt;' in text
    assert 'id="season"' in text
    assert "invented" not in Reader(text).words


@pytest.mark.parametrize(
    ("name", "file"),
    [("Varkessa Bank", "varkessa-bank"), ("../etc/x", "etc-x"), ("Öl & Co.", "öl-co"),
     ("<>", "site"), ("x" * 300, "x" * 80)],
)  # fmt: skip
def test_file_names_stay_in_the_folder(name: str, file: str) -> None:
    assert file_name(name) == file

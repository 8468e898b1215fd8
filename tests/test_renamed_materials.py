"""Materials under the products' own names, based on oil and copper: the same answers by them."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from spraywindow.sources.demo.samples import sample_path
from spraywindow.spray.catalogue import CATALOGUE
from tests.command import command
from tests.site_files import write_weather

PLAIN = {"oil": "oil", "copper": "copper"}
OWN = {"oil": "wax", "copper": "cupric"}
"""As long as the plain ones and in the same order, so that every line breaks where it did."""
EXTRA = """
[[blocks]]
name = "the late apricots"
crop = "apricot"
trees = 5
height = "4 m"
spread = "4 m"
stage = "pink"
observed = 2026-01-11
[materials.{oil}]
last_stage = "petal tips"
[materials.{copper}]
[materials.captan]
days_apart = {{ oil = "25 days", copper = "25 days" }}
[other_sprays]
captan = [2025-12-20]
"""
WEATHER = ("--weather", sample_path("forecast.csv"), "--now", "2026-01-12 18:00")
SEASON = ("--weather", sample_path("winters.csv.gz"), *WEATHER[2:], "--no-forecast")


def own_site(folder: Path, names: dict[str, str]) -> Path:
    """The demo's site file with its materials by these names, and labels that bear on them."""
    text = sample_path("orchard.toml").read_text("utf-8") + EXTRA.format(**names)
    used = 'copper = "1 kg/ha" }'
    text = text.replace("used = [", f"used = [{{ day = 2025-12-16, {used}, ")
    for name, own in names.items():
        text = text.replace(f'material = "{name}"', f'material = "{own}"')
        text = text.replace(f"[mix.{name}]", f"[mix.{own}]")
        if own != name:
            facts = f'based_on = "{name}"\ntitle = "{CATALOGUE[name].title}"\n'
            text = text.replace(f"[materials.{own}]\n", f"[materials.{own}]\n{facts}")
    folder.mkdir()
    (folder / "site.toml").write_text(text, "utf-8")
    return folder / "site.toml"


def told(folder: Path, names: dict[str, str], words: tuple[object, ...]) -> str:
    """What a command prints of the site by these names, the names taken back."""
    site = own_site(folder, names)
    said = command(*(names.get(str(word), word) for word in words), "--site", site)
    assert said.code == 0, said.err
    return plain(said.out + said.err, names).replace(str(folder), "")


def plain(text: str, names: dict[str, str]) -> str:
    for name, own in names.items():
        text = re.sub(rf"\b{own}\b", name, text)
    return text


@pytest.mark.parametrize(
    ("words", "holds"),
    [
        (("slots", "--material", "oil", *WEATHER), "only this label allows it"),
        (("slots", "--material", "copper", *WEATHER), "captan went on Sat 20 Dec: 25 days apart"),
        (("slots", "--json", "--hours", *WEATHER), '"green and frost"'),
        (("mix", "--material", "oil", *WEATHER), "dormant oil"),
        (("mix", "--material", "copper", *WEATHER), "of copper metal"),
        (("season", "--full", *SEASON), "share of the infection risk"),
    ],
    ids=["slots oil", "slots copper", "slots json", "mix oil", "mix copper", "season"],
)
def test_a_command_answers_alike(tmp_path: Path, words: tuple[object, ...], holds: str) -> None:
    own, usual = (told(tmp_path / f"{n}", names, words) for n, names in enumerate((OWN, PLAIN)))
    assert own == usual
    assert holds in " ".join(own.split())


def test_the_page_says_the_same(tmp_path: Path) -> None:
    pages = []
    for number, names in enumerate((OWN, PLAIN)):
        page = tmp_path / f"{number}.html"
        words = ("report", "--out", page, *WEATHER)
        told(tmp_path / f"{number}", names, words)
        pages.append(re.findall(r">\s*([^<>]*?)\s*<", plain(page.read_text("utf-8"), names)))
    assert pages[0] == pages[1]
    assert any("Last copper on Tue 16 Dec" in line for line in pages[0])


def test_a_round_is_judged_alike_by_the_rain_after_it(tmp_path: Path) -> None:
    # 1 mm eight hours after the end: within oil's 24 h, not within copper's 2 h
    rain = {"2026-01-10T18:00": 1.0}
    weather = write_weather(tmp_path / "w.csv", "2026-01-01", 31, rain=rain)
    answers = []
    for number, names in enumerate((OWN, PLAIN)):
        site = own_site(tmp_path / f"{number}", names)
        for own in names.values():
            said = command("log", "add", "--site", site, "--material", own, "--product", "P",
                       "--start", "2026-01-10 10:00", "--end", "12:00",
                       "--now", "2026-01-10 14:00", "--no-fetch")  # fmt: skip
            assert said.code == 0, said.err
        ask = ("log", "advice", "--site", site, "--weather", weather, "--now", "2026-01-20 12:00")
        answers.append(json.loads(plain(command(*ask, "--json").out, names))["rounds"])
    assert answers[0] == answers[1]
    verdicts = {each["material"]: each["verdict"] for each in answers[0]}
    assert verdicts == {"oil": "redo", "copper": "keep"}
    assert [each["residue_share"] is None for each in answers[0]] == [True, False]

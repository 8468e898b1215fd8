"""The page in a real browser: nothing leaves it, it fits a phone, its text can be read."""

from __future__ import annotations

import base64
import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from spraywindow.jobs.report.page import page_html
from spraywindow.jobs.season.answer import prospect
from spraywindow.jobs.slots.first import tonight
from spraywindow.sources.demo.samples import DEMO_NOW, demo_forecast, demo_winters
from tests.page_values import (
    BITING,
    biting_site,
    demo_evenings,
    demo_prospect,
    demo_site,
    evenings_of,
    long_site,
    three_site,
)

webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
DRIVER = shutil.which("chromedriver")
pytestmark = pytest.mark.skipif(
    not (BROWSER and DRIVER), reason="no Chromium with its driver on this machine"
)
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
LEAST_CONTRAST = 4.5
"""WCAG 2.2, success criterion 1.4.3."""
CONTRASTS = """
const number = (text) => text.match(/[\\d.]+/g).map(Number);
const light = (rgb) => rgb.slice(0, 3).map((part) => part / 255)
  .map((part) => part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4)
  .reduce((sum, part, index) => sum + part * [0.2126, 0.7152, 0.0722][index], 0);
const paper = light(number(getComputedStyle(document.body).backgroundColor));
const out = [];
for (const element of document.querySelectorAll("body *")) {
  const own = [...element.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
  if (!own || !element.getClientRects().length || ["title", "desc", "style"].includes(element.tagName)) continue;
  const style = getComputedStyle(element);
  const ink = light(number(element.tagName === "text" || element.tagName === "tspan" ? style.fill : style.color));
  out.push([(Math.max(ink, paper) + 0.05) / (Math.min(ink, paper) + 0.05), element.textContent]);
}
return out;
"""  # noqa: E501
OVERHANG = """
const edge = document.documentElement.clientWidth;
return [...document.querySelectorAll(".table, svg, p, h1, h2, h3, li, dd")]
  .filter((e) => e.getClientRects().length && (e.getBoundingClientRect().right > edge + 1
    || e.scrollWidth > e.clientWidth + 1 && !(e instanceof SVGElement)))
  .map((e) => e.textContent.slice(0, 60));
"""
OUTSIDE = """
const box = (e) => e.getBoundingClientRect();
return [...document.querySelectorAll("svg")].filter((s) => s.getClientRects().length)
  .flatMap((s) => [...s.querySelectorAll("text")]
    .filter((t) => box(t).left < box(s).left - 1 || box(t).right > box(s).right + 1)
    .map((t) => t.textContent));
"""
SIZES = """
return [...document.querySelectorAll("svg")].filter((s) => s.getClientRects().length)
  .flatMap((s) => [...s.querySelectorAll("text")]
    .map((t) => parseFloat(getComputedStyle(t).fontSize)
      * s.getBoundingClientRect().width / s.viewBox.baseVal.width));
"""


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    folder = tmp_path_factory.mktemp("pages")
    site = biting_site()
    three = three_site()
    long = long_site()
    blind = demo_forecast()
    blind.loc[blind.index >= DEMO_NOW, ["rain_mm", "wind_ms"]] = float("nan")
    morning = DEMO_NOW + pd.Timedelta(hours=13)
    texts = {
        "long": page_html(evenings_of(long, morning), demo_forecast()),
        "unknown": page_html(tonight(demo_site(), blind, DEMO_NOW), blind),
        "demo": page_html(demo_evenings(), demo_forecast(), demo_prospect(), note="A demo."),
        "three": page_html(
            evenings_of(three), demo_forecast(), prospect(three, demo_winters(), DEMO_NOW)
        ),
        "biting": page_html(
            evenings_of(site), demo_forecast(), prospect(site, demo_winters(), DEMO_NOW)
        ),
    }
    for name, text in texts.items():
        (folder / f"{name}.html").write_text(text, "utf-8")
    return {name: (folder / f"{name}.html").as_uri() for name in texts}


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    options = webdriver.ChromeOptions()
    options.binary_location = BROWSER
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    yield driver
    driver.quit()


PAPERS = {"A4": (8.27, 11.69), "Letter": (8.5, 11.0)}
"""Width and height [in], ISO 216 and ANSI/ASME Y14.1."""


def printed(browser: Any, url: str, paper: str) -> tuple[int, dict[str, int]]:
    """How many pages a print has, and the page of every heading, by the outline in the file."""
    show(browser, url, 1280, media="print")
    width, height = PAPERS[paper]
    asked = {"paperWidth": width, "paperHeight": height, "generateTaggedPDF": True,
             "generateDocumentOutline": True}  # fmt: skip
    data = base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", asked)["data"])
    (kids,) = re.findall(rb"/Type /Pages\n/Count \d+\n/Kids \[([^]]*)\]", data)
    pages = [int(number) for number in re.findall(rb"(\d+) 0 R", kids)]
    ends = re.findall(rb"/Title \(([^)]*)\)\s*/Dest \[(\d+) 0 R", data)
    return len(pages), {name.decode("latin-1"): pages.index(int(page)) for name, page in ends}


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", ["demo", "three", "biting", "long", "unknown"])
def test_the_sheet_is_one_page_and_the_report_begins_behind_it(
    browser: Any, pages: dict[str, str], name: str, paper: str
) -> None:
    count, headings = printed(browser, pages[name], paper)
    sheet = ["The coming week", "Done and owed", "Before you spray"]
    assert [headings.pop(each) for each in sheet] == [0, 0, 0]
    assert headings["The full report: each material"] == 1
    assert count > 1


@pytest.mark.parametrize("paper", PAPERS)
def test_a_sheet_alone_is_one_page(browser: Any, tmp_path: Path, paper: str) -> None:
    page = tmp_path / "sheet.html"
    page.write_text(page_html(demo_evenings(), demo_forecast(), sheet_alone=True), "utf-8")
    count, headings = printed(browser, page.as_uri(), paper)
    assert count == 1
    assert "The full report: each material" not in headings


def show(browser: Any, url: str, width: int, *, dark: bool = False, media: str = "screen") -> None:
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": width < 500},
    )
    scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": media, "features": [scheme]})
    browser.get(url)


def test_no_error_and_no_request_leaves_the_page(browser: Any, pages: dict[str, str]) -> None:
    for url in pages.values():
        browser.get_log("performance")
        browser.get_log("browser")
        show(browser, url, 390)
        asked = [
            message["params"]["request"]["url"]
            for entry in browser.get_log("performance")
            if (message := json.loads(entry["message"])["message"])["method"]
            == "Network.requestWillBeSent"
        ]
        assert [each for each in asked if not each.startswith("data:")] == [url]
        assert browser.get_log("browser") == []


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("name", ["demo", "three", "biting"])
def test_nothing_hangs_over_the_edge(
    browser: Any, pages: dict[str, str], name: str, width: int
) -> None:
    show(browser, pages[name], width)
    assert browser.execute_script("return document.documentElement.scrollWidth") <= width
    if name != "biting":
        assert browser.execute_script(OVERHANG) == []
        assert browser.execute_script(OUTSIDE) == []


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("width", [390, 1280])
def test_text_stands_out(browser: Any, pages: dict[str, str], width: int, dark: bool) -> None:
    show(browser, pages["demo"], width, dark=dark)
    contrasts = browser.execute_script(CONTRASTS)
    assert len(contrasts) > 100
    assert [text for contrast, text in contrasts if contrast < LEAST_CONTRAST] == []


def test_paper_is_light_even_in_the_dark(browser: Any, pages: dict[str, str]) -> None:
    show(browser, pages["demo"], 800, dark=True, media="print")
    ink = "return getComputedStyle(document.body).color"
    assert browser.execute_script(ink) == "rgb(32, 38, 46)"


def test_a_phone_gets_the_narrow_pictures(browser: Any, pages: dict[str, str]) -> None:
    shown = "return [...document.querySelectorAll('svg')].filter(s => s.getClientRects().length)"
    show(browser, pages["demo"], 390)
    assert len(browser.execute_script(shown)) == 4
    show(browser, pages["demo"], 1280)
    assert len(browser.execute_script(shown)) == 2


def test_letters_of_a_phone_s_pictures_are_12_px(browser: Any, pages: dict[str, str]) -> None:
    show(browser, pages["demo"], 390)
    sizes = browser.execute_script(SIZES)
    assert min(sizes) >= 11.9


def test_names_from_the_site_file_are_shown_as_text(browser: Any, pages: dict[str, str]) -> None:
    show(browser, pages["biting"], 1280)
    assert browser.execute_script("return document.scripts.length") == 0
    assert browser.find_element("tag name", "h1").text == BITING
    assert BITING in browser.title


def test_a_screen_reader_finds_pictures_tables_and_headings(
    browser: Any, pages: dict[str, str]
) -> None:
    show(browser, pages["demo"], 390)
    nodes = browser.execute_cdp_cmd("Accessibility.getFullAXTree", {})["nodes"]
    seen = [
        (node["role"]["value"], node.get("name", {}).get("value", ""))
        for node in nodes
        if not node["ignored"]
    ]
    pictures = [name for role, name in seen if role in ("image", "img")]
    assert len(pictures) == 4
    assert all("Slots: oil" in name or "past winters" in name for name in pictures)
    roles = [role for role, _ in seen]
    assert roles.count("table") == 6
    assert "columnheader" in roles
    assert "rowheader" in roles
    assert roles.count("heading") > 7

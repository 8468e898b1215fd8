"""``spraywindow hose``: rainless months, mornings that dry, never in flower."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.command import demo
from tests.year_site import FEEDING, answer, ask, tables

JUNE = "2025-06-10 20:00"


def test_a_dry_june_gives_mornings_with_a_hard_jet(tmp_path: Path) -> None:
    found = answer(tmp_path, "hose", JUNE, tables(feeding=FEEDING))
    good = [day for day in found["blocks"][0]["days"] if day["verdict"] == "go"]
    assert found["verdict"] == "go"
    assert {day["jet"] for day in good} == {"hard"}
    # what the jet leaves must be able to dry on every day that is go
    assert all(day["drying_low_mm"] >= found["film_mm"] for day in good)


def test_small_fruit_takes_a_gentle_jet(tmp_path: Path) -> None:
    site = tables(feeding=FEEDING, hosing={"small_fruit_until": "20 Jun"})
    assert answer(tmp_path, "hose", JUNE, site)["blocks"][0]["days"][0]["jet"] == "gentle"


@pytest.mark.parametrize(
    ("now", "site", "reason"),
    [
        ("2025-01-10", tables(), "not a rainless month"),
        ("2025-05-20", tables(feeding=FEEDING | {"flowering": "2025-05-05"}), "in flower"),
        (JUNE, tables(feeding=FEEDING, hosing={"last_wash": "2025-06-09"}), "9 Jun 2025"),
    ],
)
def test_refusals_say_why(tmp_path: Path, now: str, site: dict[str, object], reason: str) -> None:
    found = answer(tmp_path, "hose", now, site)
    assert found["verdict"] == "no-go"
    assert reason in found["blocks"][0]["reason"]


def test_an_unknown_stage_is_never_a_go_and_the_key_is_named(tmp_path: Path) -> None:
    found = answer(tmp_path, "hose", JUNE, tables())
    assert found["verdict"] == "unknown"
    assert "usual_flowering in [feeding]" in found["blocks"][0]["reason"]


def test_a_washing_dated_in_the_future_is_refused(tmp_path: Path) -> None:
    site = tables(hosing={"last_wash": "2025-07-01"})
    assert "a date in the future" in ask(tmp_path, "hose", JUNE, site).refusal


def test_washing_waits_as_long_as_the_user_wants(tmp_path: Path) -> None:
    def first(every: str) -> str:
        hosing = {"last_wash": "2025-06-08", "last_rain": "2025-05-20", "every": every}
        found = answer(tmp_path, "hose", JUNE, tables(feeding=FEEDING, hosing=hosing))
        return str(found["blocks"][0]["first"])

    assert first("3 days") < first("6 days")


def test_the_demo_fits_the_screen() -> None:
    result = demo("hose", "--now", "2024-06-20 20:00")
    assert "go, washing Fri 21 Jun" in result.text
    assert max(map(len, result.text.splitlines())) <= 80

"""Maxima are of a season: what earlier winters had does not count, what is over is told."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from spraywindow.errors import InputError
from spraywindow.program.entry import MaterialRounds
from spraywindow.program.planner import plan_many
from spraywindow.program.program import Program
from spraywindow.record.record import Round
from spraywindow.record.season_done import with_rounds
from spraywindow.site.done import in_season
from spraywindow.site.site import Site, read_site
from tests.site_files import write_site

TODAY = dt.date(2026, 1, 12)
DAYS = [dt.date(2025, 12, day) for day in (1, 6, 11, 16)]


def site_with(path: Path, done: str, *, south: bool = False, copper: str = "") -> Site:
    """Three rounds of oil a season at the most, with days of it done."""
    write_site(path, latitude=-37.8 if south else 37.8)
    text = path.read_text().replace("season_maximum = 3", f"season_maximum = 3\ndone = [{done}]")
    text = text.replace('between = "2 days"', f'between = "2 days"\n{copper}')
    text = text.replace('material = "oil"', 'material = "oil"\ncopper_per_round_kg_ha = 1.0')
    path.write_text(text)
    return read_site(path)


def owed(site: Site, day: dt.date = TODAY) -> dict[str, int]:
    entries = in_season(site, day).program.entries
    return {entry.material: entry.visits_owed for entry in entries}


LAST = "2025-01-03, 2025-01-13, 2025-01-23"


def test_last_winter_does_not_count_this_winter(tmp_path: Path) -> None:
    site = site_with(
        tmp_path / "s.toml", f"{LAST}, 2025-12-10", copper="copper_maximum_kg_ha = 3.0"
    )
    assert owed(site)["oil"] == 2
    assert owed(site, dt.date(2025, 9, 1))["oil"] == 2
    assert in_season(site, TODAY).program.metallic_copper_kg_ha() == 1.0


def test_the_growing_year_of_the_south_is_the_calendar_year(tmp_path: Path) -> None:
    """July to June in the north, January to December in the south."""
    days = "2025-06-03, 2025-06-13, 2025-07-02, 2025-07-12"
    assert owed(site_with(tmp_path / "north.toml", days))["oil"] == 1
    with pytest.raises(InputError, match=r"season from 2025-01-01.*4 rounds.*maximum of 3"):
        site_with(tmp_path / "south.toml", days, south=True)


@pytest.mark.parametrize(
    ("days", "copper", "told"),
    [
        (f"{LAST}, 2025-02-03, 2025-12-10", "", r"season from 2024-07-01.*oil: 4 rounds.*of 3"),
        (
            LAST,
            "copper_maximum_kg_ha = 2.5",
            r"season from 2024-07-01.*copper: 3 kg/ha is recorded.*of 2.5",
        ),
    ],
)
def test_a_site_file_beyond_a_maximum_in_one_season_is_refused(
    tmp_path: Path, days: str, copper: str, told: str
) -> None:
    with pytest.raises(InputError, match=told):
        site_with(tmp_path / "s.toml", days, copper=copper)


def test_a_record_beyond_a_maximum_is_told_and_nothing_more_is_owed(tmp_path: Path) -> None:
    site = site_with(tmp_path / "s.toml", LAST, copper="copper_maximum_kg_ha = 3.5")
    some, lines = with_rounds(site, [Round(DAYS[0], "oil", 1.0)])
    assert (owed(some)["oil"], lines) == (2, [])
    over, lines = with_rounds(site, [Round(day, "oil", 1.0) for day in DAYS])
    assert owed(over) == {"oil": 0, "copper": 2}
    assert lines == [
        "oil: 4 rounds are recorded, over the season maximum of 3",
        "metallic copper: 4 kg/ha is recorded, over the season maximum of 3.5 kg/ha",
    ]


def test_what_is_beyond_a_maximum_is_noted_and_bars_no_other_material() -> None:
    copper = MaterialRounds(
        "copper", 9, 5, metallic_copper_per_round_kg_ha=2.0, done=tuple(DAYS[:2])
    )
    oil = MaterialRounds("oil", 2, 5)
    program = Program((oil, copper), metallic_copper_maximum_kg_ha=3.0)
    assert program.visits_allowed == (2, 0)
    assert program.beyond_maxima == (
        "metallic copper: 4 kg/ha is recorded, over the season maximum of 3 kg/ha",
    )
    plans = plan_many(np.ones((30, 2, 1)), program)
    assert plans.rounds[:, 0].tolist() == [2, 0]
    product = MaterialRounds(
        "oil", 3, 5, product_per_round=2, product_maximum=3, done=tuple(DAYS[:2])
    )
    assert product.visits_owed == 0
    assert Program((product,)).beyond_maxima == (
        "oil: 4 of product is recorded, over the season maximum of 3",
    )
    passed = MaterialRounds("oil", 3, 5, season_maximum=1, done=tuple(DAYS[:2]))
    assert passed.visits_owed == 0
    assert Program((passed,)).notes() == ("oil: the label's maxima leave 0 of 1 owed",)

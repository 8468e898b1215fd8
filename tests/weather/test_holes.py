"""Hours that the weather does not tell are named, and unknown is said to come of them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from spraywindow.jobs.slots.words import reason, untold_lines
from spraywindow.weather.unknown_hours import Hole, holes
from tests.jobs.slots.test_evening import answer, site
from tests.site_files import NOW, steady

ZONE = "America/Los_Angeles"


def at(text: str) -> pd.Timestamp:
    return pd.Timestamp(text, tz=ZONE)


def without(column: str, first: str, after: str) -> pd.DataFrame:
    table = steady()
    table.loc[(table.index >= at(first)) & (table.index < at(after)), column] = np.nan
    return table


def test_a_hole_is_what_is_missing_before_the_last_value() -> None:
    table = without("rain_mm", "2026-01-14 03:00", "2026-01-14 15:00")
    found = holes(table, at(NOW))
    assert found == [Hole("rain_mm", at("2026-01-14 03:00"), at("2026-01-14 15:00"))]
    assert holes(without("wind_ms", "2026-01-18 00:00", "2026-02-01"), at(NOW)) == []  # the end
    table.loc[table["rain_mm"].isna(), "rain_total_mm"] = 0.4  # told by a longer total
    assert holes(table, at(NOW)) == []


def test_the_answer_names_the_hole() -> None:
    weather = without("rain_mm", "2026-01-13 03:00", "2026-01-14 00:00")
    evening = answer(site(), weather)
    assert evening.tomorrow.verdict == "unknown"
    assert reason(evening.tomorrow, evening).startswith(
        "cannot tell, weather is missing; not ruled"
    )
    assert untold_lines(evening)[0] == "Missing in the weather: rain Tue 13 Jan 03:00-24:00"
    over = answer(site(), without("temp_c", "2026-01-13 22:00", "2026-01-15 06:00"))
    assert "temperature Tue 13 Jan 22:00-Thu 15 Jan 06:00" in untold_lines(over)[0]
    assert not any("Missing" in line for line in untold_lines(answer(site())))

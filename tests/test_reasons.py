"""A reason becomes words for its reader: numbers in the reader's units, dates as people read."""

from __future__ import annotations

import datetime as dt

import pytest

from spraywindow.reasons import Amount, NearDay, Reason
from spraywindow.show.amounts import System, reason_words
from spraywindow.show.json import plain

DAY = dt.date(2026, 3, 5)


@pytest.mark.parametrize(
    ("told", "json", "metric", "us"),
    [
        (DAY, "2026-03-05", "5 Mar 2026", "5 Mar 2026"),
        (NearDay(DAY), "Thu 5 Mar", "Thu 5 Mar", "Thu 5 Mar"),
        (Amount(25.0, "mm"), "25 mm", "25 mm", "1 in"),
        (Amount(150.0, "mm", most=300.0), "150-300 mm", "150-300 mm", "6-12 in"),
        (Amount(25.4, "mm", decimals=0), "25 mm", "25.0 mm", "0.98 in"),
        (Amount(0.25, "kg"), "0.25 kg", "0.25 kg", "0.551 lb"),
        (Reason("{} {{x}}", (Amount(5.0, "mm"),)), "5 mm {x}", "5 mm {x}", "0.2 in {x}"),
        ("12 mm {it}", "12 mm {it}", "12 mm {it}", "12 mm {it}"),  # a name is told as it is
    ],
)
def test_each_kind_of_thing_told(
    told: Amount | NearDay | dt.date | Reason | str, json: str, metric: str, us: str
) -> None:
    reason = Reason("because of {}: wait", (told,))
    assert plain(reason) == f"because of {json}: wait"
    systems: dict[System, str] = {"metric": metric, "us": us}
    for system, words in systems.items():
        assert reason_words(reason, system) == f"because of {words}: wait"

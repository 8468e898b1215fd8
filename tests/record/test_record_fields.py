"""One application as a value, and which rule asks for what."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraywindow.errors import InputError
from spraywindow.record.entry import Application
from spraywindow.record.rules import RULES, cautions_for, derived, missing_for
from tests.record_values import FULL, NOW, PLAIN, START, entry

# what a record must hold


def test_federal_fields_are_those_of_7_cfr_110_3() -> None:
    # 7 CFR 110.3: product and EPA number, amount, location, area, crop, date, name and number
    assert missing_for(entry(), "us-federal") == [
        "registration number (US) or authorisation number (EU)",
        "total amount of product",
        "location",
        "size of the area treated",
        "crop",
        "applicator's name",
        "applicator's certification number",
    ]


def test_commercial_adds_customer_and_state_adds_weather_rate_concentration() -> None:
    federal, commercial, state = (
        set(missing_for(entry(), rule)) for rule in ("us-federal", "us-commercial", "us-state")
    )
    # 40 CFR 171.303 adds customer name and address; state forms wind, temperature, rate, mix
    assert commercial - federal == {"customer's name", "customer's address"}
    assert {name.split(" (")[0] for name in state - commercial} == {
        "wind speed",
        "wind direction",
        "temperature",
        "rate",
        "concentration",
    }


def test_eu_asks_for_eppo_code_geo_reference_and_stage() -> None:
    # Reg. 1107/2009 Art. 67; Reg. 2023/564
    missing = {name.split(",")[0].split(" (")[0] for name in missing_for(entry(), "eu")}
    assert missing == {
        "registration number",
        "geo-reference",
        "size of the area treated",
        "crop",
        "EPPO code of the crop",
        "growth stage",
        "rate",
    }


@pytest.mark.parametrize("rule", RULES)
def test_a_full_entry_lacks_nothing(rule: str) -> None:
    assert missing_for(Application.read(FULL), rule) == []


def test_an_unknown_rule_is_named() -> None:
    with pytest.raises(InputError, match="unknown record rule; expected us-federal"):
        missing_for(entry(), "moon")


def test_rate_and_concentration_follow_from_amounts() -> None:
    # 4 L on 0.2 ha = 20 L/ha; 4 L in 200 L = 2 % (closed form)
    values = derived(Application.read(FULL))
    assert (values["rate_l_ha"], values["concentration_pct"]) == (20.0, 2.0)
    powder = entry(product_kg=1.0, spray_volume_l=200.0, area_m2=5000.0)
    assert (derived(powder)["rate_kg_ha"], derived(powder)["concentration_g_l"]) == (2.0, 5.0)


def test_intervals_come_from_the_label_or_are_unknown() -> None:
    assert derived(entry())["reentry_from"] is derived(entry())["next_round_from"] is None
    values = derived(Application.read(FULL | {"preharvest_days": 30}))
    assert values["reentry_from"] == "2031-01-12T00:30:00-08:00"
    assert values["next_round_from"] == "2031-01-16"
    assert values["harvest_from"] == "2031-02-10"


def test_reentry_counts_real_hours_when_the_clocks_change() -> None:
    # United States, second Sunday of March 2031 (the 9th): 2:00 becomes 3:00
    night = datetime.fromisoformat("2031-03-08T22:00:00-08:00")
    late = entry(start=night, end=None, reentry_h=12)
    assert late.reentry_from == datetime.fromisoformat("2031-03-09T11:00:00-07:00")


# bad input


def test_all_problems_are_told_at_once_on_one_line() -> None:
    with pytest.raises(InputError) as caught:
        Application.read({**PLAIN, "share": 0.0, "area_m2": -1.0, "site": "", "wnd": 3})
    text = str(caught.value)
    assert "\n" not in text
    assert all(key in text for key in ("share", "area_m2", "site", "wnd: unknown field"))


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"start": datetime(2031, 1, 11, 9)}, "offset from UTC"),
        ({"end": START - timedelta(hours=1)}, "end: before the start"),
        ({"end": START + timedelta(hours=25)}, "within 24 h after the start"),
        ({"timezone": "Mars/Base"}, "IANA name"),
        ({"share": 1.01}, "share"),
        ({"temp_c": float("nan")}, "temp_c"),
        ({"product_l": 1.0, "product_kg": 1.0}, "one of the two"),
        ({"estimated": ("crop",)}, "estimated"),
        ({"eppo_code": "peach"}, "eppo_code"),
        ({"site": "two\nlines"}, "site"),
        ({"area_m2": "12"}, "area_m2"),
    ],
)
def test_what_cannot_be_is_refused(changes: dict[str, Any], match: str) -> None:
    with pytest.raises(InputError, match=match):
        entry(**changes)


@given(
    share=st.floats(0, 1, exclude_min=True),
    note=st.text(max_size=50),
    minutes=st.integers(0, 1440),
)
def test_an_entry_survives_its_text(share: float, note: str, minutes: int) -> None:
    start = START.astimezone(UTC) + timedelta(minutes=minutes)
    made = entry(share=share, note=note, start=start, end=None)
    assert Application.read_json(made.model_dump_json()) == made


def test_cautions_name_lateness_part_rounds_and_estimates() -> None:
    made = entry(share=0.4, temp_c=9.0, estimated=("temp_c",), weather_source="demo")
    text = " | ".join(cautions_for(made, START + timedelta(days=20)).values())
    for words in ("entered 20 days", "40% of the round", "temp_c (from demo)", "see the label"):
        assert words in text
    assert cautions_for(entry(reentry_h=4.0), NOW) == {}

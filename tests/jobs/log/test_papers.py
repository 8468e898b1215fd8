"""The three papers of one entry: note, record sheet, bill line."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from spraywindow.errors import InputError
from spraywindow.jobs.log.papers import PAPERS, built_in_template, paper_fields, write_paper
from spraywindow.record.entry import Application

START = datetime(2031, 1, 11, 18, tzinfo=UTC)
DONE = START + timedelta(hours=2)


def entry(**changes: Any) -> Application:
    plain: dict[str, Any] = {
        "site": "Hill garden",
        "timezone": "America/Los_Angeles",
        "start": START,
        "end": DONE,
        "material": "oil",
        "product": "Orchard oil A",
    }
    return Application.read(plain | changes)


@pytest.mark.parametrize("kind", PAPERS)
def test_every_paper_can_be_written_from_a_bare_entry(kind: str) -> None:
    text = write_paper(kind, entry(end=None))
    assert "Orchard oil A" in text
    assert "$" not in text
    assert "None" not in text


def test_the_note_speaks_of_gate_pets_washing_and_reentry() -> None:
    given = {"gate": "The side gate, please."}
    text = " ".join(write_paper("note", entry(reentry_h=4.0), extra=given).split())
    for words in ("The side gate", "Pets", "Washing", "from 10:00 to about 12:00", "11 January"):
        assert words in text
    assert "from 16:00 on Saturday 11 January 2031" in text


def test_without_the_labels_interval_nobody_is_told_an_hour() -> None:
    assert "you may go in only after we have told you" in write_paper("note", entry())


def test_the_bill_line_has_time_product_and_volume_in_the_users_units() -> None:
    # 1 gal = 3.785411784 L; 2 gal in 100 gal (NIST SP 811)
    done = entry(product_l=2 * 3.785411784, spray_volume_l=100 * 3.785411784)
    bill = " ".join(write_paper("bill", done, units="us").split())
    for words in ("10:00 to 12:00", "Orchard oil A (2 gal)", "100 gal of spray"):
        assert words in bill
    assert "7.57 L" in write_paper("bill", done)


def test_the_record_sheet_marks_estimates_and_names_what_is_missing() -> None:
    rough = entry(temp_c=10.0, estimated=("temp_c",), weather_source="demo", product_kg=1.0)
    text = write_paper("record", rough, units="us")
    assert "50 °F (estimated: demo)" in text
    assert "applicator's certification number" in text
    assert "2.2 lb" in text


def test_what_nobody_noted_is_left_out_or_said_once() -> None:
    assert "not noted" not in write_paper("bill", entry(end=None))
    assert "not noted" not in write_paper("note", entry(end=None))
    record = write_paper("record", entry(location="Hill garden"))
    assert re.search(r"^Site +Hill garden$", record, re.MULTILINE)
    assert re.search(r"^Customer +not noted$", record, re.MULTILINE)
    assert re.search(r"^Wind +not noted$", record, re.MULTILINE)
    assert re.search(r"^Re-entry +interval not noted; see label$", record, re.MULTILINE)
    known = entry(location="Mill Lane", customer_name="A", reentry_h=4.0)
    record = write_paper("record", known)
    for words in ("Hill garden (Mill Lane)", "Customer              A\n", "from 16:00 on Saturday"):
        assert words in record


def test_a_product_that_says_its_material_says_it_once() -> None:
    assert "with dormant oil." in write_paper("note", entry(product="dormant oil"))
    assert "with Brew 5 (oil)." in " ".join(write_paper("note", entry(product="Brew 5")).split())


@pytest.mark.parametrize("kind", PAPERS)
def test_papers_fit_80_columns(kind: str) -> None:
    long = entry(note="words " * 60, site="A garden with a rather long name beside the river",
                 product_l=7.0, spray_volume_l=300.0, blocks=("a",) * 40)  # fmt: skip
    text = write_paper(kind, long)
    assert max(map(len, text.splitlines())) <= 80
    # nothing but white space moves
    plain = write_paper(kind, long, template=built_in_template(kind))
    assert text.split() == plain.split()


def test_rates_convert() -> None:
    # 20 L/ha = 2.138 gal/acre (3.785411784 L, 4046.8564 m²)
    fields = paper_fields(entry(product_l=4.0, area_m2=2000.0), units="us")
    assert fields["rate"] == "2.14 gal/acre"


def test_a_concentration_by_weight_is_in_the_readers_units() -> None:
    # 8.99 g/L = 7.50 lb/100 gal (0.45359237 kg, 3.785411784 L: NIST SP 811)
    done = entry(product_kg=0.899, spray_volume_l=100.0)
    assert paper_fields(done, units="us")["concentration"] == "7.5 lb/100 gal"
    assert paper_fields(done)["concentration"] == "8.99 g/L"


def test_a_users_template_stands_in() -> None:
    text = write_paper("bill", entry(), template="$product: $$${price}", extra={"price": "90"})
    assert text == "Orchard oil A: $90"


@pytest.mark.parametrize(
    ("template", "match"),
    [
        ("$produkt, $date\n$wether", "bill template: unknown field produkt, wether; expected one"),
        ("fine\ncosts $ 5", r"bill template, line 2: a \$ that starts no field.*write \$\$"),
    ],
)
def test_a_template_with_faults_is_refused(template: str, match: str) -> None:
    with pytest.raises(InputError, match=match):
        write_paper("bill", entry(), template=template)


def test_unknown_papers_and_units_are_named() -> None:
    with pytest.raises(InputError, match="unknown paper; expected note, record, bill"):
        write_paper("poem", entry())
    with pytest.raises(InputError, match="unknown units; expected metric, us"):
        write_paper("bill", entry(), units="imperial")


def test_our_templates_are_there_to_start_from() -> None:
    for kind in PAPERS:
        assert "$product" in built_in_template(kind)

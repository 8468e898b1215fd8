"""Which rule asks for what in an application record, and what an entry still lacks."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from spraywindow.errors import InputError
from spraywindow.record.entry import Application

RULES: dict[str, str] = {
    "us-federal": "US federal, restricted-use products: 7 CFR 110.3",
    "us-commercial": "US commercial applicators: 40 CFR 171.303",
    "us-state": "common on US state forms, beside the federal fields",
    "eu": "EU professional users: Reg. 1107/2009 Art. 67, Reg. 2023/564",
}
US_RECORD_WITHIN_DAYS = 14
"""7 CFR 110.3: how soon after the application the record is made."""


@dataclass(frozen=True)
class FieldRule:
    """Something a rule wants written down: any one of `fields` settles it."""

    name: str
    fields: tuple[str, ...]
    rules: tuple[str, ...]


_US, _COMMERCIAL, _STATE, _EU = (
    ("us-federal", "us-commercial", "us-state"),
    ("us-commercial", "us-state"),
    ("us-state",),
    ("eu",),
)
REQUIREMENTS: tuple[FieldRule, ...] = (
    FieldRule("product name", ("product",), _US + _EU),
    FieldRule(
        "registration number (US) or authorisation number (EU)", ("registration_number",), _US + _EU
    ),
    FieldRule("total amount of product", ("product_l", "product_kg"), _US),
    FieldRule("location", ("location",), _US),
    FieldRule("geo-reference", ("latitude_longitude",), _EU),
    FieldRule("size of the area treated", ("area_m2",), _US + _EU),
    FieldRule("crop", ("crop",), _US + _EU),
    FieldRule("EPPO code of the crop", ("eppo_code",), _EU),
    FieldRule("growth stage (BBCH), where the use depends on it", ("bbch",), _EU),
    FieldRule("date", ("day",), _US + _EU),
    FieldRule("time", ("start",), _COMMERCIAL + _EU),
    FieldRule("kind of use", ("use_kind",), _EU),  # M: annex of Reg. 2023/564, from memory
    FieldRule("applicator's name", ("applicator",), _US),
    FieldRule("applicator's certification number", ("certification_number",), _US),
    FieldRule("customer's name", ("customer_name",), _COMMERCIAL),
    FieldRule("customer's address", ("customer_address",), _COMMERCIAL),
    FieldRule("wind speed", ("wind_ms",), _STATE),
    FieldRule("wind direction", ("wind_from_deg",), _STATE),
    FieldRule("temperature", ("temp_c",), _STATE),
    FieldRule("rate (product and area)", ("rate_l_ha", "rate_kg_ha"), _STATE + _EU),
    FieldRule(
        "concentration (product and spray volume)",
        ("concentration_pct", "concentration_g_l"),
        _STATE,
    ),
)


DERIVED = (
    "day",
    "latitude_longitude",
    "rate_l_ha",
    "rate_kg_ha",
    "concentration_pct",
    "concentration_g_l",
    "reentry_from",
    "next_round_from",
    "harvest_from",
)
"""Names of what follows from the fields of an entry."""


def derived(entry: Application) -> dict[str, object]:
    """Give what follows from the fields of an entry, so that it can never contradict them.

    Returns
    -------
    dict
        By the names of `DERIVED`: local date, latitude and longitude as text, rates [L/ha] and
        [kg/ha], concentrations [% by volume] and [g/L], and what the label's intervals lead to
        (ISO text); None where a part is missing.
    """
    hectares = None if entry.area_m2 is None else entry.area_m2 / 1e4
    grams = None if entry.product_kg is None else entry.product_kg * 1e3
    percent = None if entry.product_l is None else entry.product_l * 100
    known_point = entry.latitude is not None and entry.longitude is not None
    values = (
        entry.day.isoformat(),
        f"{entry.latitude}, {entry.longitude}" if known_point else None,
        _quotient(entry.product_l, hectares),
        _quotient(entry.product_kg, hectares),
        _quotient(percent, entry.spray_volume_l),
        _quotient(grams, entry.spray_volume_l),
        *(
            None if moment is None else moment.isoformat()
            for moment in (entry.reentry_from, entry.next_round_from, entry.harvest_from)
        ),
    )
    return dict(zip(DERIVED, values, strict=True))


def _quotient(above: float | None, below: float | None) -> float | None:
    return None if above is None or below is None else float(f"{above / below:.6g}")


def missing_for(entry: Application, rule: str) -> list[str]:
    """Name what a record still lacks under a rule.

    Parameters
    ----------
    entry : Application
    rule : str
        One of `RULES`.

    Returns
    -------
    list of str
        Names of `REQUIREMENTS`, in their order; empty when nothing is missing. Weather that is
        only estimated counts as there; `cautions_for` speaks of it.

    Raises
    ------
    InputError
        If the rule is not known.

    References
    ----------
    .. [1] 7 CFR 110.3; 40 CFR 171.303; Reg. (EC) 1107/2009 Art. 67; Impl. Reg. (EU) 2023/564.
    """
    if rule not in RULES:
        raise InputError("unknown record rule", expected=", ".join(RULES), got=rule)
    values = entry.model_dump() | derived(entry)
    return [
        wanted.name
        for wanted in REQUIREMENTS
        if rule in wanted.rules and all(values[field] in (None, "") for field in wanted.fields)
    ]


Minded = Literal["late", "share", "estimated", "reentry"]
"""What there is to mind about an entry."""


def cautions_for(entry: Application, now: datetime) -> dict[Minded, str]:
    """Say in short lines what to mind about an entry: late, partly done, weather estimated."""
    cautions: dict[Minded, str] = {}
    days = (now - entry.finished) / timedelta(days=1)
    if days > US_RECORD_WITHIN_DAYS:
        cautions["late"] = (
            f"entered {days:.0f} days after the application;"
            f" US federal rules want it within {US_RECORD_WITHIN_DAYS}"
        )
    if entry.share < 1:
        cautions["share"] = f"{entry.share:.0%} of the round is done"
    if entry.estimated:
        names = ", ".join(entry.estimated)
        cautions["estimated"] = f"estimated, not measured: {names} (from {entry.weather_source})"
    if entry.reentry_h is None:
        cautions["reentry"] = "re-entry interval not entered: see the label"
    return cautions

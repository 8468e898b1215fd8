"""One entry, three papers: the client's note, the record sheet, the line for the bill.

Each is a plain text with ``$fields`` (`string.Template`); a user's own text may stand in for
any of them. A field that is not known is an error, never an empty place.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from importlib.resources import files
from string import Template
from zoneinfo import ZoneInfo

from spraywindow.errors import InputError
from spraywindow.record import RULES, Application, derived, missing_for
from spraywindow.show import folded
from spraywindow.units import convert

PAPERS = ("note", "record", "bill")
UNITS: dict[str, dict[str, str]] = {
    "metric": {"volume": "L", "mass": "kg", "area": "ha", "temp": "degC", "wind": "m/s"},
    "us": {"volume": "gal", "mass": "lb", "area": "acre", "temp": "degF", "wind": "mph"},
}
EXTRAS: dict[str, str] = {
    "gate": "Please leave the gate unlocked.",
    "sender": "Your orchard service",
}
"""Fields that are not in the entry, with what stands there by default."""
NOT_GIVEN = "not noted"


def write_paper(
    kind: str,
    entry: Application,
    *,
    template: str | None = None,
    extra: Mapping[str, str] | None = None,
    units: str = "metric",
    rule: str = "us-federal",
) -> str:
    """Write one of the papers of a round.

    Parameters
    ----------
    kind : str
        ``"note"`` for the evening before (the entry is the planned round), ``"record"`` or
        ``"bill"`` once it is done.
    entry : Application
    template : str, optional
        The user's own text in place of ours; fields as in `paper_fields`, ``$$`` for a dollar.
    extra : mapping, optional
        More fields by name, or others in place of `EXTRAS`.
    units : str
        ``"metric"`` or ``"us"``.
    rule : str
        Record rule whose missing fields the record sheet names.

    Raises
    ------
    InputError
        If the kind, the units or the rule is unknown, or the template has a field that is not
        known or a ``$`` that starts none; all unknown fields at once.
    """
    if kind not in PAPERS:
        raise InputError("unknown paper", expected=", ".join(PAPERS), got=kind)
    text = built_in_template(kind) if template is None else template
    fields = paper_fields(entry, units=units, rule=rule) | EXTRAS | dict(extra or {})
    where = f"{kind} template"
    sheet = Template(text)
    if not sheet.is_valid():
        lines = text.splitlines()
        number = next(i for i, line in enumerate(lines, 1) if not Template(line).is_valid())
        raise InputError(
            "a $ that starts no field",
            where=f"{where}, line {number}",
            got=lines[number - 1].strip(),
            cure="write $$ for a dollar sign",
        )
    unknown = [name for name in sheet.get_identifiers() if name not in fields]
    if unknown:
        raise InputError(
            "unknown field " + ", ".join(unknown),
            where=where,
            expected="one of " + ", ".join(sorted(fields)),
        )
    written = sheet.substitute(fields)
    return written if template is not None else "\n\n".join(map(folded, written.split("\n\n")))


def built_in_template(kind: str) -> str:
    """Give our own text of a paper, to start one's own from."""
    folder = files("spraywindow.jobs.log") / "templates"
    return (folder / f"{kind}.txt").read_text(encoding="utf-8")


def paper_fields(
    entry: Application, *, units: str = "metric", rule: str = "us-federal"
) -> dict[str, str]:
    """Give every field that a template may use, as text in the units wanted."""
    if units not in UNITS:
        raise InputError("unknown units", expected=", ".join(UNITS), got=units)
    use = UNITS[units]
    plain = entry.model_dump() | derived(entry)
    texts = {name: _text(value) for name, value in plain.items()}
    missing = missing_for(entry, rule)
    per_area = use["volume"] if entry.product_kg is None else use["mass"]
    amount = _amount(entry, use)
    return texts | {
        "date": _day(entry.start, entry),
        "start_time": _clock(entry.start, entry),
        "end_time": NOT_GIVEN if entry.end is None else _clock(entry.end, entry),
        "share": f"{entry.share:.0%}",
        "amount": amount,
        "spray_volume": _quantity(entry.spray_volume_l, "L", use["volume"]),
        "area": _quantity(entry.area_m2, "m2", use["area"]),
        "rate": _rate(entry, use["area"], per_area),
        "concentration": _concentration(entry, units),
        "temperature": _marked(entry, "temp_c", _quantity(entry.temp_c, "degC", use["temp"])),
        "wind": _wind_speed(entry, use),
        "wind_from": _wind_from(entry),
        "reentry": _reentry(entry),
        "reentry_noted": _reentry_noted(entry),
        "hours": _hours(entry),
        "planned_hours": _planned_hours(entry),
        "product_named": _with_aside(entry.product, entry.material),
        "product_amount": entry.product if amount == NOT_GIVEN else f"{entry.product} ({amount})",
        "spray_applied": _spray_applied(entry, use),
        "site_location": _with_aside(entry.site, entry.location),
        "customer": ", ".join(filter(None, (entry.customer_name, entry.customer_address)))
        or NOT_GIVEN,
        "wind_noted": _wind(entry, use),
        "rule": RULES[rule],
        "missing": "; ".join(missing) or "nothing",
    }


def _text(value: object) -> str:
    if value is None or value in ("", ()):
        return NOT_GIVEN
    return ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)


def _day(moment: datetime, entry: Application) -> str:
    local = moment.astimezone(ZoneInfo(entry.timezone))
    return f"{local:%A} {local.day} {local:%B %Y}"


def _clock(moment: datetime, entry: Application) -> str:
    return f"{moment.astimezone(ZoneInfo(entry.timezone)):%H:%M}"


def _hours(entry: Application) -> str:
    start = _clock(entry.start, entry)
    return f"from {start}" if entry.end is None else f"{start} to {_clock(entry.end, entry)}"


def _planned_hours(entry: Application) -> str:
    start = f"from {_clock(entry.start, entry)}"
    return start if entry.end is None else f"{start} to about {_clock(entry.end, entry)}"


def _with_aside(text: str, aside: str) -> str:
    """Add an aside in brackets, unless the text says it already."""
    return text if aside.casefold() in text.casefold() else f"{text} ({aside})"


def _spray_applied(entry: Application, use: Mapping[str, str]) -> str:
    """A phrase for the bill; empty where nobody noted how much was sprayed."""
    if entry.spray_volume_l is None:
        return ""
    return f", {_quantity(entry.spray_volume_l, 'L', use['volume'])} of spray applied"


def _quantity(value: float | None, unit: str, target: str) -> str:
    if value is None:
        return NOT_GIVEN
    shown = {"degC": "°C", "degF": "°F", "deg": "°", "acre": "acres"}.get(target, target)
    space = "" if shown == "°" else " "
    return f"{convert(value, unit, target):.3g}{space}{shown}"


def _amount(entry: Application, use: Mapping[str, str]) -> str:
    if entry.product_kg is not None:
        return _quantity(entry.product_kg, "kg", use["mass"])
    return _quantity(entry.product_l, "L", use["volume"])


def _rate(entry: Application, area: str, product: str) -> str:
    values = derived(entry)
    name, unit = ("rate_l_ha", "L/ha") if entry.product_kg is None else ("rate_kg_ha", "kg/ha")
    value = values[name]
    if not isinstance(value, float):
        return NOT_GIVEN
    return f"{convert(value, unit, f'{product}/{area}'):.3g} {product}/{area}"


def _concentration(entry: Application, units: str) -> str:
    """Product in the spray: % by volume; by weight in g/L, or as US labels say, lb/100 gal."""
    values = derived(entry)
    percent, grams = values["concentration_pct"], values["concentration_g_l"]
    if isinstance(percent, float):
        return f"{percent:.3g} %"
    if not isinstance(grams, float):
        return NOT_GIVEN
    if units == "us":
        return f"{100 * convert(grams, 'g/L', 'lb/gal'):.3g} lb/100 gal"
    return f"{grams:.3g} g/L"


def _marked(entry: Application, field: str, text: str) -> str:
    return f"{text} (estimated: {entry.weather_source})" if field in entry.estimated else text


def _wind_speed(entry: Application, use: Mapping[str, str]) -> str:
    return _marked(entry, "wind_ms", _quantity(entry.wind_ms, "m/s", use["wind"]))


def _wind_from(entry: Application) -> str:
    return _marked(entry, "wind_from_deg", _quantity(entry.wind_from_deg, "deg", "deg"))


def _wind(entry: Application, use: Mapping[str, str]) -> str:
    if entry.wind_ms is None and entry.wind_from_deg is None:
        return NOT_GIVEN
    return f"{_wind_speed(entry, use)}, from {_wind_from(entry)}"


def _reentry_noted(entry: Application) -> str:
    return "interval not noted; see label" if entry.reentry_from is None else _reentry(entry)


def _reentry(entry: Application) -> str:
    """When people may go in; without the label's interval nobody is told an hour."""
    moment = entry.reentry_from
    if moment is None:
        return "only after we have told you that you may"
    return f"from {_clock(moment, entry)} on {_day(moment, entry)}"

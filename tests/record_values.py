"""Values that the tests of the record share."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from spraywindow.record.entry import Application

START = datetime.fromisoformat("2031-01-11T18:30:00-08:00")
NOW = START + timedelta(days=1)
PLAIN: dict[str, Any] = {
    "site": "Hill garden",
    "timezone": "America/Los_Angeles",
    "start": START,
    "end": START + timedelta(hours=2),
    "material": "oil",
    "product": "Orchard oil A",
}
FULL: dict[str, Any] = PLAIN | {
    "registration_number": "0000-00",
    "location": "Upper terrace",
    "latitude": 38.3,
    "longitude": -122.3,
    "crop": "peach",
    "eppo_code": "PRNPS",
    "bbch": 0,
    "area_m2": 2000.0,
    "product_l": 4.0,
    "spray_volume_l": 200.0,
    "applicator": "A. Example",
    "certification_number": "X-1",
    "customer_name": "B. Example",
    "customer_address": "1 Example Road",
    "temp_c": 12.0,
    "wind_ms": 1.5,
    "wind_from_deg": 270.0,
    "reentry_h": 4.0,
    "next_round_days": 5,
}


def entry(**changes: Any) -> Application:
    return Application.read(PLAIN | changes)

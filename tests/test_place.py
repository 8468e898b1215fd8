"""Where a site lies: what is accepted and what is named."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from spraywindow.errors import InputError
from spraywindow.place import Place

GOOD: dict[str, Any] = {
    "latitude": 38.1, "longitude": 23.7, "elevation_m": 100.0, "timezone": "Europe/Athens"
}  # fmt: skip


def test_a_place_knows_its_clock() -> None:
    assert Place(**GOOD).zone.key == "Europe/Athens"
    assert Place(**GOOD | {"latitude": np.float32(38), "longitude": np.int64(23)}).latitude == 38


@pytest.mark.parametrize("edge", [-90, 90.0])
def test_the_poles_are_places(edge: float) -> None:
    assert Place(**GOOD | {"latitude": edge}).latitude == edge


@pytest.mark.parametrize("latitude", [91, -90.01, float("nan"), float("inf"), "38", None, True])
def test_latitude_out_of_range(latitude: object) -> None:
    with pytest.raises(InputError, match=r"latitude out of range; expected -90 to 90 degrees"):
        Place(**GOOD | {"latitude": latitude})


@pytest.mark.parametrize("zone", ["Europe/Nowhere", "", "Europe", "../UTC", None, 3])
def test_unknown_time_zone(zone: object) -> None:
    with pytest.raises(InputError, match="unknown time zone; expected an IANA name"):
        Place(**GOOD | {"timezone": zone})


def test_all_problems_at_once() -> None:
    with pytest.raises(InputError, match=r"latitude.*longitude.*elevation_m.*time zone"):
        Place(91, 181, 9000, "Nowhere")

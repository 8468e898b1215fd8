"""Open-Meteo's ensemble: the members of one model, by name only."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import SourceError
from spraywindow.place import Place
from spraywindow.sources.http.session import polite_session
from spraywindow.sources.members import openmeteo
from spraywindow.weather import weather_source
from tests.conftest import SHARED, needs_records
from tests.loopback import Loopback, Reply
from tests.sources.services.test_openmeteo import reply

PAYLOADS = SHARED / "payloads" / "open-meteo"
SITE = Place(39.123456, 22.5, 120.4, "Europe/Athens")


def ensemble(start: str, hours: int) -> dict[str, Any]:
    """A control and two members; the second is a degree warmer, the third without wind."""
    payload = reply(start, hours)
    for block in (payload["hourly"], payload["hourly_units"]):
        for name in [name for name in block if name != "time"]:
            for member in ("_member01", "_member02"):
                block[name + member] = block[name]
    hourly = payload["hourly"]
    hourly["temperature_2m_member01"] = [value + 1 for value in hourly["temperature_2m"]]
    hourly["wind_speed_10m_member02"] = [None] * hours
    return payload


@needs_records
def test_recorded_members_of_one_model() -> None:
    payload = json.loads((PAYLOADS / "pom_ensemble_trimmed.json").read_text("utf-8"))
    tables = openmeteo.parse(payload)
    assert len(tables) == 21  # the control and twenty
    hourly = payload["hourly"]
    assert tables[0]["temp_c"].tolist() == hourly["temperature_2m"]
    assert tables[20]["temp_c"].tolist() == hourly["temperature_2m_member20"]
    assert tables[0]["rain_mm"].isna().all()  # was not asked there: unknown, not dry


@needs_records
def test_members_of_several_models_are_no_one_sample() -> None:
    payload = json.loads((PAYLOADS / "pom_ensemble_models.json").read_text("utf-8"))
    with pytest.raises(SourceError, match="members of 2 models"):
        openmeteo.parse(payload)
    for block in (payload["hourly"], payload["hourly_units"]):
        for name in [name for name in block if name.endswith("_ecmwf_ifs025_ensemble")]:
            del block[name]
    assert len(openmeteo.parse(payload)) == 40  # one of them: control and 39


def test_fetches_the_members_with_age_credit_and_limits(tmp_path: Path) -> None:
    now = pd.Timestamp.now("UTC")
    first = (now - pd.Timedelta(days=2)).floor("D")
    payload = ensemble(f"{first:%Y-%m-%dT%H:%M}", 100)
    with Loopback(Reply(payload)) as server, polite_session(tmp_path) as http:
        out = openmeteo.forecast_members(SITE, now=now, session=http, base_url=server.url)
    assert server.asked[0].path == "/ensemble"
    assert server.asked[0].query["models"] == openmeteo.MODEL
    assert server.asked[0].query["timezone"] == "GMT"
    assert out.count == 3
    assert (out.columns["temp_c"][:, 1] - out.columns["temp_c"][:, 0] == 1).all()
    assert np.isnan(out.columns["wind_ms"][:, 2]).all()
    source = weather_source(out.table(0), now)
    assert (source.name, source.stale) == ("Open-Meteo", False)
    assert "CC BY 4.0" in str(source.credit)
    assert "non-commercial" in out.limits_of_use
    assert out.attrs["forecast_from"] == now.floor("h")


def test_a_reply_without_members_is_refused() -> None:
    payload = reply()
    del payload["hourly"]["temperature_2m"]
    with pytest.raises(SourceError, match="no members"):
        openmeteo.parse(payload)

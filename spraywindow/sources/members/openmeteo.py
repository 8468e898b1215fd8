"""Members of Open-Meteo's ensemble: worldwide, free for non-commercial use, by name only.

Coarse models are interpolated to hours there; amounts that were spread evenly are put together
again. The address was not tried live: the reading is tested on recorded replies.

References
----------
.. [1] Open-Meteo, *Ensemble API* documentation (open-meteo.com/en/docs/ensemble-api).
"""

from __future__ import annotations

import os
import re
from typing import TYPE_CHECKING, Any

from spraywindow.place import Place
from spraywindow.sources.http import block, get_json
from spraywindow.sources.members.members import Members, side_by_side
from spraywindow.sources.services import SERVICE, finish, openmeteo

if TYPE_CHECKING:
    import pandas as pd
    from requests_cache import CachedSession

BASE_URL = "https://ensemble-api.open-meteo.com/v1"
CUSTOMER_URL = "https://customer-ensemble-api.open-meteo.com/v1"
MODEL = "ecmwf_ifs025_ensemble"
LIMITS = "free tier for non-commercial use only; coarse models are interpolated to hours"
_ENDING = re.compile(r"temperature_2m((?:_member\d+)?)((?:_[a-z]\w*)?)")


def parse(payload: Any) -> list[pd.DataFrame]:
    """Read a reply of the ensemble address: the control and the members of one model.

    Parameters
    ----------
    payload : object
        The JSON document, for one place, asked with ``timezone=GMT``.

    Returns
    -------
    list of DataFrame
        As `spraywindow.sources.services.openmeteo.parse` gives them, the control first.

    Raises
    ------
    SourceError
        As there; or if several models came, whose members are no one sample.
    """
    if isinstance(payload, list) and len(payload) == 1:
        payload = payload[0]
    hourly = block(payload, "hourly", service=SERVICE.name, kind=dict)
    found = [match for name in hourly if (match := _ENDING.fullmatch(name))]
    models = {match[2] for match in found}
    if len(models) > 1:
        raise SERVICE.odd(f"members of {len(models)} models came where one was asked")
    if not found:
        raise SERVICE.odd("the answer holds no members")
    return [openmeteo.parse(payload, match[1] + match[2]) for match in found]


def forecast_members(
    place: Place,
    *,
    now: pd.Timestamp,
    session: CachedSession,
    base_url: str | None = None,
    api_key: str | None = None,
    model: str = MODEL,
) -> Members:
    """Fetch the members with the two days before them, checked.

    Parameters
    ----------
    place, now, session, base_url, api_key
        As for `spraywindow.sources.services.openmeteo.forecast`.
    model : str
        One of the service's ensembles.

    Raises
    ------
    SourceError
        If no usable answer comes, or the time of the answer is not about `now`.
    """
    key = api_key or os.environ.get("SPRAYWINDOW_OPENMETEO_KEY")
    base = base_url or (CUSTOMER_URL if key else BASE_URL)
    params = openmeteo.asked(place, key) | {"models": model}
    payload, answer = get_json(session, f"{base}/ensemble", params, now=now, service=SERVICE.name)
    forecast_from = min(now, answer.fetched).floor("h")
    tables = [
        finish.finish(table, SERVICE, answer, issued=None, forecast_from=forecast_from, now=now)
        for table in parse(payload)
    ]
    return side_by_side(tables, LIMITS, SERVICE.name)

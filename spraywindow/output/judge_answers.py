"""What ``spraywindow log judge`` says, as JSON values with stable keys."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from spraywindow.errors import InputError
from spraywindow.orchard.judging import judge
from spraywindow.orchard.receipts import hourless, read_receipt
from spraywindow.orchard.site import Site
from spraywindow.output.json import number, plain
from spraywindow.season.share import Share


def judged_all(
    texts: Sequence[tuple[str, str]], site: Site, weather: pd.DataFrame, now: dt.datetime
) -> list[dict[str, Any]]:
    """Judge receipts, given as (name, JSON text).

    One that advised no hours, or is of another site, is only named.

    Raises
    ------
    InputError
        If a receipt cannot be read; the message names it.
    """
    out = []
    for name, text in texts:
        try:
            values = hourless(text)
            if values is None:
                values = read_receipt(text)
                if values["site"] == site.name:
                    found = judge(values, site, weather, now=now).as_json()
                    out.append({"of": name, "judged": True, **found})
                    continue
        except InputError as error:
            raise InputError(f"receipt of {name}: {error}") from error
        about = ("site", "material", "now", "verdict", "date")
        out.append({"of": name, "judged": False, **{key: values.get(key) for key in about}})
    return out


def judge_answer(judged: list[dict[str, Any]], site: Site, now: pd.Timestamp) -> dict[str, Any]:
    """Receipts beside what came, and how often a go held."""
    held = [each["held"] for each in judged if each.get("held") is not None]
    share = Share.of(np.array(held, dtype=bool))
    return {
        "site": site.name,
        "now": plain(now),
        "receipts": judged,
        "go": {
            "judged": len(held),
            "held": sum(held),
            "share": number(share.share, 3),
            "low": number(share.low, 3),
            "high": number(share.high, 3),
        },
        "errors": _all_errors(judged),
    }


def _all_errors(judged: list[dict[str, Any]]) -> dict[str, dict[str, float]]:
    """What came less the forecast, over the hours of all receipts."""
    out: dict[str, dict[str, float]] = {}
    columns = sorted({column for each in judged for column in each.get("errors", {})})
    for column in columns:
        parts = [each["errors"][column] for each in judged if column in each.get("errors", {})]
        hours = sum(part["n"] for part in parts)
        mean = sum(part["n"] * part["mean"] for part in parts) / hours
        square = sum(part["n"] * (part["spread"] ** 2 + part["mean"] ** 2) for part in parts)
        spread = math.sqrt(max(0.0, square / hours - mean**2))
        out[column] = {"n": hours, "mean": round(mean, 3), "spread": round(spread, 3)}
    return out

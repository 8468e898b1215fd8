"""Two forecasts of one place, side by side: both ride on the table of the one that reaches on."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pandas as pd

_RIDES = "forecasts"


@dataclass(frozen=True, eq=False)
class _Riders:
    """The tables of both forecasts; of one where the other that was asked did not come."""

    tables: tuple[pd.DataFrame, ...]

    def __deepcopy__(self, memo: dict[int, object]) -> _Riders:
        """Stay one object: pandas copies attrs at every step."""
        return self


def side_by_side(tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Put the forecasts that came, of two that were asked, side by side.

    Parameters
    ----------
    tables : sequence of DataFrame
        Checked hourly tables of one place, one or two, as they were asked for.

    Returns
    -------
    DataFrame
        The one that reaches farthest, with all of them beside it (`forecasts_of`); what it tells
        of its source, and its notes, are of both. The older issue counts.
    """
    farthest = max(tables, key=lambda table: table.index[-1])
    out = farthest.copy(deep=False)
    told = [table.attrs.get("source", {}) for table in tables]
    times = {
        key: min(found) if None not in (found := [each.get(key) for each in told]) else None
        for key in ("issued", "fetched")
    }
    named = {
        key: joint.join(dict.fromkeys(each[key] for each in told if each.get(key))) or None
        for key, joint in (("name", " and "), ("credit", "; "))
    }
    out.attrs = {
        **farthest.attrs,
        "source": {**named, **times, "stale": any(each.get("stale") for each in told)},
        "notes": [*dict.fromkeys(line for each in tables for line in each.attrs.get("notes", []))],
        _RIDES: _Riders(tuple(tables)),
    }
    return out


def forecasts_of(table: pd.DataFrame) -> tuple[pd.DataFrame, ...]:
    """The tables of the forecasts that were put side by side; none of a single one."""
    riders = table.attrs.get(_RIDES)
    return riders.tables if isinstance(riders, _Riders) else ()


def with_each(table: pd.DataFrame, change: Callable[[pd.DataFrame], pd.DataFrame]) -> pd.DataFrame:
    """Change a table, and with it the forecasts beside it."""
    out = change(table)
    if riders := forecasts_of(table):
        out.attrs = {**out.attrs, _RIDES: _Riders(tuple(map(change, riders)))}
    return out

"""A record of many winters, from the demo's own: the same winters again in earlier years."""

from __future__ import annotations

import pandas as pd

from tests.season_values import winters


def many_winters(count: int) -> pd.DataFrame:
    """Put the demo's twelve winters (September to August) before themselves, `count` in all."""
    table = winters()
    first, last = table.index[0], table.index[-1] + pd.Timedelta(hours=1)
    years = last.year - first.year
    hours = pd.date_range(
        pd.Timestamp(last.year - count, first.month, first.day, tz="UTC"), last, freq="h",
        inclusive="left",
    )  # fmt: skip
    moved = [
        table.set_axis(table.index + (pd.DateOffset(years=-years * times)))
        for times in range(-(-count // years))
    ]
    whole = pd.concat(moved[::-1])
    whole = whole[~whole.index.duplicated()].reindex(hours).ffill()
    whole.attrs = dict(table.attrs)
    return whole

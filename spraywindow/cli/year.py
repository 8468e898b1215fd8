"""What the commands of the growing year share: the demo's past years stand in for its spring."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from spraywindow.cli.options import the_weather

if TYPE_CHECKING:
    import pandas as pd

    from spraywindow.orchard.site import Site


def year_weather(
    site: Site, weather: Path | None, columns: Path | None, now: pd.Timestamp, *, demo: bool
) -> pd.DataFrame:
    """The hourly table; for the demo at a time in its past winters, those."""
    if demo and weather is None and columns is None:
        from spraywindow.sources.samples import demo_forecast, demo_winters

        forecast = demo_forecast()
        if forecast.index[0] <= now <= forecast.index[-1]:
            return forecast
        winters = demo_winters()
        return winters if winters.index[0] <= now <= winters.index[-1] else forecast
    return the_weather(site, weather, columns, now, demo=demo)

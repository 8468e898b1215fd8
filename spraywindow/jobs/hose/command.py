"""``spraywindow hose``: mornings for washing dust and pests off the leaves."""

from __future__ import annotations

from spraywindow.call import (
    Call,
    ColumnsOption,
    JsonOption,
    NowOption,
    SiteOption,
    WeatherOption,
)


def hose(
    site: SiteOption = None,
    weather: WeatherOption = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    json: JsonOption = False,
) -> None:
    """Say on which mornings to wash the leaves with a jet of water."""
    from spraywindow.jobs.hose.answer import hose_site
    from spraywindow.jobs.hose.text import HOSE_WORDS, hose_text
    from spraywindow.show import to_json

    call = Call(site, weather, columns, now)
    answer = hose_site(call.bare_site, call.year_weather, call.now)
    call.say(to_json(answer, HOSE_WORDS) if json else hose_text(answer))

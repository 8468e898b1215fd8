"""``spraywindow hose``: mornings for washing dust and pests off the leaves."""

from __future__ import annotations

from spraywindow.call import (
    DEMO_NOTE,
    ColumnsOption,
    JsonOption,
    NowOption,
    SiteOption,
    WeatherOption,
    note,
    say,
    the_now,
    the_site,
    year_weather,
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

    demo = site is None
    the = the_site(site)
    at = the_now(now, the, demo=demo and weather is None)
    answer = hose_site(the, year_weather(the, weather, columns, at, demo=demo), at)
    if demo:
        note(DEMO_NOTE)
    say(to_json(answer, HOSE_WORDS) if json else hose_text(answer))

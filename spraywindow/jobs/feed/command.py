"""``spraywindow feed``: when to feed, how much; compost and mulch round the trees."""

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


def feed(
    site: SiteOption = None,
    weather: WeatherOption = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    json: JsonOption = False,
) -> None:
    """Say when to feed the trees and how much; never while they are dormant."""
    from spraywindow.jobs.feed.answer import feed_site
    from spraywindow.jobs.feed.text import FEED_WORDS, feed_text
    from spraywindow.show import to_json

    demo = site is None
    the = the_site(site)
    at = the_now(now, the, demo=demo and weather is None)
    answer = feed_site(the, year_weather(the, weather, columns, at, demo=demo), at)
    if demo:
        note(DEMO_NOTE)
    say(to_json(answer, FEED_WORDS) if json else feed_text(answer))

"""``spraywindow feed``: when to feed, how much; compost and mulch round the trees."""

from __future__ import annotations

from spraywindow.call import (
    Call,
    ColumnsOption,
    JsonOption,
    NowOption,
    PastColumnsOption,
    PastOption,
    SiteOption,
    WeatherOption,
)


def feed(
    site: SiteOption = None,
    weather: WeatherOption = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    winters: PastOption = None,
    winters_columns: PastColumnsOption = None,
    json: JsonOption = False,
) -> None:
    """Say when to feed the trees and how much; never while they are dormant."""
    from spraywindow.jobs.feed.answer import feed_site
    from spraywindow.jobs.feed.text import FEED_WORDS, feed_text
    from spraywindow.show import to_json

    call = Call(site, weather, columns, now, winters_file=winters, winters_columns=winters_columns)
    answer = feed_site(call.with_winters(call.bare_site), call.year_weather, call.now)
    call.say(to_json(answer, FEED_WORDS) if json else feed_text(answer))

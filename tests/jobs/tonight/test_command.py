"""``spraywindow tonight``: common practice, no source, but for the calendar (RFC 5545)."""

from __future__ import annotations

from pathlib import Path

import icalendar
import pytest

from spraywindow.errors import SourceError
from spraywindow.place import Place
from spraywindow.sources.files.read_file import read_weather
from tests.command import Said, command
from tests.site_files import write_site, write_weather


class Timer:
    """What a timer runs: two sites by a service, which may be out for one of them or all."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch):
        (folder / "sites").mkdir()
        write_site(folder / "sites" / "a.toml")
        write_site(folder / "sites" / "b.toml", name="Lime Kiln Yard", longitude=21.6)
        weather = write_weather(folder / "w.csv", "2026-01-01", 20)
        self.folder, self.out, self.places = folder, set[float](), list[Place]()
        self.page, self.calendar = folder / "page.html", folder / "calendar.ics"

        def answers(place: Place, **_: object) -> object:
            self.places.append(place)
            if place.longitude in self.out:
                raise SourceError("the service is down")
            return read_weather(weather)

        monkeypatch.setattr("spraywindow.sources.get_forecast", answers)

    def run(self, now: str, *more: object) -> Said:
        words = ("--out", self.page, "--ics", self.calendar, "--now", now)
        return command("tonight", self.folder / "sites", *words, *more)

    def events(self) -> list[icalendar.Event]:
        return icalendar.Calendar.from_ical(self.calendar.read_bytes()).events


@pytest.fixture
def timer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Timer:
    return Timer(tmp_path, monkeypatch)


def test_table_order_page_and_calendar(timer: Timer) -> None:
    said = timer.run("2026-01-08 18:00", "--home", "37.8, 21.5")
    assert said.text.startswith("2 sites, all answered.\n")
    assert "In which order" in said.text
    assert max(len(line) for line in said.text.splitlines() if str(timer.folder) not in line) <= 80
    assert len(timer.places) == 2  # fetched once
    page = timer.page.read_text("utf-8")
    assert "No answer" not in page
    assert page.index("In which order") < page.index("The coming week")
    events = timer.events()
    assert {str(event["location"]) for event in events} == {"Ossa Terrace", "Lime Kiln Yard"}
    round_ = command(
        "visits", timer.folder / "sites", "--now", "2026-01-08 18:00", "--home", "37.8, 21.5",
        "--json",
    ).answer["stops"]  # fmt: skip
    alarms = {
        (str(event["location"]), str(event["summary"]).split(",")[0]): event.alarms.times[1].trigger
        for event in events
        if event.start.day == 9 and event.alarms.times
    }
    for stop in round_:
        hour_before = alarms[stop["site"], stop["material"]].isoformat()
        assert hour_before[11:16] < stop["leave"][11:16]
        assert int(hour_before[11:13]) == int(stop["leave"][11:13]) - 1


@pytest.mark.parametrize("out", [{21.6}, {21.4, 21.6}])
def test_a_quiet_failure_is_loud(timer: Timer, out: set[float]) -> None:
    assert timer.run("2026-01-08 18:00").code == 0
    before = {str(event["uid"]): event for event in timer.events()}
    timer.out = out
    said = timer.run("2026-01-09 18:00")
    assert said.code == 2
    assert said.out.startswith(f"{len(out)} of 2 sites NOT answered; unknown is not go.\n")
    page = timer.page.read_text("utf-8")
    top = page[page.index("<main>") :]
    assert f"No answer for {len(out)} of 2" in top[: top.index("</h2>")]
    assert "the service is down" in page
    silent = [event for event in timer.events() if str(event["location"]) == "Lime Kiln Yard"]
    assert silent
    for event in silent:
        assert str(event["summary"]).startswith("not confirmed: ")
        assert event["sequence"] > before[str(event["uid"])]["sequence"]
        assert not event.alarms.times
    timer.out = set()
    assert timer.run("2026-01-10 18:00").code == 0
    assert "No answer" not in timer.page.read_text("utf-8")
    assert not any("not confirmed" in str(event["summary"]) for event in timer.events())


def test_files_of_others_are_left_alone_and_nothing_is_fetched(timer: Timer) -> None:
    for file, text in ((timer.page, "<html>mine</html>"), (timer.calendar, "BEGIN:VCALENDAR\n")):
        file.write_text(text)
        assert "another kind of file" in timer.run("2026-01-08 18:00").refusal
        assert file.read_text() == text
        file.unlink()
    assert timer.places == []


def test_a_wrong_time_writes_nothing(timer: Timer) -> None:
    assert "not a time" in timer.run("soon").refusal
    assert not timer.page.exists()
    assert not timer.calendar.exists()


def test_receipts_are_kept_where_there_is_a_record(timer: Timer) -> None:
    site = timer.folder / "sites" / "a.toml"
    now = "2026-01-08 18:00"
    assert command("seen", site, "--leaf-fall", "--on", "2025-12-02", "--now", now).code == 0
    assert timer.run(now).code == 0
    kept = command("log", "judge", "--site", site, "--kept", "--weather", timer.folder / "w.csv",
                   "--now", "2026-01-18 18:00", "--json")  # fmt: skip
    assert kept.code == 0, kept.err


def test_names_cannot_bring_markup_into_the_page(timer: Timer) -> None:
    write_site(timer.folder / "sites" / "c.toml", name="<script>x</script>")
    assert timer.run("2026-01-08 18:00").code == 0
    assert "<script" not in timer.page.read_text("utf-8")


def test_help_prints_the_line_for_a_timer() -> None:
    said = command("tonight", "--help")
    assert "30 18 * * * cd " in said.text
    assert "OnCalendar=" in said.text

"""The visits as a command: what it prints, its JSON keys, bad input."""

from __future__ import annotations

import re
import threading
import time
from pathlib import Path

import pytest

from spraywindow.errors import SourceError
from tests.command import command, demo
from tests.site_files import write_site, write_weather

EVENING = ("--now", "2026-01-08 18:00")


@pytest.fixture
def sites(tmp_path: Path) -> list[Path]:
    return [
        write_site(tmp_path / "a.toml", name="Ossa Terrace"),
        write_site(tmp_path / "b.toml", name="Lime Kiln Yard", longitude=21.6),
    ]


@pytest.fixture
def weather(tmp_path: Path) -> Path:
    return write_weather(tmp_path / "w.csv", "2026-01-01", 20)


def test_text_fits_eighty_columns_and_says_the_round(sites: list[Path], weather: Path) -> None:
    said = command("visits", *sites, "--weather", weather, *EVENING, "--home", "37.8, 21.5")
    assert said.code == 0
    assert said.out.startswith("Tomorrow, Fri 9 Jan: 2 of 2 sites, ")
    assert max(map(len, said.out.splitlines())) <= 80
    assert said.out.count("The label is the law") == 1


def test_json_keys_are_stable(sites: list[Path], weather: Path) -> None:
    said = command("visits", *sites, "--weather", weather, *EVENING, "--json")
    answer = said.answer
    assert set(answer) == {
        "now", "date", "stops", "left_out", "choices", "drive_min", "worth", "route",
        "driving", "in_doubt", "crew_share", "cautions",
    }  # fmt: skip
    assert answer["route"] == {"proven": True, "way": "exact"}
    assert set(answer["stops"][0]) == {
        "order", "site", "material", "leave", "arrive", "start", "end", "drive_min", "slot",
        "prize", "chance", "reason",
    }  # fmt: skip
    assert set(answer["choices"][0]) == {
        "site", "material", "verdict", "reason", "owed", "known_mornings", "later_days",
        "last_day", "last_day_assumed", "chances", "advice", "worth_now", "worth_waiting",
        "prize",
    }  # fmt: skip
    # 0.2 degrees of longitude at 37.8 N: 17.57 km, x 1.3 at 50 km/h
    assert answer["drive_min"] == pytest.approx(17.57 * 1.3 / 50 * 60, abs=0.1)


def test_a_table_of_minutes_is_used(sites: list[Path], weather: Path, tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text("from,to,minutes\nOssa Terrace,Lime Kiln Yard,44\n")
    said = command("visits", *sites, "--weather", weather, *EVENING, "--minutes", table, "--json")
    assert said.answer["drive_min"] == 44.0


def test_what_the_record_says_is_done_is_not_owed(sites: list[Path], weather: Path) -> None:
    ask = ("visits", *sites, "--weather", weather, *EVENING, "--json")
    before = command(*ask).answer["choices"]
    command("log", "add", "--site", sites[0], "--material", "oil", "--product", "A", "--start",
        "2026-01-02 10:00", "--now", "2026-01-02 18:00", "--no-fetch")  # fmt: skip
    after = command(*ask).answer["choices"]

    def owed(choices: list[dict[str, object]]) -> object:
        return next(
            c["owed"] for c in choices if (c["site"], c["material"]) == ("Ossa Terrace", "oil")
        )

    assert (owed(before), owed(after)) == (3, 2)


def test_a_weather_file_each(sites: list[Path], tmp_path: Path) -> None:
    dry = write_weather(tmp_path / "dry.csv", "2026-01-01", 20)
    wet = write_weather(
        tmp_path / "wet.csv", "2026-01-01", 20,
        rain={f"2026-01-09T{hour:02d}:00": 3.0 for hour in range(24)},
    )  # fmt: skip
    said = command("visits", *sites, "--weather", dry, "--weather", wet, *EVENING, "--json")
    answer = said.answer
    assert [stop["site"] for stop in answer["stops"]] == ["Ossa Terrace"]
    assert answer["left_out"][0]["site"] == "Lime Kiln Yard"
    assert "rain" in answer["left_out"][0]["reason"]


def test_one_bad_site_does_not_stop_the_others(
    sites: list[Path], weather: Path, tmp_path: Path
) -> None:
    broken = write_site(tmp_path / "broken.toml", name="Broken Fence")
    broken.write_text(broken.read_text().replace("trees = 48", "trees = 0"))
    mess = tmp_path / "mess.toml"
    mess.write_text("name = ")
    junk = write_site(tmp_path / "junk.toml", name="Junk Field")
    (tmp_path / "junk.db").write_bytes(b"no record at all " * 400)
    ask = ("visits", broken, mess, *sites, junk, "--weather", weather, *EVENING)
    said = command(*ask, "--json")
    assert said.code == 0
    answer = said.answer
    assert sorted(stop["site"] for stop in answer["stops"]) == ["Lime Kiln Yard", "Ossa Terrace"]
    left = {row["site"]: row["reason"] for row in answer["left_out"]}
    assert list(left) == ["Broken Fence", str(mess), "Junk Field"]
    assert "trees" in left["Broken Fence"]
    assert "not TOML" in left[str(mess)]
    assert "junk.db" in left["Junk Field"]
    text = command(*ask).out
    assert text.startswith("Tomorrow, Fri 9 Jan: 2 of 5 sites, ")
    assert "Left out, Junk Field: " in " ".join(text.split())
    assert max(len(line) for line in text.splitlines() if str(tmp_path) not in line) <= 80
    alone = command("visits", broken, junk, "--weather", weather, *EVENING)
    assert "Broken Fence: " in alone.refusal
    assert "Junk Field: " in alone.refusal


def test_one_bad_weather_file_does_not_stop_the_others(
    sites: list[Path], weather: Path, tmp_path: Path
) -> None:
    short = write_weather(tmp_path / "short.csv", "2025-12-01", 4)
    junk = tmp_path / "junk.csv"
    junk.write_text("nothing,here\n1,2\n")
    for bad in (short, junk):
        said = command("visits", *sites, "--weather", weather, "--weather", bad, *EVENING, "--json")
        answer = said.answer
        assert [stop["site"] for stop in answer["stops"]] == ["Ossa Terrace"]
        assert [row["site"] for row in answer["left_out"]] == ["Lime Kiln Yard"]
        assert answer["left_out"][0]["reason"]
    shared = command("visits", *sites, "--weather", junk, *EVENING)
    assert (shared.code, shared.out, shared.err.count("junk.csv")) == (2, "", 1)


def test_a_service_that_fails_for_one_site_does_not_stop_the_others(
    sites: list[Path], weather: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from spraywindow.errors import SourceError
    from spraywindow.place import Place
    from spraywindow.sources.files.read_file import read_weather

    def answers(place: Place, **_: object) -> object:
        if place.longitude == 21.6:
            raise SourceError("the service is down")
        return read_weather(weather)

    monkeypatch.setattr("spraywindow.sources.get_forecast", answers)
    answer = command("visits", *sites, *EVENING, "--json").answer
    assert [stop["site"] for stop in answer["stops"]] == ["Ossa Terrace"]
    assert answer["left_out"] == [{"site": "Lime Kiln Yard", "reason": "the service is down"}]


def test_a_table_of_minutes_may_name_a_site_that_is_left_out(
    sites: list[Path], weather: Path, tmp_path: Path
) -> None:
    table = tmp_path / "t.csv"
    table.write_text("from,to,minutes\nOssa Terrace,Lime Kiln Yard,44\nOssa Terrace,Mess,5\n")
    ask = ("--weather", weather, *EVENING, "--minutes", table)
    strange = command("visits", *sites, *ask)
    assert "unknown place" in strange.refusal
    mess = write_site(tmp_path / "mess.toml", name="Mess")
    mess.write_text(mess.read_text().replace("trees = 48", "trees = 0"))
    said = command("visits", *sites, mess, *ask, "--json")
    assert said.answer["drive_min"] == 44.0


def test_the_book_wants_every_site_and_names_the_one_that_fails(
    sites: list[Path], tmp_path: Path, few_winters: Path
) -> None:
    mess = tmp_path / "mess.toml"
    mess.write_text("name = ")
    bare = write_site(tmp_path / "bare.toml", name="Bare")
    bare.write_text(bare.read_text().replace("leaf_fall = 2025-12-02\n", ""))
    for bad, told in ((mess, f"{mess}: "), (bare, "Bare: ")):
        said = command("visits", *sites, bad, "--book", "--weather", few_winters, *EVENING)
        assert told in said.refusal


def test_more_open_sites_than_can_be_told_exactly_are_planned(
    weather: Path, tmp_path: Path
) -> None:
    many = [
        write_site(tmp_path / f"{n}.toml", name=f"Site {n}", longitude=21.4 + 0.01 * n)
        for n in range(16)
    ]
    said = command("visits", *many, "--weather", weather, *EVENING, "--json")
    answer = said.answer
    assert len(answer["stops"]) + len(answer["left_out"]) == 16
    assert answer["route"]["proven"] is True  # two-hour jobs: few fit


def test_the_book_of_the_demo_winters(sites: list[Path], few_winters: Path) -> None:
    ask = ("visits", *sites, "--book", "--weather", few_winters, "--now", "2025-11-10 18:00")
    answer = command(*ask, "--json").answer
    assert set(answer) == {
        "winters", "left_out", "visits_a_day", "promise", "clients", "drops", "rule", "cautions",
    }  # fmt: skip
    assert [client["site"] for client in answer["clients"]] == ["Ossa Terrace", "Lime Kiln Yard"]
    for client in answer["clients"]:
        assert client["shared"]["n"] == len(answer["winters"])
        assert client["shared"]["share"] <= 1
        for material in client["materials"]:
            assert 0 <= material["promised"] <= material["owed"]
    text = command(*ask).out
    assert max(map(len, text.splitlines())) <= 80
    assert "without hindsight" in " ".join(text.split())
    assert "counts on the crew" not in text  # two sites, two visits a day
    shared = command(*ask, "--visits-a-day", "1").out
    assert "Each counts on the crew on 50 % of its later mornings" in " ".join(shared.split())


def test_alone_in_the_book_is_the_season_as_it_comes(sites: list[Path], few_winters: Path) -> None:
    at = ("--weather", few_winters, "--now", "2025-11-10 18:00", "--json")
    clients = command("visits", *sites, "--book", *at).answer["clients"]
    for site, client in zip(sites, clients, strict=True):
        season = command("season", "--site", site, *at).answer
        assert client["alone"] == pytest.approx(season["finish"]["as_it_comes"], abs=1e-3)


def test_who_shares_a_crew_waits_less(sites: list[Path], weather: Path) -> None:
    # no outside source: a better morning that the crew may spend elsewhere is worth less
    ask = ("visits", *sites, "--weather", weather, *EVENING)
    own, shared = (command(*ask, "--visits-a-day", n, "--json").answer for n in ("2", "1"))
    assert (own["crew_share"], shared["crew_share"]) == (1, 0.5)
    for ours, theirs in zip(own["choices"], shared["choices"], strict=True):
        assert theirs["worth_waiting"] < ours["worth_waiting"]
    text = " ".join(command(*ask, "--visits-a-day", "1").out.split())
    assert "The sites share the crew: a later morning counts for each with 50 %" in text


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--home", "here"), "not a point"),
        (("--home", "95, 20"), "not a point"),
        (("--leave", "dawn"), "not a clock time"),
        (("--speed", "50"), "a number without its unit"),
        (("--speed", "900 km/h"), "speed out of range"),
        (("--usual", "150 %"), "--usual: out of range"),
        (("--usual", "25"), "not a share; expected 0 to 100 %, such as \"25 %\"; got '25'"),
        (("--usual", "25 mm"), 'such as "25 %"'),
        (("--minutes", "none.csv"), "cannot read the table"),
    ],
)
def test_bad_input_is_one_line(
    sites: list[Path], weather: Path, arguments: tuple[str, ...], told: str
) -> None:
    said = command("visits", *sites, "--weather", weather, *EVENING, *arguments)
    assert told in said.refusal


def test_sites_and_weather_files_are_matched(
    sites: list[Path], weather: Path, tmp_path: Path
) -> None:
    three = command("visits", *sites, *(["--weather", weather] * 3), *EVENING)
    assert "do not match" in three.refusal
    twin = write_site(tmp_path / "twin.toml")
    same = command("visits", sites[0], twin, "--weather", weather, *EVENING)
    assert "two site files are of" in same.refusal
    book = command("visits", *sites, "--book", *EVENING)
    assert "past winters" in book.refusal


def test_without_sites_it_runs_the_demo_and_says_so() -> None:
    said = demo("visits")
    assert said.code == 0
    assert "invented demo orchard" in said.err
    assert "Varkessa Bank" in said.out
    assert demo("visits", "--book").code == 0


def test_sites_may_be_given_by_option_too(sites: list[Path], weather: Path) -> None:
    plain = command("visits", *sites, "--weather", weather, *EVENING)
    named = [part for site in sites for part in ("--site", site)]
    assert command("visits", *named, "--weather", weather, *EVENING).out == plain.out


def test_many_sites_are_asked_a_few_at_a_time_through_one_session(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The session knows which service has failed; the first site goes alone to learn it."""
    paths = []
    for number in range(9):
        path = write_site(tmp_path / f"s{number}.toml")
        text = re.sub(r'(?m)^name = ".*"', f'name = "S{number}"', path.read_text(), count=1)
        path.write_text(text)
        paths.append(path)
    asking: set[int] = set()
    together: list[int] = []
    sessions = []

    def slow(*_: object, session: object = None, **__: object) -> None:
        asking.add(threading.get_ident())
        together.append(len(asking))
        sessions.append(session)
        time.sleep(0.05)
        asking.discard(threading.get_ident())
        raise SourceError("no answer")

    monkeypatch.setattr("spraywindow.sources.get_forecast", slow)
    monkeypatch.setenv("SPRAYWINDOW_CACHE", str(tmp_path / "cache"))
    said = command("visits", *paths, "--now", "2026-01-12 18:00").refusal
    assert all(f"S{number}: no answer" in said for number in range(9))
    assert len(sessions) == 9
    assert None not in sessions
    assert len({id(session) for session in sessions}) == 1
    assert together[0] == 1
    assert 1 < max(together) <= 4

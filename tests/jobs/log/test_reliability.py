"""What came of the chances that were said: judged, counted, kept, and used by the next answer."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from sklearn.metrics import brier_score_loss
from statsmodels.stats.proportion import proportion_confint

from spraywindow.errors import InputError
from spraywindow.jobs.log.judge import judge_all, outcomes_of
from spraywindow.jobs.log.reliability import Reliability, reliability_text
from spraywindow.jobs.slots.answer import evening
from spraywindow.jobs.slots.receipt import make_receipt
from spraywindow.record.file import open_record
from spraywindow.record.outcomes import Outcome, keep_outcomes
from spraywindow.show.json import to_json
from spraywindow.site.site import Site, read_site
from spraywindow.spray.learned import Learned
from tests.command import command
from tests.site_files import write_site, write_weather

pytestmark = pytest.mark.usefixtures("no_service")
ISSUED = pd.Timestamp("2026-01-12 18:00", tz="Europe/Athens")
NOW = pd.Timestamp("2026-01-25 12:00", tz="UTC").to_pydatetime()
MORNING = dt.datetime(2026, 1, 13, 9, tzinfo=dt.timezone(dt.timedelta(hours=2)))


def weather(wind_ms: float = 2.0) -> pd.DataFrame:
    """Mild, dry, overcast hours with a light wind, which is as given on 13 January."""
    index = pd.date_range("2026-01-01", periods=24 * 31, freq="h", tz="UTC", name="time")
    values = {"temp_c": 12.0, "dew_point_c": 3.0, "wind_ms": 2.0, "rain_mm": 0.0, "cloud": 0.9}
    table = pd.DataFrame(values, index=index)
    table.loc["2026-01-12 22:00":"2026-01-13 21:00", "wind_ms"] = wind_ms  # type: ignore[misc]
    return table


@pytest.fixture
def site(tmp_path: Path) -> Site:
    return read_site(write_site(tmp_path / "ossa.toml"))


def receipt(site: Site, wind_ms: float = 2.0) -> str:
    table = weather(wind_ms)
    return to_json(make_receipt(evening(site, table, ISSUED, "oil"), table))


def first_of(text: str, site: Site, came: pd.DataFrame) -> Outcome:
    """What came of the chance of the first morning."""
    return outcomes_of(text, site, came, now=NOW)[0]


def test_a_no_go_that_would_have_held_is_a_case_like_a_go(site: Site) -> None:
    # 3 CCR 6960: 3 to 10 mph; 6 m/s at 10 m is more at this height
    windy = receipt(site, 6.0)
    said = json.loads(windy)
    assert (said["verdict"], said["start"]) == ("no-go", None)
    assert 0.0 < said["chance"] < 0.6
    first = said["chances"][0]
    assert said["chance"] == first["chance"] == pytest.approx(first["general"], abs=6e-4)
    came = first_of(windy, site, weather())
    assert (came.held, came.said, came.days_ahead) == (True, said["chance"], 1)
    assert came.start.isoformat() == first["start"]
    assert first_of(windy, site, weather(6.0)).held is False
    # only the hours of the job count, to the value at their end, not the rest of the day
    start, end = (pd.Timestamp(first[key]) for key in ("start", "end"))
    assert end - start == pd.Timedelta(hours=2)
    after = weather()
    after.loc[after.index > end.tz_convert("UTC"), "wind_ms"] = 15.0
    assert first_of(windy, site, after) == came


def test_what_cannot_be_told_and_receipts_of_before_teach_nothing(site: Site) -> None:
    text = receipt(site)
    early = pd.Timestamp("2026-01-13 18:00", tz="UTC").to_pydatetime()
    assert outcomes_of(text, site, weather(), now=early) == ()  # the dry hours are not over
    before = json.loads(text)
    chances = before.pop("chances")
    assert outcomes_of(json.dumps(before), site, weather(), now=NOW) == ()
    for wrong, match in (
        ({"end": "noon"}, "end: not a time"),
        ({"general": 1.2}, "chances: not a chance"),
        ({"start": 3}, "chances: not a list of jobs"),
    ):
        torn = before | {"chances": [chances[0] | wrong]}
        with pytest.raises(InputError, match=match):
            outcomes_of(json.dumps(torn), site, weather(), now=NOW)


def test_every_day_ahead_that_has_a_figure_is_judged_once(site: Site) -> None:
    text = receipt(site)
    found = outcomes_of(text, site, weather(), now=NOW)
    days = [each.days_ahead for each in found]
    assert days[:4] == [1, 2, 3, 4]
    assert len(found) == len(json.loads(text)["chances"])
    again = judge_all([("1", text)], site, weather(), now=NOW, kept=found[:2])
    assert again.receipts[0].outcomes == found[2:]
    assert again.reliability.overall == Reliability.of(found).overall
    anew = judge_all([("1", text)], site, weather(), now=NOW, kept=found[:2], anew=True)
    assert anew.receipts[0].outcomes == found


def test_what_is_learned_is_of_the_general_chance_not_of_the_shifted(site: Site) -> None:
    own = replace(site, learned=Learned(-1.0, 1.0, 60))
    said, general = (json.loads(receipt(each)) for each in (own, site))
    assert said["chance"] < general["chance"]
    both = zip(said["chances"], general["chances"], strict=True)
    assert all(one["general"] == other["general"] > one["chance"] for one, other in both)


def outcomes(count: int = 300) -> list[Outcome]:
    rng = np.random.default_rng(5)
    said = rng.random(count)
    return [
        Outcome(
            str(number), "Ossa Terrace", "oil",
            MORNING - dt.timedelta(days=1 + number % 3), MORNING, chance, chance,
            bool(rng.random() < chance),
        )
        for number, chance in enumerate(said.tolist())
    ]  # fmt: skip


def test_the_counts_and_scores_are_those_of_others() -> None:
    some = outcomes()
    found = Reliability.of(some)
    assert sum(each.cases for each in found.tenths) == 300
    for each in found.tenths:
        inside = [o for o in some if each.low <= o.said < each.high]
        assert (each.cases, each.held) == (len(inside), sum(o.held for o in inside))
        low, high = proportion_confint(each.held, each.cases, method="wilson")
        assert (each.share.low, each.share.high) == pytest.approx((low, high))
    overall = found.overall
    assert overall is not None
    held, said = np.array([o.held for o in some]), np.array([o.said for o in some])
    assert overall.brier == pytest.approx(brier_score_loss(held, said))
    base = brier_score_loss(held, np.full(300, held.mean()))
    assert overall.skill == pytest.approx(1 - overall.brier / base)
    assert [each.days_ahead for each in found.by_day] == [1, 2, 3]
    second = [o for o in some if o.days_ahead == 2]
    assert found.by_day[1].brier == pytest.approx(
        brier_score_loss([o.held for o in second], [o.said for o in second])
    )
    assert "2 days   100" in reliability_text(found)


def test_where_all_held_no_skill_is_made_up() -> None:
    found = Reliability.of([replace(each, held=True) for each in outcomes(5)])
    assert found.overall is not None
    assert np.isnan(found.overall.skill)
    assert "all alike" in reliability_text(found)
    assert reliability_text(Reliability.of([])) == ""


def test_receipts_are_judged_once_kept_and_used_by_the_next_answer(tmp_path: Path) -> None:
    site = write_site(tmp_path / "ossa.toml")
    dry = write_weather(tmp_path / "dry.csv", "2026-01-01", 31)
    wet = write_weather(
        tmp_path / "wet.csv", "2026-01-01", 31,
        rain={f"2026-01-{day:02d}T10:00": 9.0 for day in range(4, 28)},
    )  # fmt: skip
    receipts: list[object] = []
    for day in range(4, 16):
        file = tmp_path / f"{day}.json"
        made = command("slots", "--site", site, "--weather", dry, "--material", "copper", "--now",
                       f"2026-01-{day:02d} 18:00", "--receipt", file)  # fmt: skip
        assert made.code == 0
        receipts += ["--receipt", file]
    ask = ("log", "judge", "--site", site, "--weather", wet, "--now", "2026-01-28 12:00")
    unkept = command(*ask, *receipts)
    assert "not kept: there is no record yet" in unkept.err
    added = command("log", "add", "--site", site, "--material", "copper", "--product", "Copper 40",
                    "--start", "2026-01-10 10:00", "--end", "12:00", "--now", "2026-01-10 18:00",
                    "--no-fetch")  # fmt: skip
    assert added.code == 0
    first = command(*ask, *receipts, "--json").answer["reliability"]
    assert (first["overall"]["cases"], first["overall"]["held"]) == (72, 0)  # six days each
    assert [each["days_ahead"] for each in first["by_day"]] == [1, 2, 3, 4, 5, 6]
    again = command(*ask)  # none of the receipts is at hand any more
    assert again.out.startswith("Ossa Terrace: no entry carries a receipt; what was judged")
    assert max(map(len, again.out.splitlines())) <= 80
    assert command(*ask, "--json").answer["reliability"] == first
    assert "sound" in command("log", "check", "--site", site).out

    tonight = ("slots", "--site", site, "--weather", dry, "--material", "oil", "--now")
    chances = []
    for now in ("2026-01-13 18:00", "2026-01-25 18:00"):  # eight mornings, then all 17 had come
        answer = command(*tonight, now, "--json").answer
        chances.append(answer["tomorrow"]["chance"])
        source = answer["chance_from"]
        words = command(*tonight, now).words
        if now < "2026-01-20":
            assert (source["in_use"], source["cases"]) == ("general", 8)
            assert "8 of this site's own answers judged so far, they count from 10 on" in words
        else:
            assert (source["in_use"], source["cases"], source["weight"]) == ("own", 17, 0.3)
            assert "drawn to this site's own 17 answers, which weigh 30 %" in words
    assert chances[1] < chances[0]


def test_a_record_that_takes_nothing_is_told_and_the_answer_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site_file = write_site(tmp_path / "ossa.toml")
    dry = write_weather(tmp_path / "dry.csv", "2026-01-01", 31)
    file = tmp_path / "r.json"
    command("slots", "--site", site_file, "--weather", dry, "--now", "2026-01-12 18:00",
            "--receipt", file)  # fmt: skip
    with open_record(tmp_path / "ossa.db", create=True) as opened:
        keep_outcomes(opened, [(outcomes(1)[0], "{}")], now=NOW)
        opened.connection.execute("BEGIN IMMEDIATE")  # another program is at it
        monkeypatch.setattr("spraywindow.record.file.BUSY_MS", 1)
        said = command("log", "judge", "--site", site_file, "--weather", dry, "--receipt", file,
                       "--now", "2026-01-25 12:00")  # fmt: skip
    assert "is not kept:" in said.err
    assert "another program keeps writing to it" in said.err
    assert "1 of 1 go answers held" in said.text

"""How far it goes: large files, long records, many blocks or sites; costs as ratios to less.

Run by hand: ``BOUNDS=0.05 pytest tests/test_benchmark_bounds.py --benchmark-enable -s`` tries a
twentieth of each size, without BOUNDS the whole (2 GB on the disk, minutes). Each command runs in
a process of its own; less is a tenth of the size. Sizes are wishes of this project, no source.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from spraywindow.record.entry import Application
from spraywindow.record.file import begin
from spraywindow.record.record import Record, _insert
from spraywindow.sources.files.rows import ROWS_LIMIT

SIZE = float(os.environ.get("BOUNDS", "1"))
SAMPLES = Path(__file__).resolve().parents[1] / "data" / "samples"
SITE = SAMPLES / "orchard.toml"
NOW = ("--now", "2026-01-12T18:00")
MEASURE = """
import json, resource, subprocess, sys
done = subprocess.run([sys.executable, *sys.argv[1:]], capture_output=True, text=True)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
seconds = used.ru_utime + used.ru_stime
print(json.dumps([seconds, used.ru_maxrss / 1024, done.returncode, done.stderr]))
"""
READ = "import sys; from spraywindow.sources.files.read_file import read_weather; "
READ += "print(len(read_weather(sys.argv[1])))"


def spent(*words: object) -> tuple[float, float, int, str]:
    """Processor seconds, peak memory [MB], exit code and what was said of a Python process."""
    done = subprocess.run([sys.executable, "-c", MEASURE, *map(str, words)], capture_output=True,
                          text=True, check=True)  # fmt: skip
    seconds, memory_mb, code, said = json.loads(done.stdout)
    return seconds, memory_mb, code, said


def told(name: str, size: int, words: Callable[[int], tuple[object, ...]]) -> tuple[float, float]:
    """Print and give how many times as long, and as much memory, ten times the size takes."""
    size = max(10, int(size * SIZE))
    start = min(spent("-c", "import spraywindow.main")[0] for _ in range(3))
    less, more = spent(*words(size // 10)), spent(*words(size))
    assert less[2] == more[2] == 0, more[3]
    longer = (more[0] - start) / max(less[0] - start, 0.05)
    larger = more[1] / less[1]
    print(f"\n{name}, {size:,}: {more[0]:.1f} s, {more[1]:.0f} MB; ten times the size takes "
          f"{longer:.1f} times the seconds, {larger:.1f} times the memory")  # fmt: skip
    return longer, larger


def weather_file(path: Path, rows: int, freq: str = "h") -> Path:
    index = pd.date_range("1900-01-01", periods=rows, freq=freq, tz="UTC", unit="s")
    table = pd.DataFrame(
        {"temp_c": 9.5, "dew_point_c": 2.25, "wind_ms": 1.5, "rain_mm": 0.0},
        index=index.strftime("%Y-%m-%dT%H:%MZ").rename("time"),
    )
    table["temp_c"] += np.arange(rows) % 24 / 4
    table.to_csv(path)
    return path


def test_a_century_of_hours(benchmark, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    benchmark.pedantic(lambda: None)
    longer, larger = told("hours of a file", 100 * 8766, lambda size: (
        "-c", READ, weather_file(tmp_path / f"{size}.csv", size)))  # fmt: skip
    assert longer < 20
    assert larger < 10


def test_a_file_beyond_the_bound_is_refused_within_its_memory(benchmark, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    benchmark.pedantic(lambda: None)
    path = weather_file(tmp_path / "large.csv", ROWS_LIMIT // 10, "min")
    head, body = path.read_bytes().split(b"\n", 1)
    at_bound, wanted = 0, max(2e9 * SIZE, 15 * len(body))  # 2 GB hold far more than 10 million rows
    with path.open("wb") as file:
        file.write(head + b"\n")
        while at_bound < wanted:
            at_bound += file.write(body)
    seconds, memory_mb, code, said = spent("-c", READ, path)
    print(f"\n{at_bound / 1e9:.2f} GB refused in {seconds:.1f} s within {memory_mb:.0f} MB")
    assert code != 0
    assert f"more than {ROWS_LIMIT:,} rows" in said
    assert "choose rows with file.where or split the file" in said
    assert memory_mb < 1000


def site_of(path: Path, blocks: int) -> Path:
    head, rest = SITE.read_text(encoding="utf-8").split("[[blocks]]", 1)
    one, rest = rest.split("[[blocks]]", 1)
    many = "".join("[[blocks]]" + one.replace("rows 1-4", f"row {n}") for n in range(blocks))
    path.write_text(head + many + rest[rest.index("[season]") :], encoding="utf-8")
    return path


def test_blocks_of_a_site_in_feed(benchmark, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    benchmark.pedantic(lambda: None)
    longer, larger = told("feed, blocks", 500, lambda size: (
        "-m", "spraywindow", "feed", "--site", site_of(tmp_path / f"{size}.toml", size),
        "--weather", SAMPLES / "forecast.csv", *NOW))  # fmt: skip
    assert longer < 20
    assert larger < 2


def sites_of(folder: Path, sites: int) -> Path:
    text = SITE.read_text(encoding="utf-8")
    folder.mkdir()
    for number in range(sites):
        own = text.replace("Varkessa Bank", f"Bank {number}")
        own = own.replace("longitude = 21.4", f"longitude = {21.4 + number / 1000:.3f}")
        (folder / f"{number}.toml").write_text(own, encoding="utf-8")
    return folder


def test_sites_of_a_plan_of_visits(benchmark, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    benchmark.pedantic(lambda: None)
    longer, larger = told("visits, sites", 200, lambda size: (
        "-m", "spraywindow", "visits", sites_of(tmp_path / f"{size}", size),
        "--weather", SAMPLES / "forecast.csv", *NOW))  # fmt: skip
    assert longer < 20
    assert larger < 2


def record_of(path: Path, entries: int) -> Path:
    first = dt.datetime(2000, 1, 5, 8, tzinfo=dt.UTC)

    def entry(number: int) -> Application:
        start = first + dt.timedelta(hours=2 * number)
        return Application(
            site="Varkessa Bank" if number % 20 else "elsewhere", timezone="Europe/Athens",
            start=start, material="oil", product="an oil", product_l=4.0, share=0.5,
        )  # fmt: skip

    def fill(record: Record) -> None:
        # one by one each would read all before it: the rows go in as `add` writes them
        for number in range(entries):
            one = entry(number)
            body = one.model_dump_json(exclude={"failed_share", "failed_blocks"})
            _insert(record.connection, one.finished, "application", None, "", body, None)

    if not path.exists():
        begin(path, lambda record: (record.connection.execute("BEGIN"), fill(record),
                                    record.connection.execute("COMMIT")))  # fmt: skip
    return path


@pytest.mark.parametrize("job", ["check", "list", "add"])
def test_entries_of_a_record(benchmark, tmp_path: Path, job: str) -> None:  # type: ignore[no-untyped-def]
    benchmark.pedantic(lambda: None)
    more: tuple[object, ...] = () if job == "check" else ("--site", SITE, *NOW)
    if job == "add":
        more += ("--material", "copper", "--start", "2026-01-12 10:00", "--end", "12:00",
                 "--amount", "4 L", "--no-fetch")  # fmt: skip
    longer, larger = told(f"log {job}, entries", 100_000, lambda size: (
        "-m", "spraywindow", "log", job, "--record", record_of(tmp_path / f"{size}.db", size),
        *more))  # fmt: skip
    assert longer < 20
    assert larger < 10

"""How many site-hours a second one core works: one at a time, a block, and from store to store.

Run by hand: ``pytest tests/region/test_benchmark_region.py --benchmark-enable -s``. Times are CPU
times of the process that works (others share the machine); the hours are those of the invented
demo record, both materials, sun included.
"""

from __future__ import annotations

import resource
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from pytest_benchmark.fixture import BenchmarkFixture

from spraywindow.place import Place
from spraywindow.region.score import score_region
from spraywindow.region.stores import KEEP_FREED, run_region
from spraywindow.region.tables import coordinates
from spraywindow.sources.demo.samples import demo_winters
from spraywindow.spray.catalogue import COPPER, OIL
from spraywindow.spray.hours import score_hours
from spraywindow.winters.outlook import season_policy
from tests.season_values import MATERIALS, NEED, PROGRAM

distributed = pytest.importorskip("distributed")
EVENING_H = 529
BOTH = (OIL, COPPER)
ASK = partial(score_region, material=BOTH)
PLACE = Place(37.8, 21.4, 60.0, "Europe/Athens")


@pytest.fixture(scope="module")
def record() -> pd.DataFrame:
    return demo_winters()


def cpu_s(work: Callable[[], object], rounds: int = 3) -> float:
    """Least CPU time of several runs [s]."""
    times = []
    for _ in range(rounds):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def region(record: pd.DataFrame, sites: int, hours: int = EVENING_H) -> xr.Dataset:
    """Sites that have other days of the record, lazily, a thousand a chunk."""
    import dask.array as da

    draw = np.random.default_rng(1)
    starts = draw.integers(0, (len(record) - hours) // 24, sites) * 24
    places = [
        Place(a, b, 100.0, "Europe/Athens")
        for a, b in zip(draw.uniform(36, 40, sites), draw.uniform(20, 25, sites), strict=True)
    ]
    index = record.index[:hours]
    values = {name: record[name].to_numpy(dtype=np.float32) for name in record.columns}
    few = max(min(1000, 900_000 // hours), 1)

    def chunk(name: str, first: int) -> np.ndarray:
        return np.stack([values[name][s : s + hours] for s in starts[first : first + few]], axis=1)

    def lazily(name: str) -> da.Array:
        parts = [
            da.from_delayed(
                _delayed(chunk)(name, first), (hours, min(few, sites - first)), np.float32
            )
            for first in range(0, sites, few)
        ]
        return da.concatenate(parts, axis=1)

    return xr.Dataset(
        {name: (("time", "site"), lazily(name)) for name in record.columns},
        coordinates(index, places, [f"site {number}" for number in range(sites)]),
    )


def _delayed(work: Callable[..., np.ndarray]) -> Callable[..., object]:
    import dask

    return dask.delayed(work)


def store(record: pd.DataFrame, sites: int, path: Path) -> None:
    """The same in a store; no worker has to do with it."""
    import dask

    with dask.config.set(scheduler="synchronous"):
        region(record, sites).to_zarr(path, zarr_format=2, consolidated=False)


def say(what: str, cells: float, seconds: float) -> float:
    rate = cells / seconds / 1e6
    print(f"\n{what}: {rate:.3f} M site-hours a second of one core")
    return rate


def test_one_at_a_time_and_a_block(benchmark: BenchmarkFixture, record: pd.DataFrame) -> None:
    evening = record.iloc[:EVENING_H]
    years = record.iloc[: 3 * 8766]

    def alone(table: pd.DataFrame) -> None:
        for material in BOTH:
            score_hours(table, PLACE, material)

    one = say("one evening at a time", EVENING_H, cpu_s(lambda: alone(evening)))
    say("one site at a time, three years", len(years), cpu_s(lambda: alone(years)))
    few = region(record, 400).load()
    rate = say("a block of 400 evenings", 400 * EVENING_H, cpu_s(lambda: ASK(few)))
    long = region(record, 4, 80_000).load()
    say("4 sites of nine years", 4 * 80_000, cpu_s(lambda: ASK(long)))
    benchmark(ASK, few)
    assert rate > 5 * one


@pytest.fixture(params=[1, 2])
def client(request: pytest.FixtureRequest) -> Iterator[object]:
    import dask

    with (
        dask.config.set({"distributed.nanny.pre-spawn-environ": KEEP_FREED}),
        distributed.LocalCluster(
            n_workers=request.param, threads_per_worker=1, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as own,
    ):
        yield own


def _used() -> tuple[float, float]:
    """CPU time [s] and highest memory [MB] of a worker so far."""
    return time.process_time(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3


def test_from_zarr_to_zarr_is_linear_in_sites_and_bounded_in_memory(
    benchmark: BenchmarkFixture, record: pd.DataFrame, client: object, tmp_path: Path
) -> None:
    own: distributed.Client = client
    address = own.scheduler.address
    store(record, 1000, tmp_path / "warm.zarr")
    run_region(str(tmp_path / "warm.zarr"), tmp_path / "w", ASK, "warm", cluster=address)
    workers = len(own.scheduler_info(n_workers=-1)["workers"])
    highest = []
    for sites in (100, 1000, 10_000):
        source = tmp_path / f"{sites}.zarr"
        store(record, sites, source)
        before = own.run(_used)
        start = time.perf_counter()
        run_region(str(source), tmp_path / f"out {sites}", ASK, "bench", cluster=address)
        wall, after = time.perf_counter() - start, own.run(_used)
        worked = sum(after[each][0] - before[each][0] for each in after)
        highest.append(max(memory for _, memory in after.values()))
        cells = sites * EVENING_H
        say(f"Zarr to Zarr, {workers} workers, {sites} sites", cells, worked)
        print(f"wall {wall:.1f} s, CPU {worked:.1f} s, highest memory {highest[-1]:.0f} MB")
    benchmark.pedantic(lambda: None)
    assert highest[2] < highest[1] + 100  # a hundred sites do not fill a block


def test_what_thirty_winters_of_ten_thousand_sites_would_take(
    benchmark: BenchmarkFixture, record: pd.DataFrame
) -> None:
    import datetime as dt

    long = pd.concat([record, record, record]).iloc[: 30 * 8766]
    long.index = pd.date_range("1995-09-01", periods=len(long), freq="h", tz="UTC", name="time")
    season = cpu_s(
        lambda: season_policy(
            long, PLACE, PROGRAM, MATERIALS, first=dt.date(2026, 12, 1), need=NEED
        ),
        rounds=1,
    )
    sites = region(record, 4, 80_000).load()
    score = cpu_s(lambda: ASK(sites)) / (4 * 80_000) * 30 * 8766
    benchmark.pedantic(lambda: None)
    for what, seconds in (("hours of both materials", score), ("season's policy", season)):
        print(
            f"\n{what}: {seconds:.2f} s a site of thirty winters; extrapolated, 10,000 sites: "
            f"{10_000 * seconds / 3600:.1f} core-hours"
        )
    assert score < season

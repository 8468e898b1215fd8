"""From store to store: killed and gone on with, a hole, a broken chunk, what cannot fit."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from spraywindow.errors import InputError
from spraywindow.jobs.region.answer import region_text
from spraywindow.region.score import score_region, usable_mornings
from spraywindow.region.stores import Ran, answers, run_region
from spraywindow.region.tables import sites_dataset
from spraywindow.spray.catalogue import COPPER, OIL
from tests.command import command
from tests.conftest import ROOT
from tests.weeks import PLACE, random_weather

distributed = pytest.importorskip("distributed")
SITES = 8
ASK = partial(score_region, material=(OIL,))
FEW = "350.3 MB"
"""So little memory that a block holds two sites."""


def weather(hours: int = 500) -> xr.Dataset:
    tables = [random_weather(seed, hours, 0.01) for seed in range(SITES)]
    return sites_dataset(tables, [PLACE] * SITES, [f"site {n}" for n in range(SITES)])


def stored(path: Path, chunks: dict[str, int], data: xr.Dataset | None = None) -> str:
    whole = weather() if data is None else data
    whole.chunk(chunks).to_zarr(path, zarr_format=2, consolidated=False)
    return str(path)


@pytest.fixture(scope="module")
def cluster() -> Iterator[str]:
    """A scheduler of one's own, as `--cluster` takes it."""
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
    ) as own:
        yield own.scheduler_address


@pytest.fixture(scope="module")
def known() -> xr.Dataset:
    return ASK(weather())


def run(cluster: str, source: str, out: Path, memory: str = FEW, **more: Any) -> Ran:
    return run_region(source, out, ASK, "oil", cluster=cluster, memory=memory, **more)


def same(out: Path, known: xr.Dataset, sites: slice = slice(None)) -> None:
    with answers(out) as found:
        for name in known.data_vars:
            of_both = (each[name].isel(site=sites).to_numpy() for each in (found, known))
            np.testing.assert_array_equal(*of_both, err_msg=str(name))


KILLED = """
import os, signal, sys
from functools import partial
from pathlib import Path
from distributed import LocalCluster
from spraywindow.region import run_region, score_region
from spraywindow.spray import OIL

def shown(done, total):
    if done == 2:
        os.kill(os.getpid(), signal.SIGKILL)

with LocalCluster(n_workers=1, threads_per_worker=1, processes=False,
                  dashboard_address=None) as own:
    run_region(sys.argv[1], Path(sys.argv[2]), partial(score_region, material=(OIL,)), "oil",
               cluster=own.scheduler_address, memory=sys.argv[3], shown=shown)
"""


def test_a_killed_run_goes_on_and_writes_nothing_twice(
    tmp_path: Path, cluster: str, known: xr.Dataset
) -> None:
    source, out = stored(tmp_path / "in.zarr", {"time": 500, "site": 2}), tmp_path / "out.zarr"
    words = [sys.executable, "-c", KILLED, source, str(out), FEW]
    left = subprocess.run(words, env=os.environ | {"PYTHONPATH": str(ROOT)}, check=False)
    assert left.returncode == -9
    with answers(out) as half:
        state = half["site_state"].to_numpy()
        done = state != -1
        assert 4 <= done.sum() < SITES
        assert (half["verdict"].to_numpy()[..., ~done] != 0).all()  # nothing unwritten is go
    chunks = {path: path.stat().st_mtime_ns for path in (out / "site_state").glob("[0-9]*")}
    chunks |= {out / "verdict" / f"0.0.{path.name}": 0 for path in chunks}
    chunks = {path: path.stat().st_mtime_ns for path in chunks}
    ran = run(cluster, source, out, memory="1 GB")  # with whatever memory there is now
    assert (ran.blocks, ran.found) == (4, done.sum() // 2)
    assert {path: path.stat().st_mtime_ns for path in chunks} == chunks
    same(out, known)
    assert run(cluster, source, out).found == 4


def test_a_hole_is_unknown_and_a_broken_chunk_is_named_and_tried_again(
    tmp_path: Path, cluster: str, known: xr.Dataset
) -> None:
    source, out = stored(tmp_path / "in.zarr", {"time": 500, "site": 2}), tmp_path / "out.zarr"
    (tmp_path / "in.zarr" / "wind_ms" / "0.1").unlink()
    broken = tmp_path / "in.zarr" / "rain_mm" / "0.2"
    sound = broken.read_bytes()
    broken.write_bytes(sound[:60])
    ran = run(cluster, source, out)
    ((names, why),) = ran.failed
    assert names == "site 4, site 5"
    assert why
    assert ran.left_out == {"failed": ["site 4", "site 5"]}
    with answers(out) as found:
        assert found["site_state"].to_numpy().tolist() == [0, 0, 0, 0, 4, 4, 0, 0]
        assert (found["verdict"][..., 2:4] != 0).all()  # without wind nothing goes
        assert (found["verdict"][..., 4:6] == -1).all()
    same(out, known, slice(0, 2))
    same(out, known, slice(6, 8))
    broken.write_bytes(sound)
    again = run(cluster, source, out)
    assert (again.found, again.failed) == (3, [])
    same(out, known, slice(4, 8))


def test_chunks_across_time_are_laid_along_it_once_and_netcdf_is_one_file(
    tmp_path: Path, cluster: str, known: xr.Dataset
) -> None:
    source = stored(tmp_path / "in.zarr", {"time": 100, "site": SITES})
    ran = run(cluster, source, tmp_path / "out.zarr")
    assert ran.notes == ["The chunks lie across time: laid along it once (time=-1, site=2)."]
    same(tmp_path / "out.zarr", known)
    weather().to_netcdf(tmp_path / "in.nc")
    run(cluster, str(tmp_path / "in.nc"), tmp_path / "out.nc")
    same(tmp_path / "out.nc", known)
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "in.nc", "in.zarr", "out.nc", "out.zarr",
    ]  # fmt: skip


def test_a_folder_of_files_is_one_region(tmp_path: Path, cluster: str, known: xr.Dataset) -> None:
    (tmp_path / "in").mkdir()
    for number in (0, 4):
        some = weather().isel(site=slice(number, number + 4))
        some.to_netcdf(tmp_path / "in" / f"part{number}.nc")
    run(cluster, str(tmp_path / "in"), tmp_path / "out.zarr")
    same(tmp_path / "out.zarr", known)
    run(cluster, str(tmp_path / "in" / "part*.nc"), tmp_path / "again.zarr", memory="1 GB")
    same(tmp_path / "again.zarr", known)


def test_blocks_answer_as_the_whole_whatever_zones_and_labels_they_hold(
    tmp_path: Path, cluster: str
) -> None:
    zones = ["Pacific/Kiritimati", "Asia/Kolkata", "Europe/Athens", "America/Los_Angeles"]
    bearing = ("site", [np.nan] * 4 + [90.0, 180.0, np.nan, 0.0])
    data = weather().assign_coords(
        timezone=("site", [zone for zone in zones for _ in "ab"]), neighbours_deg=bearing,
        label=("site", ["oil"] * 4 + ["copper"] * 4),
    )  # fmt: skip
    source = stored(tmp_path / "in.zarr", {"time": 500, "site": 2}, data)
    labels = {"copper": COPPER, "oil": OIL}
    for name, ask in (
        ("hours", partial(score_region, material=labels)),
        ("mornings", partial(usable_mornings, material=(OIL, COPPER))),
    ):
        ran = run_region(source, tmp_path / name, ask, name, cluster=cluster, memory=FEW)
        assert (ran.blocks, ran.failed) == (4, [])
        same(tmp_path / name, ask(data))


def test_what_cannot_fit_or_stands_in_the_way_is_refused(tmp_path: Path, cluster: str) -> None:
    source = stored(tmp_path / "in.zarr", {"time": 500, "site": SITES})
    with pytest.raises(InputError, match=r"one stored chunk.*store it in chunks time=-1, site=2"):
        run(cluster, source, tmp_path / "out.zarr")
    with pytest.raises(InputError, match=r"one site; .*; give more --memory"):
        run(cluster, source, tmp_path / "out.zarr", memory="350 MB")
    with pytest.raises(InputError, match="another store or run stands there"):
        run(cluster, source, tmp_path / "in.zarr")
    with pytest.raises(InputError, match="nothing to read"):
        run(cluster, str(tmp_path / "none*.nc"), tmp_path / "out.zarr")
    assert not (tmp_path / "out.zarr").exists()


def test_the_command_names_who_is_left_out_and_draws_a_map(
    tmp_path: Path, cluster: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = weather()
    data["rain_mm"][:, 3] = np.nan
    source = stored(tmp_path / "in.zarr", {"time": -1, "site": SITES}, data)
    out, plot = tmp_path / "out.zarr", tmp_path / "map.svg"
    words = ("region", source, "--out", out, "--ask", "mornings", "--cluster", cluster)
    said = command(*words, "--plot", plot)
    assert "out.zarr: 1 blocks of sites" in said.text
    assert "! rain unknown: site 3\n" in said.text
    drawn = plot.read_text(encoding="utf-8")
    assert "Usable share of days, oil" in drawn
    assert "8 sites" in drawn
    again = command("region", source, "--out", out, "--ask", "hours", "--cluster", cluster)
    assert "another store or run stands there" in again.refusal
    refused = command("region", source, "--out", tmp_path / "x.zarr", "--ask", "hours", "--plot",
                      plot)  # fmt: skip
    assert "--plot of hours" in refused.refusal


TABLE = """name,latitude,longitude,elevation,timezone
Elm,38.0,23.0,100,Europe/Athens
Moss,28.6,77.2,216,Asia/Kolkata
"""


def test_a_table_of_sites_fetches_the_past_of_each_once(
    tmp_path: Path, cluster: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from spraywindow.errors import SourceError
    from spraywindow.jobs.region.sites import GIVEN

    asked: list[float] = []

    def record(place: Any, start: pd.Timestamp, end: pd.Timestamp) -> pd.DataFrame:
        asked.append(place.latitude)
        if place.latitude < 30 and len(asked) < 3:
            raise SourceError("the service does not answer")
        index = pd.date_range(start, end, freq="h")
        table = random_weather(3, len(index)).set_axis(index)
        table = table.assign(solar_wm2=100.0)[list(GIVEN)]
        table.attrs["source"] = {"credit": "Lark Office"}
        return table

    monkeypatch.setattr("spraywindow.sources.past.reanalysis_record", record)
    monkeypatch.setattr("spraywindow.call.call.PAST_WINTERS", 0)
    (tmp_path / "sites.csv").write_text(TABLE)
    words = ("region", tmp_path / "sites.csv", "--out", tmp_path / "out.zarr", "--ask", "mornings",
             "--cluster", cluster, "--now", "2026-09-15 12:00")  # fmt: skip
    said = command(*words)
    assert "Moss: the service does not answer" in said.text
    assert "! rain unknown: Moss" in said.text
    assert asked == [38.0, 28.6]
    (tmp_path / "out.zarr").rename(tmp_path / "old.zarr")
    (tmp_path / "out.zarr.weather").rename(tmp_path / "kept")
    (tmp_path / "kept").rename(tmp_path / "out.zarr.weather")
    said = command(*words)
    assert asked == [38.0, 28.6, 28.6]
    assert "rain unknown" not in said.text
    (tmp_path / "sites.csv").write_text(TABLE.replace("28.6", "98.6").replace("100", "high"))
    refused = command(*words).refusal
    assert "line 2: could not convert string to float" in refused
    assert "line 3: latitude out of range" in refused


def test_without_the_extra_it_is_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("spraywindow.jobs.region.command.NEEDED", ("dask", "no_such_library"))
    refused = command("region", "in.zarr", "--out", tmp_path / "out.zarr").refusal
    assert 'needs no_such_library, an extra; pip install "spraywindow[region]"' in refused


def test_the_seasons_shares_are_summed_up(tmp_path: Path) -> None:
    out = tmp_path / "out.zarr"
    shares = xr.Dataset(
        {"finish_share": ("site", [1.0, 0.5, np.nan, 0.25])}, attrs={"credit": "me"}
    )
    shares.to_zarr(out, zarr_format=2, consolidated=False)
    text = region_text(Ran(blocks=1), out)
    assert "3 sites: the program fits in 50 % of the winters at the middle one, 25 % at the" in text
    assert "worst, 100 % at the best; in 8 of 10 or more at 1\nWeather: me\n! The label" in text

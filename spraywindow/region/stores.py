"""From store to store: blocks of sites that are worked, written whole, and never twice.

Each block is one task of a Dask cluster: it reads its sites, asks the question and writes the
answer into its own chunks of a Zarr store; the site's state is written last, and says that the
block is done. A run that was killed goes on with the blocks that are missing. A block that fails
is unknown, as what was never written is, and named.
"""

from __future__ import annotations

import glob
import json
import os
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import product
from pathlib import Path
from typing import Any, Literal

import dask
import numpy as np
import xarray as xr
import zarr

from spraywindow.errors import InputError
from spraywindow.region.blocks import FAILED, FILL, STATES, USED
from spraywindow.region.reading import Region, read_region
from spraywindow.region.score import CHUNK_CELLS, few_sites

Ask = Callable[[xr.Dataset], xr.Dataset]
Sel = dict[str, slice]
WORKER_BYTES = 350_000_000
"""What a worker has loaded before it works, and the kernel's own arrays of a part."""
COPIES = 3
"""How often a block's values stand in memory while it is worked."""
KEEP_FREED = {"MALLOC_TRIM_THRESHOLD_": 2**30, "MALLOC_MMAP_THRESHOLD_": 2**30,
              "OMP_NUM_THREADS": 1}  # fmt: skip
"""Environment of a worker: memory that is given back at once is faulted in again at each block."""
FORMAT: Literal[2] = 2
"""Of Zarr: what was never written reads as the fill value, which is unknown."""
NETCDF = (".nc", ".nc4", ".netcdf")


@dataclass
class Ran:
    """What a run did.

    Attributes
    ----------
    blocks, found : int
        Blocks in all, and those that an earlier run had done.
    failed : list of (str, str)
        Sites of a block that failed, and why.
    left_out : dict of str to list of str
        Sites that are not used, by why.
    notes : list of str
    """

    blocks: int = 0
    found: int = 0
    failed: list[tuple[str, str]] = field(default_factory=list)
    left_out: dict[str, list[str]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


def run_region(
    source: str,
    out: Path,
    ask: Ask,
    what: str,
    *,
    cluster: str | None = None,
    workers: int = 1,
    memory: str = "2 GB",
    shown: Callable[[int, int], None] = lambda done, total: None,
) -> Ran:
    """Ask a question of every site of a store, and write the answers into another.

    Parameters
    ----------
    source : str
        A Zarr store, a netCDF file, a folder of either, or a pattern of names.
    out : Path
        A Zarr store; netCDF where the name says so. One that an earlier run left is gone on with.
    ask : callable
        Such as `score_region` with its material; it is sent to the workers.
    what : str
        What is asked, in full: a store that answers something else is refused.
    cluster : str, optional
        Address of a Dask scheduler; by default processes of one thread are started here.
    workers, memory
        How many, and how much memory each may use.
    shown : callable
        Called with the blocks done and all of them.

    Raises
    ------
    InputError
        The input cannot be read or understood, does not fit the memory, or something else stands
        at `out`.
    """
    paths = found_paths(source)
    data = opened(paths)
    region = read_region(data)
    ran = Ran(notes=list(region.notes))
    final = out.suffix.lower() in NETCDF
    store = out.with_name(out.name + ".zarr-part") if final else out
    if final and out.exists():
        raise InputError("the file exists", where=str(out), cure="choose another name")
    mark = json.dumps({"source": paths, "asked": what})
    begun = _begun(store, mark)
    sizes, across = block_sizes(data, region, _bytes(memory), str(source))
    if begun:
        sizes = begun  # whatever memory and workers are now
    with _client(cluster, workers, memory) as client:
        if across:
            ran.notes.append(across)
            paths = (_laid_along(data, region, sizes, store),)
            data = opened(paths)
        if not begun:
            _lay_out(ask(data.chunk({**sizes, region.time: -1})), store, mark, sizes)
        state = xr.open_zarr(store, consolidated=False, mask_and_scale=False)["site_state"]
        blocks = list(_blocks(data, sizes))
        undone = [sel for sel in blocks if not _done(state.isel(_of(state, sel)).to_numpy())]
        ran.blocks, ran.found = len(blocks), len(blocks) - len(undone)
        _work(client, paths, store, ask, undone, ran, shown)
    if across:
        shutil.rmtree(paths[0])
    _tell_left_out(store, ran)
    zarr.consolidate_metadata(str(store), zarr_format=FORMAT)  # as readers expect it
    if final:
        _to_netcdf(store, out)
    return ran


def found_paths(source: str) -> tuple[str, ...]:
    """The stores and files that a name means."""
    path = Path(source)
    if path.is_dir() and not _is_zarr(path):
        inside = [p for p in sorted(path.iterdir()) if _is_zarr(p) or p.suffix.lower() in NETCDF]
    elif path.exists():
        inside = [path]
    else:
        inside = [Path(name) for name in sorted(glob.glob(source))]
    if not inside:
        raise InputError("nothing to read", where=source, expected="a Zarr store or netCDF files")
    return tuple(str(each.resolve()) for each in inside)


def _is_zarr(path: Path) -> bool:
    return any((path / name).exists() for name in ("zarr.json", ".zgroup", ".zmetadata"))


@lru_cache(maxsize=2)
def opened(paths: tuple[str, ...], by_chunks: bool = True) -> xr.Dataset:
    """Open stores or files lazily; `by_chunks` as Dask arrays, several files in any case."""
    engine = "zarr" if _is_zarr(Path(paths[0])) else None
    try:
        if len(paths) == 1:
            options: dict[str, Any] = {"consolidated": False} if engine else {}
            chunks: Any = {} if by_chunks else None
            return xr.open_dataset(paths[0], engine=engine, chunks=chunks, **options)
        return xr.open_mfdataset(
            list(paths), engine=engine, chunks={}, combine="by_coords", data_vars="minimal",
            coords="minimal", compat="override", join="outer",
        )  # fmt: skip
    except (OSError, ValueError, KeyError) as error:
        words = " ".join(str(error).split())[:200]
        raise InputError(f"{paths[0]}: cannot be read; {words}") from error


def _bytes(memory: str) -> int:
    from dask.utils import parse_bytes

    try:
        return int(parse_bytes(memory))
    except ValueError as error:
        raise InputError("no size", where="--memory", expected='"4 GB"', got=memory) from error


def block_sizes(
    data: xr.Dataset, region: Region, memory: int, where: str
) -> tuple[dict[str, int], str]:
    """Sites of a block along each dimension; and what to say where the chunks lie across.

    Raises
    ------
    InputError
        If one site, or one stored chunk, does not fit the memory of a worker.
    """
    hours = region.data.sizes["time"]
    item = sum(region.data[each.variable].dtype.itemsize for each in region.given)
    cell = COPIES * (item + 12)
    room = (memory - WORKER_BYTES) // cell
    stored = _stored(data, region)
    best = {dim: size for dim, size in few_sites(region, min(room, CHUNK_CELLS)).items()
            if dim != "time"}  # fmt: skip
    wanted = ", ".join(["time=-1", *(f"{dim}={size}" for dim, size in best.items())])
    chunk = int(np.prod([stored.get(dim, 1) for dim in ("time", *best)]))
    if room < hours or chunk > room:
        raise InputError(
            "one site" if room < hours else "one stored chunk",
            where=where,
            expected=f"at most {max(room, 0)} hours times sites in {memory / 1e9:.1f} GB",
            got=hours if room < hours else chunk,
            cure="give more --memory" if room < hours else f"store it in chunks {wanted}",
        )
    if all(stored.get(dim, 1) <= size for dim, size in best.items()):
        # every stored chunk is read by one block
        return {dim: size // stored.get(dim, 1) * stored.get(dim, 1)
                for dim, size in best.items()}, ""  # fmt: skip
    whole = {dim: max(size, stored.get(dim, 1)) for dim, size in best.items()}
    if hours * int(np.prod(list(whole.values()))) <= room:
        return whole, ""
    if stored.get("time", hours) >= hours:
        return best, ""  # along time already; a chunk is read more than once
    return best, f"The chunks lie across time: laid along it once ({wanted})."


def _stored(data: xr.Dataset, region: Region) -> dict[str, int]:
    """Sizes of the chunks that the temperature is stored in; 1 where any rows can be read."""
    each = data[region.variable("temp_c")]
    told = each.encoding.get("preferred_chunks") or {}
    stored = {str(dim): int(told.get(dim, 1)) for dim in each.dims}
    whole = len(each.chunksizes.get(region.time, (1,))) == 1
    stored["time"] = stored.pop(str(region.time)) if told or not whole else each.sizes[region.time]
    return stored


def _begun(store: Path, mark: str) -> dict[str, int]:
    """The blocks of a store that an earlier run of the same left; anything else is refused."""
    if not store.exists():
        return {}
    told: Mapping[str, Any] = {}
    if _is_zarr(store):
        told = xr.open_zarr(store, consolidated=False, chunks=None).attrs
    if told.get("run") != mark:
        raise InputError(
            "another store or run stands there", where=str(store), cure="choose another name"
        )
    return dict(json.loads(told["blocks"]))


def _lay_out(lazy: xr.Dataset, store: Path, mark: str, sizes: dict[str, int]) -> None:
    """An empty store: all is unknown until it is written. It appears whole or not at all."""
    lazy.attrs |= {"run": mark, "blocks": json.dumps(sizes)}
    half = store.with_name(store.name + ".begun")
    shutil.rmtree(half, ignore_errors=True)
    lazy.to_zarr(half, mode="w", compute=False, consolidated=False, zarr_format=FORMAT)
    os.replace(half, store)


def _laid_along(data: xr.Dataset, region: Region, sizes: dict[str, int], store: Path) -> str:
    """Rechunk once into a store beside: all of time, few sites."""
    beside = store.with_name(store.name + ".along")
    shutil.rmtree(beside, ignore_errors=True)
    told = {**data[region.time].encoding, **data[region.time].attrs}.get("bounds")
    used = {told, *(each.variable for each in region.given)}
    kept = data.drop_vars([name for name in data.data_vars if name not in used])
    kept = kept.chunk({**sizes, region.time: -1})
    for each in kept.variables.values():
        each.encoding.pop("chunks", None)
        each.encoding.pop("preferred_chunks", None)
    kept.to_zarr(beside, mode="w", consolidated=False, zarr_format=FORMAT)
    return str(beside)


def _blocks(data: xr.Dataset, sizes: dict[str, int]) -> Iterator[Sel]:
    starts = [range(0, data.sizes[dim], size) for dim, size in sizes.items()]
    for corner in product(*starts):
        yield {
            dim: slice(start, min(start + size, data.sizes[dim]))
            for start, (dim, size) in zip(corner, sizes.items(), strict=True)
        }


def _of(data: xr.Dataset | xr.DataArray, sel: Sel) -> Sel:
    return {dim: rows for dim, rows in sel.items() if dim in data.dims}


def _done(state: np.ndarray[Any, Any]) -> bool:
    return bool(((state != FILL) & (state != FAILED)).all())


@contextmanager
def _client(cluster: str | None, workers: int, memory: str) -> Iterator[Any]:
    """The user's scheduler, or processes of one thread here."""
    from distributed import Client, LocalCluster

    with ExitStack() as held:
        if cluster is None:
            environment = {"distributed.nanny.pre-spawn-environ": KEEP_FREED}
            held.enter_context(dask.config.set(environment))
            cluster = held.enter_context(
                LocalCluster(
                    n_workers=workers, threads_per_worker=1, processes=True,
                    memory_limit=memory, dashboard_address=None,
                )
            )  # fmt: skip
        try:
            client = Client(cluster, timeout=30)
        except (OSError, ValueError, TimeoutError) as error:
            words = " ".join(str(error).split())[:200]
            raise InputError(f"no Dask scheduler at {cluster}: {words}") from error
        yield held.enter_context(client)


def _work(
    client: Any, paths: tuple[str, ...], store: Path, ask: Ask, undone: list[Sel], ran: Ran,
    shown: Callable[[int, int], None],
) -> None:  # fmt: skip
    """Work the blocks, a few ahead of the workers; what fails is named, and unknown."""
    from distributed import as_completed

    done = ran.found
    shown(done, ran.blocks)
    waiting = iter(undone)
    sent: dict[Any, Sel] = {}

    def send() -> Any:
        sel = next(waiting, None)
        if sel is None:
            return None
        future = client.submit(work_block, paths, str(store.resolve()), ask, sel, pure=False)
        sent[future.key] = sel
        return future

    ahead = max(2 * len(client.scheduler_info(n_workers=-1)["workers"]), 2)
    results = as_completed([future for future in (send() for _ in range(ahead)) if future])
    for future in results:
        sel = sent.pop(future.key)
        error = future.exception()
        if error is not None:
            _fail(store, sel, error, ran)
        done += 1
        shown(done, ran.blocks)
        more = send()
        if more is not None:
            results.add(more)


def work_block(paths: tuple[str, ...], store: str, ask: Ask, sel: Sel) -> None:
    """Read one block of sites, ask, and write what they answer; their state comes last."""
    data = opened(paths, by_chunks=False)
    with dask.config.set(scheduler="synchronous"):
        answer = ask(data.isel(_of(data, sel)).load())
    answer = answer.drop_vars(list(answer.coords))
    for part in (answer.drop_vars("site_state"), answer[["site_state"]]):
        part.to_zarr(store, region=_of(part, sel), consolidated=False, zarr_format=FORMAT)


def _fail(store: Path, sel: Sel, error: BaseException, ran: Ran) -> None:
    """Name a block that could not be read, worked or written; a fault of the program is raised."""
    from distributed import KilledWorker

    if not isinstance(error, OSError | RuntimeError | ValueError | KilledWorker):
        raise error
    state = xr.open_zarr(store, consolidated=False, chunks=None)[["site_state"]]
    own = state.isel(_of(state, sel)).drop_vars(list(state.coords))
    failed = xr.full_like(own, FAILED, dtype=np.int8)
    failed.to_zarr(store, region=_of(own, sel), consolidated=False, zarr_format=FORMAT)
    names = _names(xr.open_zarr(store, consolidated=False, chunks=None).isel(_of(state, sel)))
    ran.failed.append((_few(list(names.ravel())), " ".join(str(error).split())[:200]))


def _names(data: xr.Dataset) -> np.ndarray[Any, Any]:
    """What the sites of an answer are called, in the order of their state."""
    state = data["site_state"]
    if len(state.dims) == 1 and state.dims[0] in data.coords:
        return np.asarray(data[state.dims[0]].to_numpy().astype(str))
    north, east = (
        data[name].broadcast_like(state).transpose(*state.dims).to_numpy()
        for name in ("latitude", "longitude")
    )
    words = [f"{a:.2f} {b:.2f}" for a, b in zip(north.ravel(), east.ravel(), strict=True)]
    return np.array(words).reshape(state.shape)


def _few(names: list[str], most: int = 5) -> str:
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")


def _tell_left_out(store: Path, ran: Ran) -> None:
    data = xr.open_zarr(store, consolidated=False, chunks=None, mask_and_scale=False)
    state, names = data["site_state"].to_numpy(), _names(data)
    for code, why in enumerate(STATES):
        if code != USED and (state == code).any():
            ran.left_out[why] = [str(name) for name in names[state == code]]


def _to_netcdf(store: Path, out: Path) -> None:
    """Copy the finished store into one netCDF file, chunk by chunk."""
    half = out.with_name(out.name + ".part")
    with xr.open_zarr(store, consolidated=False) as data:
        for each in data.variables.values():
            each.encoding = {"_FillValue": each.encoding.get("_FillValue")}
        data.to_netcdf(half)
    os.replace(half, out)
    shutil.rmtree(store)


def answers(store: Path) -> xr.Dataset:
    """What a run wrote; flags stay numbers, -1 where unknown."""
    if store.suffix.lower() in NETCDF:
        data = xr.open_dataset(store, mask_and_scale=False)
    else:
        data = xr.open_zarr(store, consolidated=False, chunks=None, mask_and_scale=False)
    return data

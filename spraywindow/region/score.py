"""A dataset of sites in, one of answers out, lazily where the input is lazy."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields, replace
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from spraywindow.errors import InputError
from spraywindow.region.blocks import (
    CELLS,
    FILL,
    STATES,
    STRETCH_H,
    Question,
    Sites,
    hours_of,
    mornings_of,
)
from spraywindow.region.reading import Region, credit_of, read_region, time_zones
from spraywindow.spray import (
    DURATION_H,
    Access,
    Conditions,
    Material,
    Setting,
    job_hours,
    score_arrays,
)
from spraywindow.version import __version__
from spraywindow.weather import Sun

Asked = Material | Sequence[Material] | Mapping[str, Material]
Groups = tuple[tuple[Setting, tuple[Material, ...]], ...]
Outputs = list[tuple[str, tuple[str, ...]]]
LABEL, BEARING = "label", "neighbours_deg"
"""Coordinate that says which of several labels a site goes by."""
FLAG = {"_FillValue": np.int8(FILL)}
NUMBER = {"_FillValue": np.float32(np.nan)}
ISSUED = ("forecast_reference_time", "reference_datetime", "reference_time")


def score_region(
    dataset: xr.Dataset,
    material: Asked,
    stage: int | None = None,
    *,
    setting: Setting | None = None,
    forecast_from: pd.Timestamp | None = None,
    limits: bool = False,
) -> xr.Dataset:
    """Score each hour of each site for a material, as `score_hours` does for one site.

    Parameters
    ----------
    dataset : Dataset
        Hourly weather over ``time`` and any other dimensions (``site``, or ``y`` and ``x``,
        ``member``), by the CF conventions: see `spraywindow.region.reading.read_region`.
        Coordinates named as the fields of `Setting` give each site its own.
    material : Material, sequence of Material, or mapping of str to Material
        A sequence gives a dimension ``material``; of a mapping the coordinate ``label`` says
        which one a site goes by.
    stage : int, optional
        BBCH stage of the trees; without it the stage is not judged.
    setting : Setting, optional
        Of all sites, where no coordinate gives their own.
    forecast_from : Timestamp, optional
        Hours from here on are forecast. Default: the dataset's scalar coordinate
        ``forecast_reference_time``, else none.
    limits : bool
        Whether to give the margins of each limit too.

    Returns
    -------
    Dataset
        Lazy where the input is (Dask); the same values for any chunks. ``verdict`` (flags: 0 go,
        1 no-go, the fill value -1 unknown), ``margin`` (float32; NaN where unknown), ``held_by``
        (flags: number of the limit that holds the hour), ``site_state`` (flags: whether the site
        is used, and why not), and with `limits` ``limit_margin`` over ``limit`` too, NaN where
        that limit is unknown or not judged.

    Raises
    ------
    InputError, WeatherError
        As of `read_region`, `spraywindow.spray.kernel.score_arrays`, and of a label or a setting
        that cannot be.
    """
    region = read_region(dataset)
    question, group = _asked(dataset, region, material, stage, setting, forecast_from)
    outputs: Outputs = [(name, ("material", "time")) for name in ("verdict", "margin", "held_by")]
    outputs.append(("site_state", ()))
    if limits:
        outputs.append(("limit_margin", ("material", "limit", "time")))
    out = _over_sites(region, question, group, None, hours_of, outputs, {"limits": limits})
    out["verdict"].attrs = {
        "long_name": "whether to spray in the hour",
        "flag_values": np.array([0, 1], dtype=np.int8), "flag_meanings": "go no-go",
    }  # fmt: skip
    out["margin"].attrs = {
        "long_name": "least margin: 0 at a limit, 1 a comfort width inside", "units": "1",
    }  # fmt: skip
    out["held_by"].attrs = {
        "long_name": "limit that holds the hour",
        "flag_values": np.arange(len(question.names), dtype=np.int8),
        "flag_meanings": " ".join(name.replace(" ", "_") for name in question.names),
    }
    if limits:
        out["limit_margin"].attrs = {"long_name": "margin of the limit", "units": "1"}
        out = out.assign_coords(limit=list(question.names))
    return _finished(out, dataset, region, question, material)


def usable_mornings(
    dataset: xr.Dataset,
    material: Asked,
    stage: int | None = None,
    *,
    setting: Setting | None = None,
    access: Access | None = None,
    duration_h: float = DURATION_H,
    forecast_from: pd.Timestamp | None = None,
) -> xr.Dataset:
    """Say of each local day of each site whether it has a slot, and of a forecast its chance.

    Parameters
    ----------
    dataset, material, stage, setting, forecast_from
        As for `score_region`; local days need ``timezone``, as a coordinate or an attribute.
    access : Access, optional
        When the sites may be worked. Default: daylight.
    duration_h : float
        Length of the job [h].

    Returns
    -------
    Dataset
        Over ``day`` (each site's own local days) in place of time: ``usable`` (flags: 1 a job
        fits, 0 none does, the fill value -1 unknown), ``margin`` of the day's best job (NaN
        without one), ``start`` of it (local clock hour), ``chance`` and ``chance_dry`` of the
        likeliest job as `day_chances` gives them (of a record 1 or 0), ``site_state``. A record
        whose rain is unknown in more than one hour in twenty is left out: its days are unknown.

    Raises
    ------
    InputError, WeatherError
        As of `score_region`; no or an unknown time zone; a forecast of more than a year.
    """
    region = read_region(dataset)
    question, group = _asked(dataset, region, material, stage, setting, forecast_from)
    number, zones = time_zones(region)
    question = replace(
        question, zones=zones, access=access or Access(), need_h=job_hours(duration_h)
    )
    if question.forecast_from is not None and len(question.stretches()) > 1:
        raise InputError(
            "a forecast that is too long", expected=f"at most {STRETCH_H} hours",
            got=len(question.index), cure="cut it, or score it as a record",
        )  # fmt: skip
    outputs = [
        (name, ("material", "day"))
        for name in ("usable", "margin", "start", "chance", "chance_dry")
    ]
    out = _over_sites(
        region, question, group, number, mornings_of, [*outputs, ("site_state", ())], {}
    )
    out = out.assign_coords(day=question.days)
    out["day"].attrs = {"long_name": "local day"}
    out["usable"].attrs = {
        "long_name": "whether a job fits the day",
        "flag_values": np.array([0, 1], dtype=np.int8), "flag_meanings": "not_usable usable",
    }  # fmt: skip
    for name, words, unit in (
        ("margin", "least margin of the day's best job", "1"),
        ("start", "local clock hour at which it starts", "h"),
        ("chance", "chance that the likeliest job stays within the hard limits", "1"),
        ("chance_dry", "chance that the wanted dry hours follow it too", "1"),
    ):
        out[name].attrs = {"long_name": words, "units": unit}
    return _finished(out, dataset, region, question, material)


def _asked(
    dataset: xr.Dataset,
    region: Region,
    material: Asked,
    stage: int | None,
    setting: Setting | None,
    forecast_from: pd.Timestamp | None,
) -> tuple[Question, xr.DataArray]:
    """The question, and the number of each site's group."""
    groups, number = _groups(region, material, setting or Setting())
    names: dict[str, None] = {}
    for own, labels in groups:
        for label in labels:
            names |= dict.fromkeys(_judged(region, own, label, stage)[0])
    question = Question(
        region.given, region.index, groups, tuple(names), stage,
        _issued(dataset) if forecast_from is None else forecast_from,
    )  # fmt: skip
    return question, number


def _groups(region: Region, material: Asked, setting: Setting) -> tuple[Groups, xr.DataArray]:
    """Settings and labels that the sites have, and the number of each site's own."""
    coords = region.data.coords
    own = [field.name for field in fields(Setting) if field.name in coords]
    keys = [coords[name] for name in own]
    of_all = _of_all(material)
    if isinstance(material, Mapping):
        if LABEL not in coords:
            expected = f"one of {', '.join(material)} for each site"
            raise InputError(f"several materials without a coordinate {LABEL}", expected=expected)
        keys.append(coords[LABEL])
    elif not own:
        return ((setting, of_all),), xr.zeros_like(region.latitude, dtype=np.int64)
    keys = list(xr.broadcast(*(key.reset_coords(drop=True) for key in keys)))
    rows = pd.MultiIndex.from_arrays([key.to_numpy().ravel() for key in keys])
    numbers, kinds = pd.factorize(rows)
    groups = []
    for kind in kinds:
        values: dict[str, Any] = {name: float(each) for name, each in zip(own, kind, strict=False)}
        if BEARING in values:
            bearing = values[BEARING]
            values[BEARING] = () if np.isnan(bearing) else (bearing,)
        labels = of_all
        if isinstance(material, Mapping):
            if str(kind[-1]) not in material:
                raise InputError(f"no material for the {LABEL}", got=kind[-1])
            labels = (material[str(kind[-1])],)
        groups.append((replace(setting, **values), labels))
    return tuple(groups), keys[0].copy(data=numbers.reshape(keys[0].shape))


def _of_all(material: Asked) -> tuple[Material, ...]:
    """Materials that every site is asked about."""
    if isinstance(material, Material):
        return (material,)
    return () if isinstance(material, Mapping) else tuple(material)


def _judged(
    region: Region, setting: Setting, material: Material, stage: int | None
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Limits that the dataset's columns let be judged, and the others."""
    nothing = np.full(2, np.nan)
    conditions = Conditions(
        dict.fromkeys(region.columns, nothing), Sun(nothing, nothing, nothing), setting
    )
    scores = score_arrays(conditions, material, stage)
    return scores.names, scores.not_judged


def _issued(dataset: xr.Dataset) -> pd.Timestamp | None:
    """The hour of issue that the dataset tells, None where it tells none."""
    for name, each in dataset.coords.items():
        if name in ISSUED or each.attrs.get("standard_name") in ISSUED:
            if each.size != 1 or not np.issubdtype(each.dtype, np.datetime64):
                raise InputError(f"{name} is no single time", cure="give forecast_from")
            return pd.Timestamp(each.to_numpy().ravel()[0]).tz_localize("UTC").ceil("h")
    return None


def _over_sites(
    region: Region,
    question: Question,
    group: xr.DataArray,
    zone: xr.DataArray | None,
    work: Any,
    outputs: Outputs,
    options: Mapping[str, Any],
) -> xr.Dataset:
    """Let the kernel work every block of sites."""
    data, notes = _whole_time(region)
    variables = [data[each.variable] for each in question.given]
    where = [region.latitude, region.longitude, region.elevation, group,
             xr.zeros_like(group) if zone is None else zone]  # fmt: skip
    sizes = {"material": question.materials, "limit": len(question.names)}
    if question.zones:
        sizes["day"] = len(question.days)
    results = xr.apply_ufunc(
        _block,
        *variables,
        *where,
        kwargs={"question": question, "work": work, "options": options,
                "core": [len(dims) for _, dims in outputs]},
        input_core_dims=[["time"] if "time" in each.dims else [] for each in variables]
        + [[]] * len(where),
        output_core_dims=[list(dims) for _, dims in outputs],
        output_dtypes=[_KIND.get(name, np.float32) for name, _ in outputs],
        dask="parallelized",
        keep_attrs=False,
        dask_gufunc_kwargs={"output_sizes": sizes},
    )  # fmt: skip
    order = region.data[region.variable("temp_c")].dims
    out = xr.Dataset()
    for (name, core), result in zip(outputs, results, strict=True):
        lead = core[:-1]
        rest = [core[-1] if dim == "time" else dim for dim in order if core or dim != "time"]
        more = [dim for dim in result.dims if dim not in (*lead, *rest)]
        out[name] = result.transpose(*lead, *rest, *more)
        out[name].encoding = dict(FLAG if name in _KIND else NUMBER)
    out.attrs["notes"] = " ".join([*region.notes, *notes])
    return out


_KIND = {name: np.int8 for name in ("verdict", "held_by", "site_state", "usable")}


def _whole_time(region: Region) -> tuple[xr.Dataset, list[str]]:
    """The data with all of time in one chunk, and few sites in each."""
    data = region.data
    if len(data.chunksizes.get("time", ())) <= 1:
        return data, []
    data = data.chunk(dict(zip(("time", *region.dims), (-1, *few_sites(region)), strict=True)))
    return data, ["The chunks lay across time: they are laid along it once."]


def few_sites(region: Region, cells: int = 20 * CELLS) -> list[int]:
    """Sizes of a chunk along the dimensions of the sites, all of time in it."""
    left = max(cells // region.data.sizes["time"], 1)
    sizes: list[int] = []
    for dim in reversed(region.dims):
        sizes.insert(0, min(region.data.sizes[dim], left))
        left = max(left // sizes[0], 1)
    return sizes


def _block(
    *arrays: NDArray[Any],
    question: Question,
    work: Any,
    options: Mapping[str, Any],
    core: Sequence[int],
) -> tuple[NDArray[Any], ...]:
    """One block as apply_ufunc hands it on, time last where there is one."""
    count, hours = len(question.given), len(question.index)
    shapes = [
        array.shape[:-1] if number < count and array.shape[-1:] == (hours,) else array.shape
        for number, array in enumerate(arrays)
    ]
    loop = np.broadcast_shapes(*shapes)

    def beside(array: NDArray[Any]) -> NDArray[Any]:
        return np.broadcast_to(array, loop).reshape(-1)

    found = {
        each.ours: np.moveaxis(np.broadcast_to(array, (*loop, hours)), -1, 0).reshape(hours, -1)
        for each, array in zip(question.given, arrays, strict=False)
    }
    latitude, longitude, elevation, group, zone = (beside(each) for each in arrays[count:])
    sites = Sites(latitude, longitude, elevation, group.astype(int), zone.astype(int))
    out = []
    for result, axes in zip(work(question, found, sites, **options), core, strict=True):
        whole = result.reshape(*result.shape[:axes], *loop)
        out.append(np.moveaxis(whole, range(axes), range(-axes, 0)))
    return tuple(out)


def _finished(
    out: xr.Dataset, dataset: xr.Dataset, region: Region, question: Question, material: Asked
) -> xr.Dataset:
    """With coordinates and attributes."""
    out["site_state"].attrs = {
        "long_name": "whether the site is used, and why not",
        "flag_values": np.arange(len(STATES), dtype=np.int8),
        "flag_meanings": " ".join(STATES),
    }
    out = out.assign_coords({
        name: each for name, each in region.data.coords.items()
        if set(each.dims) <= set(out.dims) and name not in out.coords
    })  # fmt: skip
    for name in ("latitude", "longitude", "elevation"):
        out = out.assign_coords({name: getattr(region, name)})
    out["latitude"].attrs = {"standard_name": "latitude", "units": "degrees_north"}
    out["longitude"].attrs = {"standard_name": "longitude", "units": "degrees_east"}
    out["elevation"].attrs = {"standard_name": "surface_altitude", "units": "m"}
    if isinstance(material, Material | Mapping):
        out = out.isel(material=0, drop=True)
    else:
        out = out.assign_coords(material=[each.name for each in material])
    labels = {each.name: each for _, materials in question.groups for each in materials}
    not_judged = {
        name
        for setting, materials in question.groups
        for each in materials
        for name in _judged(region, setting, each, question.stage)[1]
    }
    notes = out.attrs["notes"]
    out.attrs = {
        "Conventions": "CF-1.11",
        "title": "Hours to spray dormant stone-fruit trees",
        "source": f"spraywindow {__version__}",
        "credit": credit_of(dataset),
        "limits": json.dumps({
            name: [asdict(limit) for limit in material.limits] for name, material in labels.items()
        }),
        "not_judged": ", ".join(sorted(not_judged)),
        "comment": notes,
    }  # fmt: skip
    return out

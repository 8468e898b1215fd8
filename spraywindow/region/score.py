"""A dataset of sites in, one of answers out, lazily where the input is lazy."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields, replace
from typing import Any, NamedTuple

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
LABEL, BEARING = "label", "neighbours_deg"
"""Coordinates of a site: which of several labels it goes by; a bearing that has neighbours."""
ISSUED = ("forecast_reference_time", "reference_datetime", "reference_time")
CHUNK_CELLS = 20 * CELLS
"""Hours times sites of a chunk where we choose it."""


class Output(NamedTuple):
    """One variable of an answer: flags where it has meanings, else numbers in a unit."""

    name: str
    over: tuple[str, ...]
    words: str
    unit: str = "1"
    meanings: tuple[str, ...] | None = None

    @property
    def kind(self) -> type[np.int8] | type[np.float32]:
        """Its type."""
        return np.float32 if self.meanings is None else np.int8

    @property
    def fill(self) -> np.int8 | np.float32:
        """What stands for unknown."""
        return np.float32(np.nan) if self.meanings is None else np.int8(FILL)

    @property
    def attrs(self) -> dict[str, Any]:
        """CF attributes."""
        if self.meanings is None:
            return {"long_name": self.words, "units": self.unit}
        values = np.arange(len(self.meanings), dtype=np.int8)
        meanings = " ".join(meaning.replace(" ", "_") for meaning in self.meanings)
        return {"long_name": self.words, "flag_values": values, "flag_meanings": meanings}


STATE = Output("site_state", (), "whether the site is used, and why not", meanings=STATES)


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
    question, group = asked(dataset, region, material, stage, setting, forecast_from)
    over = ("material", "time")
    outputs = [
        Output("verdict", over, "whether to spray in the hour", meanings=("go", "no-go")),
        Output("margin", over, "least margin: 0 at a limit, 1 a comfort width inside"),
        Output("held_by", over, "limit that holds the hour", meanings=question.names),
        STATE,
    ]
    if limits:
        words = "margin of the limit: 0 at it, 1 a comfort width inside"
        outputs.append(Output("limit_margin", ("material", "limit", "time"), words))
    out = over_sites(region, question, group, None, hours_of, outputs, {"limits": limits})
    if limits:
        out = out.assign_coords(limit=list(question.names))
    return finished(out, dataset, region, question, material)


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
    question, group = asked(dataset, region, material, stage, setting, forecast_from)
    number, zones = time_zones(region)
    question = replace(
        question, zones=zones, access=access or Access(), need_h=job_hours(duration_h)
    )
    if question.forecast_from is not None and len(question.stretches()) > 1:
        raise InputError(
            "a forecast that is too long", expected=f"at most {STRETCH_H} hours",
            got=len(question.index), cure="cut it, or score it as a record",
        )  # fmt: skip
    over = ("material", "day")
    outputs = [
        Output("usable", over, "whether a job fits the day", meanings=("not usable", "usable")),
        Output("margin", over, "least margin of the day's best job"),
        Output("start", over, "local clock hour at which that job starts", "h"),
        Output("chance", over, "chance that the likeliest job stays within the hard limits"),
        Output("chance_dry", over, "chance that the wanted dry hours follow it too"),
        STATE,
    ]
    out = over_sites(
        region, question, group, number, mornings_of, outputs, {}, day=len(question.days)
    ).assign_coords(day=question.days)
    out["day"].attrs = {"long_name": "local day"}
    return finished(out, dataset, region, question, material)


def asked(
    dataset: xr.Dataset,
    region: Region,
    material: Asked,
    stage: int | None,
    setting: Setting | None,
    forecast_from: pd.Timestamp | None,
) -> tuple[Question, xr.DataArray]:
    """The question, and the number of each site's group."""
    groups, number = _groups(region, material, setting or Setting())
    # the numbers of limits are those of all labels, whichever sites a block happens to have
    every = material.values() if isinstance(material, Mapping) else _of_all(material)
    kinds = [setting or Setting()]
    if BEARING in region.data.coords:
        kinds.append(replace(kinds[0], neighbours_deg=(0.0,)))
    names = dict.fromkeys(
        name for each in every for own in kinds for name in _judged(region, own, each, stage)[0]
    )
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
    if isinstance(material, Mapping):
        if LABEL not in coords:
            expected = f"one of {', '.join(material)} for each site"
            raise InputError(f"several materials without a coordinate {LABEL}", expected=expected)
        keys.append(coords[LABEL])
    elif not own:
        return ((setting, _of_all(material)),), xr.zeros_like(region.latitude, dtype=np.int64)
    keys = list(xr.broadcast(*(key.reset_coords(drop=True) for key in keys)))
    rows = pd.MultiIndex.from_arrays([key.to_numpy().ravel() for key in keys])
    numbers, kinds = pd.factorize(rows)
    groups = []
    for kind in kinds:
        values: dict[str, Any] = {name: float(each) for name, each in zip(own, kind, strict=False)}
        if BEARING in values:
            bearing = values[BEARING]
            values[BEARING] = () if np.isnan(bearing) else (bearing,)
        if not isinstance(material, Mapping):
            labels = _of_all(material)
        elif str(kind[-1]) in material:
            labels = (material[str(kind[-1])],)
        else:
            raise InputError(f"no material for the {LABEL}", got=kind[-1])
        groups.append((replace(setting, **values), labels))
    return tuple(groups), keys[0].copy(data=numbers.reshape(keys[0].shape))


def _of_all(material: Material | Sequence[Material]) -> tuple[Material, ...]:
    """Materials that every site is asked about."""
    return (material,) if isinstance(material, Material) else tuple(material)


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


def over_sites(
    region: Region,
    question: Question,
    group: xr.DataArray,
    zone: xr.DataArray | None,
    work: Any,
    outputs: Sequence[Output],
    options: Mapping[str, Any],
    **sizes: int,
) -> xr.Dataset:
    """Let the kernel work every block of sites.

    Parameters
    ----------
    region, question
    group, zone : DataArray
        Numbers of each site's group and time zone.
    work : callable
        Takes the question, arrays [hour, site] by what they give, the sites and `options`, and
        gives an array of each output, [..., site].
    outputs : sequence of Output
    options : mapping
    **sizes : int
        Of the outputs' further dimensions.
    """
    data, notes = _whole_time(region)
    variables = [data[each.variable] for each in question.given]
    where = [region.latitude, region.longitude, region.elevation, group,
             xr.zeros_like(group) if zone is None else zone]  # fmt: skip
    sizes = {"material": question.materials, "limit": len(question.names), **sizes}
    own = {dim for output in outputs for dim in output.over}
    results = xr.apply_ufunc(
        _block,
        *variables,
        *where,
        kwargs={"question": question, "work": work, "options": options,
                "core": [len(output.over) for output in outputs]},
        input_core_dims=[["time"] if "time" in each.dims else [] for each in variables]
        + [[]] * len(where),
        output_core_dims=[list(output.over) for output in outputs],
        output_dtypes=[output.kind for output in outputs],
        dask="parallelized",
        keep_attrs=False,
        dask_gufunc_kwargs={"output_sizes": {d: n for d, n in sizes.items() if d in own}},
    )  # fmt: skip
    order = region.data[region.variable("temp_c")].dims
    out = xr.Dataset()
    for output, result in zip(outputs, results, strict=True):
        # the last of its own dimensions stands where time stood
        last = output.over[-1:] if set(output.over) - {"material"} else ()
        rest = [each for dim in order for each in (last if dim == "time" else (dim,))]
        lead = [dim for dim in output.over if dim not in last]
        further = [dim for dim in result.dims if dim not in (*lead, *rest)]
        out[output.name] = result.transpose(*lead, *rest, *further)
        out[output.name].attrs = output.attrs
        out[output.name].encoding = {"_FillValue": output.fill}
    out.attrs["comment"] = " ".join([*region.notes, *notes])
    return out


def _whole_time(region: Region) -> tuple[xr.Dataset, list[str]]:
    """The data with all of time in one chunk, and few sites in each."""
    data = region.data
    if len(data.chunksizes.get("time", ())) <= 1:
        return data, []
    return data.chunk(few_sites(region)), [
        "The chunks lay across time: they are laid along it once."
    ]


def few_sites(region: Region, cells: int = CHUNK_CELLS) -> dict[Any, int]:
    """Sizes of a chunk with all of time, and as many sites as make so many cells."""
    sizes, left = {"time": -1}, max(cells // region.data.sizes["time"], 1)
    for dim in reversed(region.dims):
        sizes[str(dim)] = min(region.data.sizes[dim], left)
        left = max(left // sizes[str(dim)], 1)
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


def finished(
    out: xr.Dataset, dataset: xr.Dataset, region: Region, question: Question, material: Asked
) -> xr.Dataset:
    """With coordinates and attributes; without the dimension of materials where one is asked."""
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
    out.attrs = {
        "Conventions": "CF-1.11",
        "title": "Hours to spray dormant stone-fruit trees",
        "source": f"spraywindow {__version__}",
        "credit": credit_of(dataset),
        "limits": json.dumps({
            name: [asdict(limit) for limit in each.limits] for name, each in labels.items()
        }),
        "not_judged": ", ".join(sorted(not_judged)),
        **out.attrs,
    }  # fmt: skip
    return out

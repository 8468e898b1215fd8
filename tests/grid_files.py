"""Small GRIB2 files, written by ecCodes in the form that forecast centres publish.

They are invented: the form (keys, kinds of steps, units, packing) is that of open forecasts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import NamedTuple

import eccodes
import numpy as np

NORTH, WEST, STEP, ROWS, COLUMNS = 39.0, 21.0, 0.25, 5, 9
LATITUDE = NORTH - STEP * np.arange(ROWS)
LONGITUDE = WEST + STEP * np.arange(COLUMNS)
Values = float | np.ndarray


class Message(NamedTuple):
    """One field: short name, hours of its step from the run on, values in the unit of ecCodes."""

    name: str
    start: int
    end: int
    values: Values
    member: int | None = None
    run: int = 20260112


def instant(name: str, values: dict[int, Values], member: int | None = None) -> list[Message]:
    return [Message(name, step, step, value, member) for step, value in values.items()]


def weather(
    steps: Sequence[int],
    rain_m: dict[tuple[int, int], Values],
    *,
    member: int | None = None,
    temp: Callable[[int], Values] = lambda step: 280.0 + step / 10,
) -> list[Message]:
    """What a table needs, at these steps; `rain_m` over (start, end)."""
    out = instant("2t", {step: temp(step) for step in steps}, member)
    out += instant("2d", {step: np.asarray(temp(step)) - 5.0 for step in steps}, member)
    out += instant("10u", dict.fromkeys(steps, 3.0), member)
    out += instant("10v", dict.fromkeys(steps, -4.0), member)
    return out + [Message("tp", *span, value, member) for span, value in rain_m.items()]


def write_grib(path: Path, messages: Iterable[Message], **keys: int | float | str) -> Path:
    """Write the messages one after another; `keys` are set in each at the end."""
    with path.open("wb") as file:
        for message in messages:
            handle = eccodes.codes_new_from_samples(
                "regular_ll_sfc_grib2", eccodes.CODES_PRODUCT_GRIB
            )
            given = {
                "centre": "ecmf", "dataDate": message.run, "dataTime": 0,
                "Ni": COLUMNS, "Nj": ROWS,
                "latitudeOfFirstGridPointInDegrees": NORTH,
                "latitudeOfLastGridPointInDegrees": LATITUDE[-1],
                "longitudeOfFirstGridPointInDegrees": WEST,
                "longitudeOfLastGridPointInDegrees": LONGITUDE[-1],
                "iDirectionIncrementInDegrees": STEP, "jDirectionIncrementInDegrees": STEP,
            }  # fmt: skip
            if message.member is not None:
                given |= {"productDefinitionTemplateNumber": 1}
            given |= {"shortName": message.name}
            if message.member is not None:
                given |= {"number": message.member}
            given |= {"startStep": message.start, "endStep": message.end, "bitsPerValue": 24}
            for key, value in (given | keys).items():
                eccodes.codes_set(handle, key, value)
            values = np.broadcast_to(np.asarray(message.values, dtype=float), (ROWS, COLUMNS))
            if np.isnan(values).any():
                eccodes.codes_set(handle, "bitmapPresent", 1)
                eccodes.codes_set(handle, "missingValue", 1e20)
                values = np.where(np.isnan(values), 1e20, values)
            eccodes.codes_set_values(handle, values.ravel())
            eccodes.codes_write(handle, file)
            eccodes.codes_release(handle)
    return path

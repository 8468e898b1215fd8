"""The winter's program, from the site file's tables and its materials."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from itertools import combinations

from spraywindow.errors import InputError, describe, did_you_mean
from spraywindow.program import MaterialRounds, Program
from spraywindow.site.materials import days_apart, whole_days
from spraywindow.site.problems import Problems
from spraywindow.site.tables import DEFAULT_ROUNDS, ProgramFields, RoundFields
from spraywindow.spray import Material
from spraywindow.trees import winter_start


def material_of(materials: Mapping[str, Material], name: str) -> Material:
    """Give a material by name; `InputError` listing the known ones otherwise."""
    if name not in materials:
        raise InputError(
            "unknown material",
            expected="one of " + ", ".join(materials),
            got=name,
            cure=did_you_mean(name, materials)
            or f'add a table [materials."{name}"] to the site file',
        )
    return materials[name]


def build_program(fields: ProgramFields, materials: Mapping[str, Material]) -> Program:
    """Build the program; three rounds of oil and five of copper where the file has none.

    The days that a label keeps two materials apart count between their rounds.

    Raises
    ------
    InputError
        If a material is unknown or the program contradicts itself; all entries' problems at once.
    """
    entries, problems = [], []
    for each in fields.rounds or DEFAULT_ROUNDS:
        try:
            entries.append(_entry(each, material_of(materials, each.material)))
        except InputError as error:
            problems.append(str(error))
    if problems:
        raise Problems(problems)
    between = whole_days(fields.between)
    apart = [
        (one.material, other.material,
         days_apart(materials[one.material], materials[other.material]))
        for one, other in combinations(entries, 2)
        if one.material != other.material
    ]  # fmt: skip
    return Program(
        entries=tuple(entries),
        between=between,
        tank_mixes=fields.tank_mixes,
        apart=tuple(row for row in apart if row[2] > between),
        metallic_copper_maximum_kg_ha=fields.copper_maximum_kg_ha,
    )


def growing_year(day: dt.date, latitude: float) -> tuple[dt.date, dt.date]:
    """First and last day of the growing year that holds a day."""
    first = winter_start(day, latitude)
    return first, first.replace(year=first.year + 1) - dt.timedelta(days=1)


def refuse_beyond_maxima(program: Program, latitude: float) -> None:
    """Hold what is done to the maxima, one growing year after the other.

    Raises
    ------
    InputError
        If the rounds of a growing year are beyond a maximum of a season.
    """
    days = [day for entry in program.entries for day in entry.days_done]
    problems = [
        describe(line, where=f"program, season from {first}")
        for first, last in sorted({growing_year(day, latitude) for day in days})
        for line in program.done_within(first, last).beyond_maxima
    ]
    if problems:
        raise Problems(problems)


def _entry(fields: RoundFields, material: Material) -> MaterialRounds:
    return MaterialRounds(
        material=fields.material,
        rounds=fields.rounds or material.rounds,
        least_days=whole_days(fields.apart) if fields.apart else material.least_days,
        priority=fields.priority,
        target=fields.target,
        last_stage=material.last_stage,
        season_maximum=fields.season_maximum,
        metallic_copper_per_round_kg_ha=fields.copper_per_round_kg_ha,
        done=fields.done,
        partly_done=fields.partly_done,
    )

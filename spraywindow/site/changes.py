"""A site with one of its keys changed, to try what that would give: "crew.job = 3 h"."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from pydantic import BaseModel, ValidationError

from spraywindow.errors import InputError, did_you_mean, one_line
from spraywindow.site.fields import WEEKDAYS
from spraywindow.site.materials import MaterialFields, whole_days
from spraywindow.site.problems import site_problems
from spraywindow.site.site import Site, refuse_long_job
from spraywindow.site.tables import (
    AccessFields,
    CrewFields,
    PlaceFields,
    ProgramFields,
    RoundFields,
)
from spraywindow.spray import Material

WHERE = "--what-if"
_DAYS = re.compile(r"(\d+) *(?:days?)?")


def changed_site(site: Site, text: str) -> Site:
    """Give the site with one key changed.

    Parameters
    ----------
    site : Site
    text : str
        A key and its value, as in the site file, quotes aside: "access.days = Mon, Tue",
        "rounds.copper = 3", "materials.oil.dry_spell = 48 h". "access = 7 days" and
        "dry_spell = 48 h" (of the materials that want the longest) are short for others.

    Raises
    ------
    InputError
        If it is no such key, or its value cannot be used.
    """
    key, equals, value = (part.strip() for part in text.partition("="))
    value = value.strip("\"'[] ")
    if not (key and equals and value):
        expected = 'a key of the site file and its value, such as "crew.job = 3 h"'
        raise InputError("not a change", where=WHERE, expected=expected, got=text)
    head, _, name = key.removeprefix("program.").partition(".")
    if head in _BY_NAME and name:
        materials = site.program.materials
        bare = name.removesuffix(".dry_spell") if head == "materials" else name
        if bare not in materials or (head == "materials" and bare == name):
            expected = ", ".join(_keys(site))
            raise InputError("cannot be asked", where=WHERE, expected=f"one of {expected}", got=key)
        return _BY_NAME[head](site, bare, value)
    change = _PLAIN.get(key.removeprefix("program."))
    if change is None:
        keys = _keys(site)
        raise InputError(
            "cannot be asked",
            where=WHERE,
            expected="one of " + ", ".join(keys),
            got=key,
            cure=did_you_mean(key, keys),
        )
    return change(site, value)


def _keys(site: Site) -> list[str]:
    """Every key that can be asked for at a site."""
    named = ("rounds.{}", "apart.{}", "materials.{}.dry_spell")
    return [*_PLAIN, *(each.format(name) for each in named for name in site.program.materials)]


def _read(table: type[BaseModel], key: str, fields: Mapping[str, Any]) -> Any:
    """The table with these fields, as the site file's own reader takes them."""
    try:
        return table.model_validate(fields)
    except ValidationError as error:
        raise InputError(one_line(site_problems(error, f"{WHERE}, {key}", {}))) from error


def _access_days(site: Site, value: str) -> Site:
    count = _DAYS.fullmatch(value)
    if count and not 1 <= int(count[1]) <= len(WEEKDAYS):
        expected = "1 to 7 days a week, from Monday on"
        raise InputError("out of range", where=f"{WHERE}, access", expected=expected, got=value)
    names = WEEKDAYS[: int(count[1])] if count else re.findall(r"[^\s,\"']+", value)
    days = _read(AccessFields, "access", {"days": names}).days
    return replace(site, access=replace(site.access, weekdays=frozenset(days)))


def _access_hours(side: str) -> Callable[[Site, str], Site]:
    def change(site: Site, value: str) -> Site:
        old = {"from": site.access.start_h, "until": site.access.end_h}
        clocks = {name: _clock(hour) for name, hour in old.items() if hour is not None}
        read = _read(AccessFields, "access", clocks | {side: value})
        access = replace(site.access, start_h=read.opens, end_h=read.until)
        refuse_long_job(site.job_h, access, where=f"{WHERE}, crew.job")
        return replace(site, access=access)

    return change


def _clock(hour: float) -> str:
    minutes = round(60 * hour)
    return f"{minutes // 60}:{minutes % 60:02}"


def _job(site: Site, value: str) -> Site:
    hours = _read(CrewFields, "crew", {"job": value}).job
    if hours == "auto":
        if site.round_h is None:
            raise InputError('job = "auto" without a sprayer', where=f"{WHERE}, crew.job",
                             expected="also [sprayer], by which the job is timed")  # fmt: skip
        hours = float(site.round_h)
    refuse_long_job(hours, site.access, where=f"{WHERE}, crew.job")
    return replace(site, job_h=hours)


def _of_place(key: str, setting: str) -> Callable[[Site, str], Site]:
    def change(site: Site, value: str) -> Site:
        at = site.place
        own = {
            "latitude": at.latitude, "longitude": at.longitude, "timezone": at.timezone,
            "elevation": f"{at.elevation_m} m",
        }  # fmt: skip
        read = getattr(_read(PlaceFields, "place", own | {key: value}), key)
        return replace(site, setting=replace(site.setting, **{setting: read}))

    return change


def _between(site: Site, value: str) -> Site:
    days = whole_days(_read(ProgramFields, "program", {"between": value}).between)
    return replace(site, program=replace(site.program, between=days))


def _tank_mix(site: Site, value: str) -> Site:
    names = [name.strip(" \"'") for name in re.split(r"[+,]", value)]
    mixes = (*site.program.tank_mixes, tuple(names))
    return replace(site, program=replace(site.program, tank_mixes=mixes))


def _of_round(key: str) -> Callable[[Site, str, str], Site]:
    def change(site: Site, name: str, value: str) -> Site:
        given = int(value) if key == "rounds" and value.isdecimal() else value
        read = _read(RoundFields, f"program.rounds, {name}", {"material": name, key: given})
        new = {"rounds": read.rounds} if key == "rounds" else {"least_days": whole_days(read.apart)}
        entries = tuple(
            replace(entry, **new) if entry.material == name else entry
            for entry in site.program.entries
        )
        return replace(site, program=replace(site.program, entries=entries))

    return change


def _dry_spell_of(site: Site, name: str, value: str) -> Site:
    hours = _read(MaterialFields, f"materials.{name}", {"dry_spell": value}).dry_spell
    return _with(site, {name: site.material(name).with_dry_spell(hours)})


def _dry_spell(site: Site, value: str) -> Site:
    hours = _read(MaterialFields, "materials", {"dry_spell": value}).dry_spell
    every = [site.material(name) for name in site.program.materials]
    longest = max(material.dry_spell_h for material in every)
    return _with(site, {m.name: m.with_dry_spell(hours) for m in every if m.dry_spell_h == longest})


def _with(site: Site, materials: Mapping[str, Material]) -> Site:
    return replace(site, materials={**site.materials, **materials})


_PLAIN: dict[str, Callable[[Site, str], Site]] = {
    "access": _access_days,
    "access.days": _access_days,
    "access.from": _access_hours("from"),
    "access.until": _access_hours("until"),
    "crew.job": _job,
    "place.dew_off": _of_place("dew_off", "dew_off_h"),
    "place.frost_hollow": _of_place("frost_hollow", "frost_hollow_c"),
    "place.shelter": _of_place("shelter", "shelter"),
    "between": _between,
    "tank_mixes": _tank_mix,
    "dry_spell": _dry_spell,
}
_BY_NAME: dict[str, Callable[[Site, str, str], Site]] = {
    "rounds": _of_round("rounds"),
    "apart": _of_round("apart"),
    "materials": _dry_spell_of,
}

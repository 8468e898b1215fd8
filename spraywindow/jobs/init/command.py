"""``spraywindow init``: write a site file to fill in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from spraywindow.call import NowOption, note, parse_now, say

REST_OF_THE_YEAR = """\

# The rest of the year; take the # away from a table to use it.
#
# `spraywindow feed`:
# [feeding]
# dose = "4 cups"                     # per tree and year, in your own measure: cups, g, lb
# fertilizer = "10-10-10 granules"
# nitrogen = "10 %"
# density = "1 kg/L"                  # of the fertilizer, for doses by volume
# parts = 6                           # without it: one a month from flowering to mid-August
# soil = "loam"                       # sand, sandy loam, loam, silt loam, clay
# usual_flowering = "1 Mar"           # or, once it is seen: flowering, a date
# given = [{{ day = {year}-03-08, dose = "1 cup", block = "all trees" }}]
#
# [ground]
# compost = "3 cm"
# mulch = "8 cm"
# trunk_gap = "20 cm"
# bag = "40 L"
#
# `spraywindow hose`:
# [hosing]
# every = "14 days"                   # without a washing rain
# last_wash = {year}-06-20
# last_rain = {year}-05-30              # 5 mm or more
#
# `spraywindow mix`:
# [sprayer]
# tank = "200 L"
# guns = 1
# caught = "2.5 L"                    # a timed catch of one gun, or flow = "5 L/min"
# caught_in = "30 s"
# pruning = "medium"                  # well pruned, medium, dense
#
# [mix.oil]                           # from the label: one table for each material
# product = "dormant oil"
# registration = "0000-00"            # its number; for the record, as are the next two
# reentry = "24 h"
# preharvest = "21 days"
# rate = "2 %"                        # or "200 mL in 10 L", "5 Tbsp/gal", "3 g/L", "4 lb/100 gal"
# rounds_per_year = 3
#
# [mix.copper]
# product = "copper hydroxide"
# rate = "1 g/L"
# copper = "50 %"                     # metallic copper in the product
# copper_per_year = "10 kg/ha"
"""


_TEMPLATE = """\
# A site file. Write quantities with their units: "12 ft", "3.5 m", "85 degF", "4 days".
name = {name}
units = "{units}"                      # what you read: "metric" or "us"
# record = "record.db"                # application record; default: this file's name with .db
# learn = false                       # what you note and how answers came true teaches nothing
# weather = "forecast.csv"            # a forecast in a file, instead of a service
# columns = "map.toml"                # the column map that says how to read it
# winters = "winters.csv"             # a record of past winters; its map: winters_columns
# service = "metnorway"               # forecast: nws (US), metnorway, openmeteo (non-commercial)
#                                     # two side by side: ["nws", "metnorway"], the worse counts
# required = ["gusts"]                # limits that must be judged: unknown where no source tells

[place]
latitude = {latitude}
longitude = {longitude}
elevation = "{elevation}"
timezone = "{timezone}"
# neighbours = ["NW", "120 deg"]      # bearings of what must not be drifted on
# frost_hollow = "2 degC"             # colder than the forecast on clear calm nights
# dew_off = "1 h"                     # wood dries later ("-1 h": earlier) than modelled
# shelter = "50 %"                    # share of the open wind that reaches the trees, from 40 %

[access]
# from = "08:00"                      # without them: daylight
# until = "16:00"
# days = ["Mon", "Tue", "Wed", "Thu", "Fri"]
# closed = [{year}-01-06]               # days without access

[crew]
people = 1
job = "2 h"                           # length of the job, or "auto": by sprayer and trees
# applicator = "A. Example"           # who sprays, for the record
# certification = "X-1"

[[blocks]]                            # one table for each group of trees that flower together
name = "all trees"
crop = "peach"
trees = 10
height = "{height}"
spread = "{spread}"
# stage = "dormant"                   # the stage seen on the buds, in these words or by code
# observed = {year}-01-10               # the day it was seen
# Stages: {stages}.
# usual_first_flower = "1 Mar"        # of this block, where it is not the site's
# chill = "peach"                     # cultivar group, for the day of flowering, one of:
#                                       {groups}
# bud_swell_from = "1 Feb"            # from here on a stage seen within 7 days is asked for

[season]
# leaf_fall = {year}-12-02              # seen; or, as usual:
# usual_leaf_fall = "1 Dec"
# usual_first_flower = "1 Mar"        # it leads; past winters only shift it

[program]
between = "2 days"                    # least days between different materials
[[program.rounds]]
material = "oil"
rounds = 3
apart = "5 days"
done = []
[[program.rounds]]
material = "copper"
rounds = 5
apart = "5 days"
done = []

# The label overrides any field of a material and any of its limits, whose names
# `spraywindow slots --hours --json` lists:
# [materials.oil]
# dry_spell = "48 h"                  # rain-free hours wanted afterwards
# [materials.oil.limits.cold]
# value = "40 degF"
# comfort = "10 degF"                 # so far inside the limit all is well
#
# Other sprays that must be kept apart from oil:
# [other_sprays]
# sulfur = [{year}-01-02]
{rest}"""


def init(
    file: Annotated[Path, typer.Argument(help="The site file to write, such as mysite.toml.")],
    latitude: Annotated[float, typer.Option(help="Degrees, north positive.", prompt=True)],
    longitude: Annotated[float, typer.Option(help="Degrees, east positive.", prompt=True)],
    timezone: Annotated[str, typer.Option(help="IANA name, such as Europe/Athens.", prompt=True)],
    elevation: Annotated[str, typer.Option(help='With its unit, such as "60 m".')] = "0 m",
    name: Annotated[str, typer.Option(help="What the site is called.")] = "My orchard",
    units: Annotated[str, typer.Option(help="metric or us.")] = "metric",
    now: NowOption = None,
) -> None:
    """Write a site file to fill in; never over an existing one."""
    import datetime as dt
    import json
    import tomllib

    from spraywindow.errors import InputError
    from spraywindow.show import check_ours, write_new
    from spraywindow.site import site_of
    from spraywindow.trees import CULTIVAR_GROUPS, STAGES

    check_ours(file)
    year = dt.date.today().year if now is None else parse_now(now, timezone).year
    text = _TEMPLATE.format(
        name=json.dumps(name, ensure_ascii=False),
        units=units,
        latitude=latitude,
        longitude=longitude,
        elevation=elevation,
        timezone=timezone,
        height="12 ft" if units == "us" else "3.5 m",
        spread="12 ft" if units == "us" else "4 m",
        year=year,
        stages=", ".join(f"{stage.words} ({code})" for code, stage in STAGES.items()),
        groups=", ".join(CULTIVAR_GROUPS),
        rest=REST_OF_THE_YEAR.format(year=year - 1),
    )
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            "quotes or line breaks in an option", got=str(error), cure="leave them out"
        ) from error
    site_of(tables, where="options")
    write_new(file, text)
    say(file)
    note(f"Fill in blocks and season, then: spraywindow slots --site {file}")

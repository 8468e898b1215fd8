"""The part of a new site file about the rest of the year, all of it commented out."""

from __future__ import annotations

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
# rate = "2 %"                        # or "200 mL in 10 L", "5 Tbsp/gal", "3 g/L", "4 lb/100 gal"
# rounds_per_year = 3
#
# [mix.copper]
# product = "copper hydroxide"
# rate = "1 g/L"
# copper = "50 %"                     # metallic copper in the product
# copper_per_year = "10 kg/ha"
"""

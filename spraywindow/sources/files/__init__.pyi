# What other folders may use of it, loaded when first used.

from .on_hours import RANGES as RANGES  # How far values may lie from the line between readings
from .on_hours import between as between  # Lowest and highest value between two readings
from .on_hours import directions as directions  # Wind directions on the hours
from .on_hours import held_maxima as held_maxima  # A maximum over several hours, on each
from .on_hours import instants as instants  # Instant values on the hours
from .read_file import read_weather as read_weather  # Read a CSV or Parquet file
from .steps import LONGEST_BRIDGE as LONGEST_BRIDGE  # Longest step that is interpolated [min]
from .steps import local_steps as local_steps  # The step at each distance between rows
from .steps import step_notes as step_notes  # Say which rows stand more than an hour apart

# What other folders may use of it, loaded when first used.

from . import air as air  # Moisture and wind: pure array functions, NaN in gives NaN out
from . import wetness as wetness  # Water on the bark: dew on, dew off, rain, and drying after it
from .air import dew_point_from_humidity as dew_point_from_humidity  # Dew point [degC]
from .air import pressure_at_kpa as pressure_at_kpa  # Mean air pressure [kPa]
from .air import wind_factor as wind_factor  # Wind at a height as a share of the wind at another
from .evapotranspiration import water_demand as water_demand  # Lowest and highest, hourly [mm]
from .forecasts import forecasts_of as forecasts_of  # The forecasts put side by side
from .forecasts import side_by_side as side_by_side  # Put two forecasts side by side
from .forecasts import with_each as with_each  # Change a table and the forecasts beside it
from .infection import LEAF_CURL as LEAF_CURL  # When leaf curl infects
from .infection import infection_risk as infection_risk  # Severity of each wet spell, 0 to 1
from .infection import spread_rain as spread_rain  # Spread totals over unknown hours
from .infection import wet_from_store as wet_from_store  # 1 wet, 0 dry, NaN unknown
from .intervals import Interval as Interval  # Lowest and highest possible values
from .intervals import ends_highest as ends_highest  # The higher of an hour's ends
from .intervals import ends_lowest as ends_lowest  # The lower of an hour's ends
from .intervals import forward_highest as forward_highest  # Highest of hours to come
from .intervals import forward_lowest as forward_lowest  # Lowest of hours to come
from .intervals import interval as interval  # Make an interval of values
from .intervals import lowest_around as lowest_around  # Lowest of hours either side
from .intervals import lowest_until as lowest_until  # Lowest of so many hours to come
from .rain import MEASURABLE_MM as MEASURABLE_MM  # The least amount that a US gauge reports
from .rain import Rain as Rain  # Rain along the first axis (hours), with what is not known about it
from .rain import rain_between as rain_between  # Least and most rain [mm]
from .rain import rain_of as rain_of  # Make the rain of a weather table's columns
from .source import WeatherSource as WeatherSource  # What a table tells of its source
from .source import weather_source as weather_source  # Read what a table carries of it
from .sun import Array as Array  # Array of numbers
from .sun import Sun as Sun  # The sun over a series of instants (first axis as the times)
from .sun import sun_at as sun_at  # Give the sun at instants
from .sun import sun_over as sun_over  # Give the sun at instants over many places
from .table import AHEAD_H as AHEAD_H  # Hours ahead that an answer works with [h]
from .table import COARSE as COARSE  # Columns of longer periods
from .table import COLUMNS as COLUMNS  # Required and optional columns
from .table import DIRECTED_MS as DIRECTED_MS  # Below it a wind has any direction [m/s]
from .table import HISTORY_H as HISTORY_H  # Past hours that an answer works with [h]
from .table import IMPOSSIBLE_SHARE as IMPOSSIBLE_SHARE  # More suggests a wrong unit
from .table import OPTIONAL as OPTIONAL  # Columns a table may have
from .table import PERIOD_COLUMNS as PERIOD_COLUMNS  # A longer period's rain total
from .table import RANGE_COLUMNS as RANGE_COLUMNS  # Extremes within an hour
from .table import REQUIRED as REQUIRED  # Columns a table must have
from .table import Column as Column  # One column: its unit and range
from .table import check_hourly as check_hourly  # Check a table, make it complete
from .table import has_wrong_date as has_wrong_date  # Few rows over too long a span
from .table import index_problems as index_problems  # What is wrong with an index of hours
from .table import known_at as known_at  # Cut a table to what an evening works with
from .table import mended as mended  # Mend columns of many places at once, as `check_hourly` does
from .unknown_hours import Hole as Hole  # Hours of one column without a value
from .unknown_hours import holes as holes  # Find the holes of the required columns
from .wetness import DRY_MM as DRY_MM  # Less water than this counts as dry [mm]

# What other folders may use of it, loaded when first used.

from .coarse import LONGEST_PLAIN_STEP_H as LONGEST_PLAIN_STEP_H  # Where no extremes are told [h]
from .coarse import LONGEST_TOTAL_H as LONGEST_TOTAL_H  # Longest usable rain total [h]
from .coarse import ROUNDING_MM as ROUNDING_MM  # A total may exceed its hours by it [mm]
from .coarse import settle_totals as settle_totals  # Bring rain totals to hours
from .forecast import get_forecast as get_forecast  # Fetch the hourly forecast for a place
from .forecast import named_services as named_services  # Read the names of one service or two

# What other folders may use of it, loaded when first used.

from .forecast import get_forecast as get_forecast  # Fetch the hourly forecast for a place
from .rain_totals import LONGEST_TOTAL_H as LONGEST_TOTAL_H  # Longest usable rain total [h]
from .rain_totals import settle_totals as settle_totals  # Bring rain totals to hours

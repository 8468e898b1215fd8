# What other folders may use of it, loaded when first used.

from .forecast import get_forecast as get_forecast  # Fetch the hourly forecast for a place

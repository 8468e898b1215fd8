# What other folders may use of it, loaded when first used.

from .samples import DEMO_NOW as DEMO_NOW  # Issue time of the demo's forecast: a Monday evening
from .samples import demo_forecast as demo_forecast  # An invented forecast
from .samples import demo_winters as demo_winters  # Twelve past winters
from .samples import sample_path as sample_path  # Path of a demo file

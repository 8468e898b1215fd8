# What other folders may use of it, loaded when first used.

from . import finish as finish  # From what a service gave to the weather table
from . import metnorway as metnorway  # Hourly forecast of MET Norway
from . import nws as nws  # Hourly forecast of the US National Weather Service: gridpoint layers
from . import openmeteo as openmeteo  # Hourly forecast of Open-Meteo: worldwide
from .openmeteo import SERVICE as SERVICE  # How the service is named and credited
from .openmeteo import Variable as Variable  # A variable: their name and ours

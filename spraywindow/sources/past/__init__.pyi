# What other folders may use of it, loaded when first used.

from .archive import archived_forecasts as archived_forecasts  # What was forecast then
from .nasa_power import reanalysis_record as reanalysis_record  # Past hours of the reanalysis
from .stations import station_record as station_record  # Past hours of stations near

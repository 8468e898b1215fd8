# What other folders may use of it, loaded when first used.

from .archive import archived_forecasts as archived_forecasts
from .nasa_power import reanalysis_record as reanalysis_record  # Past hours of the reanalysis
from .stations import station_record as station_record

# What other folders may use of it, loaded when first used.

from .kind import is_field as is_field  # Whether a file holds fields
from .read_grid import read_grid as read_grid  # Many sites from one gridded forecast
from .tables import field_tables as field_tables  # Its sites as weather tables

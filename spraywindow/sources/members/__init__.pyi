# What other folders may use of it, loaded when first used.

from .members import Members as Members  # Hours of an ensemble side by side
from .read_file import read_members as read_members  # From a Parquet or netCDF file

# What other folders may use of it, loaded when first used.

from .members import LEAST_ROUNDING_MM as LEAST_ROUNDING_MM  # How far sums may fall [mm]
from .members import Members as Members  # Hours of an ensemble side by side
from .read_file import ISSUE_NAMES as ISSUE_NAMES  # Names of the time of issue
from .read_file import MEMBER_NAMES as MEMBER_NAMES  # Names of a dimension of members
from .read_file import QUANTITIES as QUANTITIES  # CF standard names: our name and unit
from .read_file import SAME as SAME  # What others call them
from .read_file import TIME_NAMES as TIME_NAMES  # Names of a dimension of times
from .read_file import read_members as read_members  # From a Parquet or netCDF file

# What other folders may use of it, loaded when first used.

from .command import mix as mix  # Say what to mix for one job, and how long it takes
from .limits import LimitCheck as LimitCheck  # What an entry leads to: limits passed
from .limits import over_limits as over_limits  # Hold one entry against the limits
from .sprays import as_mixed as as_mixed  # Spray and product of a round on some blocks
from .text import entry_limit_lines as entry_limit_lines  # What an entry of the record leads to

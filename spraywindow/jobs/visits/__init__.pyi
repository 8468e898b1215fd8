# What other folders may use of it, loaded when first used.

from .answer import Visits as Visits  # The plan of one day
from .answer import plan_visits as plan_visits  # Plan one crew's next day
from .command import driving_of as driving_of  # Minutes between sites, as `visits` counts them
from .command import visits as visits  # Say which sites to visit tomorrow, in which order
from .text import round_text as round_text  # The round of a plan, and why each

# What other folders may use of it, loaded when first used.

from .score import score_region as score_region  # Score each hour of each site
from .score import usable_mornings as usable_mornings  # Say of each day whether it has a slot
from .season import season_region as season_region  # The season's policy at each site

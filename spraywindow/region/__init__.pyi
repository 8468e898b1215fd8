# What other folders may use of it, loaded when first used.

from .score import score_region as score_region  # Score each hour of each site
from .score import usable_mornings as usable_mornings  # Say of each day whether it has a slot
from .season import season_region as season_region  # The season's policy at each site
from .stores import Ran as Ran  # What a run over a store did
from .stores import answers as answers  # What a run wrote
from .stores import run_region as run_region  # Ask every site of a store, into another
from .tables import coordinates as coordinates  # Hours with their bounds, and sites
from .tables import sites_dataset as sites_dataset  # Weather tables side by side

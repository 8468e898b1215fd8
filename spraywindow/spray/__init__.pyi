# What other folders may use of it, loaded when first used.

from .access import DURATION_H as DURATION_H  # Usual length of the job [h]
from .access import NO_ACCESS as NO_ACCESS
from .access import Access as Access  # When the site may be worked
from .access import open_hours as open_hours  # Hours in which the site may be worked
from .access import workable as workable  # Hours in which the site may be worked, closed days aside
from .catalogue import CATALOGUE as CATALOGUE
from .catalogue import COPPER as COPPER
from .catalogue import OIL as OIL
from .catalogue import general_material as general_material
from .chance import USUAL_ERRORS as USUAL_ERRORS
from .chance import chance_of_holding as chance_of_holding
from .conditions import Conditions as Conditions  # Derived quantities of a block of hours
from .conditions import Setting as Setting  # What of a site bears on an hour
from .findings import NO_WORK as NO_WORK
from .findings import RAIN_UNKNOWN as RAIN_UNKNOWN
from .findings import TOO_EARLY as TOO_EARLY
from .findings import Finding as Finding  # One condition judged: the verdict
from .findings import Verdict as Verdict
from .findings import hardest as hardest  # Give the finding that decides: the first no-go
from .findings import not_above as not_above
from .findings import working_day as working_day  # Judge a local day by the site's working days
from .hours import DAYLIGHT_H as DAYLIGHT_H
from .hours import score_hours as score_hours  # Score each hour of a weather table for a material
from .hours import sun_of as sun_of  # The sun at the middle of each hour of an index
from .hours import weather_columns as weather_columns  # The table's contract columns as arrays
from .kernel import GO as GO
from .kernel import NO_GO as NO_GO
from .kernel import Scores as Scores  # Scored hours as arrays, time on the first axis
from .kernel import score_arrays as score_arrays  # Score a block of hours
from .material import BOUNDS as BOUNDS
from .material import KINDS as KINDS
from .material import STAGE as STAGE  # Name of the limit on the growth stage, and of its column
from .material import Bound as Bound
from .material import Kind as Kind
from .material import Limit as Limit  # One condition on one quantity of the weather
from .material import Material as Material  # A spray material: its limits, its own facts
from .material import Rainfast as Rainfast  # How long a material must stay dry to hold
from .material import season_order as season_order  # Order BBCH stages through a winter: leaf fall
from .quantities import QUANTITIES as QUANTITIES
from .quantities import SUN_ON_WOOD_K_M2_W as SUN_ON_WOOD_K_M2_W
from .slots import FAR_END as FAR_END
from .slots import Day as Day  # A local day: its verdict and, unless go
from .slots import Slot as Slot  # A run of go hours on one local day
from .slots import best_of_day as best_of_day  # Best least margin of the jobs of a day
from .slots import day_answers as day_answers  # Say of each local day whether it has a slot
from .slots import day_margins as day_margins  # The margin of each local day's best slot
from .slots import find_slots as find_slots

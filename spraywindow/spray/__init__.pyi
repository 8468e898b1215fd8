# What other folders may use of it, loaded when first used.

from .access import DURATION_H as DURATION_H  # Usual length of the job [h]
from .access import NO_ACCESS as NO_ACCESS  # Name of the limit on working hours
from .access import Access as Access  # When the site may be worked
from .access import background_of as background_of  # What scored hours know of their day
from .access import job_hours as job_hours  # Whole hours of a job
from .access import open_hours as open_hours  # Hours in which the site may be worked
from .access import workable as workable  # Hours in which the site may be worked, closed days aside
from .catalogue import CATALOGUE as CATALOGUE  # The known materials by name
from .catalogue import COPPER as COPPER  # Fixed copper
from .catalogue import OIL as OIL  # Horticultural oil
from .catalogue import general_material as general_material  # For one not in the catalogue
from .chance import CameTrue as CameTrue  # How chances like one came true
from .chance import came_true as came_true  # How chances like this one came true
from .chance import most_lead_d as most_lead_d  # Days ahead up to which a figure is earned
from .conditions import FORECAST_FROST_C as FORECAST_FROST_C  # Taken off a forecast's frost [K]
from .conditions import OF_FROST as OF_FROST  # Quantities that a forecast's frost bears on
from .conditions import Conditions as Conditions  # Derived quantities of a block of hours
from .conditions import Setting as Setting  # What of a site bears on an hour
from .errors_by_lead import USUAL_ERRORS as USUAL_ERRORS  # Usual errors of a forecast
from .findings import NO_WORK as NO_WORK  # The reason of a closed day
from .findings import RAIN_UNKNOWN as RAIN_UNKNOWN  # The reason where rain is unknown
from .findings import TOO_EARLY as TOO_EARLY  # The reason past the data's end
from .findings import Finding as Finding  # The verdict on a condition, and why
from .findings import Verdict as Verdict  # go, no-go or unknown
from .findings import hardest as hardest  # Give the finding that decides
from .findings import not_above as not_above  # Judge a bounded quantity by a most
from .findings import working_day as working_day  # Judge a local day by the site's working days
from .hours import DAYLIGHT_H as DAYLIGHT_H  # Least from sunrise and sunset [h]
from .hours import Looked as Looked  # Hours as limits look at them, for several materials
from .hours import look_at_hours as look_at_hours  # Derive once what limits look at
from .hours import score_hours as score_hours  # Score each hour of a weather table for a material
from .hours import sun_of as sun_of  # The sun at the middle of each hour of an index
from .hours import weather_columns as weather_columns  # The table's contract columns as arrays
from .kernel import GO as GO  # Code of the verdict go
from .kernel import NO_GO as NO_GO  # Code of the verdict no-go
from .kernel import UNKNOWN as UNKNOWN  # Code of the verdict unknown
from .kernel import Scores as Scores  # Scored hours as arrays, time on the first axis
from .kernel import score_arrays as score_arrays  # Score a block of hours
from .learned import FEWEST as FEWEST  # Cases of a site below which nothing is shifted
from .learned import GENERAL as GENERAL  # Of a site that has not taught anything yet
from .learned import Learned as Learned  # What a site's own answers teach of its chances
from .learned import Offset as Offset  # How far what was seen lies from the model
from .learned import learn as learn  # Fit what a site's own answers teach
from .learned import learn_offset as learn_offset  # Learn from seen less modelled
from .learned import log_odds as log_odds  # Log odds of chances, none too near to 0 or 1
from .material import BOUNDS as BOUNDS  # All bounds that a limit can have
from .material import KINDS as KINDS  # All kinds that a limit can have
from .material import STAGE as STAGE  # Name of the limit on the growth stage, and of its column
from .material import Bound as Bound  # On which side a limit holds
from .material import Kind as Kind  # How strictly a limit holds
from .material import Limit as Limit  # One condition on one quantity of the weather
from .material import Material as Material  # A spray material: its limits and facts
from .material import Rainfast as Rainfast  # How long a material must stay dry to hold
from .material import season_order as season_order  # Order BBCH stages from leaf fall on
from .members import score_members as score_members  # Score each hour of each member
from .quantities import QUANTITIES as QUANTITIES  # What limits may ask for, by name
from .quantities import SUN_ON_WOOD_K_M2_W as SUN_ON_WOOD_K_M2_W  # Bark above air per W/m2 [K]
from .slots import FAR_END as FAR_END  # What closes a slot where the data end
from .slots import Day as Day  # A local day: its verdict, and why not go
from .slots import Slot as Slot  # A run of go hours on one local day
from .slots import Stretches as Stretches  # Every stretch of job length
from .slots import best_of_day as best_of_day  # Best least margin of the jobs of a day
from .slots import day_chances as day_chances  # The likeliest stretch of every day
from .slots import day_margins as day_margins  # The margin of each local day's best slot
from .slots import find_slots as find_slots  # Find go hours long enough for a job
from .slots import slots_and_days as slots_and_days  # And whether each local day has one

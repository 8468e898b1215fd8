# What other folders may use of it, loaded when first used.

from .calibration import flow_from_catch_l_per_min as flow_from_catch_l_per_min
from .calibration import row_given_l_per_m as row_given_l_per_m
from .calibration import speed_from_run_ms as speed_from_run_ms
from .calibration import uneven_nozzles as uneven_nozzles  # Numbers, from 1
from .fertilizer import GROWN_TREE_NITROGEN_KG as GROWN_TREE_NITROGEN_KG
from .fertilizer import Dose as Dose  # An amount for one tree in the user's own measure
from .fertilizer import DosePlan as DosePlan  # The year's dose of one tree: its parts
from .fertilizer import Fertilizer as Fertilizer  # A product: nitrogen as a fraction of its mass
from .fertilizer import Given as Given  # A dose that a tree already had
from .fertilizer import NitrogenCheck as NitrogenCheck  # Nitrogen of the year's dose [kg]
from .fertilizer import Part as Part  # One share of the year's dose: from `start` to `stop`
from .fertilizer import check_nitrogen as check_nitrogen
from .fertilizer import last_feeding_day as last_feeding_day  # Last day for feeding after a waking
from .fertilizer import plan_doses as plan_doses
from .ground_cover import LayerNeed as LayerNeed  # Volume of one layer
from .ground_cover import Ring as Ring  # The ground round a number of trees alike
from .ground_cover import WaterIn as WaterIn
from .ground_cover import compost as compost  # Compost, usually 1-2 in (25-51 mm, P): not dug in
from .ground_cover import layer_need as layer_need  # Volume of a layer over all rings
from .ground_cover import mulch as mulch  # Mulch over the compost, usually 2-4 in (51-102 mm, P)
from .ground_cover import water_in as water_in  # Say whether a layer laid at `when` needs watering
from .numbers import number_problem as number_problem  # What is wrong with a number, or None
from .numbers import refuse as refuse
from .use_limits import LimitUse as LimitUse  # A block against a limit: used and most
from .use_limits import SeasonTotal as SeasonTotal
from .use_limits import Use as Use  # One application on one block
from .use_limits import UseLimit as UseLimit  # A most, from a label or a law
from .use_limits import limits_used as limits_used  # Hold what each block had against every limit
from .use_limits import season_totals as season_totals  # Add up the uses from `start` to `stop`
from .volumes import DENSE_L_PER_M3 as DENSE_L_PER_M3  # Dilute spray per canopy volume
from .volumes import MEDIUM_L_PER_M3 as MEDIUM_L_PER_M3
from .volumes import WELL_PRUNED_L_PER_M3 as WELL_PRUNED_L_PER_M3  # Dilute spray per canopy volume
from .volumes import Crew as Crew  # How a crew works; the defaults are common practice (P)
from .volumes import CrewTime as CrewTime  # Hours of one job by part [h]
from .volumes import Loads as Loads  # Tank loads of one job: `full` tanks of `tank_l`
from .volumes import ProductMix as ProductMix
from .volumes import Rate as Rate  # What one litre of spray holds of a product
from .volumes import crew_time as crew_time  # Add up the time on site
from .volumes import product_mix as product_mix
from .volumes import row_volume_l as row_volume_l  # Spray for one row, by tree-row volume [L]
from .volumes import tank_loads as tank_loads  # Share a spray volume out over tanks
from .volumes import tree_volume_l as tree_volume_l  # Spray for one tree
from .volumes import walking_way_m as walking_way_m  # Way from tree to tree and once round each [m]
from .water_store import SOILS as SOILS  # Textures by name
from .water_store import Soil as Soil  # A top soil: water contents as fractions of its volume
from .water_store import soil_water as soil_water

# What other folders may use of it, loaded when first used.

from .calibration import flow_from_catch_l_per_min as flow_from_catch_l_per_min  # Flow [L/min]
from .calibration import row_given_l_per_m as row_given_l_per_m  # Spray per row [L/m]
from .calibration import speed_from_run_ms as speed_from_run_ms  # Working speed [m/s]
from .calibration import uneven_nozzles as uneven_nozzles  # Numbers, from 1
from .fertilizer import GROWN_TREE_NITROGEN_KG as GROWN_TREE_NITROGEN_KG  # Usual a year [kg]
from .fertilizer import Dose as Dose  # An amount for one tree in the user's own measure
from .fertilizer import DosePlan as DosePlan  # The year's dose of one tree, in parts
from .fertilizer import Fertilizer as Fertilizer  # A product: nitrogen as a fraction of its mass
from .fertilizer import Given as Given  # A dose that a tree already had
from .fertilizer import NitrogenCheck as NitrogenCheck  # Nitrogen of the year's dose [kg]
from .fertilizer import Part as Part  # One share of the year's dose: from `start` to `stop`
from .fertilizer import check_nitrogen as check_nitrogen  # The dose against trunk and age
from .fertilizer import last_feeding_day as last_feeding_day  # Last day for feeding after a waking
from .fertilizer import plan_doses as plan_doses  # Share the year's dose over its parts
from .ground_cover import LayerNeed as LayerNeed  # Volume of one layer
from .ground_cover import Ring as Ring  # The ground round a number of trees alike
from .ground_cover import WaterIn as WaterIn  # Whether a fresh layer needs watering
from .ground_cover import compost as compost  # Compost, usually 1-2 in (25-51 mm, P): not dug in
from .ground_cover import layer_need as layer_need  # Volume of a layer over all rings
from .ground_cover import mulch as mulch  # Mulch over the compost, usually 2-4 in (51-102 mm, P)
from .ground_cover import water_in as water_in  # Say whether a fresh layer needs watering
from .numbers import number_problem as number_problem  # What is wrong with a number, or None
from .numbers import refuse as refuse  # Raise one error with all the problems
from .use_limits import LimitUse as LimitUse  # A block's use against a limit
from .use_limits import SeasonTotal as SeasonTotal  # What a block had of a material
from .use_limits import Use as Use  # One application on one block
from .use_limits import UseLimit as UseLimit  # The most that a label or law allows
from .use_limits import limits_used as limits_used  # Hold what each block had against every limit
from .use_limits import season_totals as season_totals  # Add up the uses from `start` to `stop`
from .volumes import DENSE_L_PER_M3 as DENSE_L_PER_M3  # Dilute spray per canopy volume [L/m3]
from .volumes import MEDIUM_L_PER_M3 as MEDIUM_L_PER_M3  # Dilute spray per canopy volume [L/m3]
from .volumes import WELL_PRUNED_L_PER_M3 as WELL_PRUNED_L_PER_M3  # Per canopy volume [L/m3]
from .volumes import Crew as Crew  # How a crew works; the defaults are common practice (P)
from .volumes import CrewTime as CrewTime  # Hours of one job by part [h]
from .volumes import Loads as Loads  # Tank loads of one job: `full` tanks of `tank_l`
from .volumes import ProductMix as ProductMix  # Amounts of one product [L or kg]
from .volumes import Rate as Rate  # What one litre of spray holds of a product
from .volumes import crew_time as crew_time  # Add up the time on site
from .volumes import product_mix as product_mix  # How much of a product goes in each load
from .volumes import row_volume_l as row_volume_l  # Spray for one row, by tree-row volume [L]
from .volumes import tank_loads as tank_loads  # Share a spray volume out over tanks
from .volumes import tree_volume_l as tree_volume_l  # Spray for one tree [L]
from .volumes import walking_way_m as walking_way_m  # Way from tree to tree and once round each [m]
from .water_store import SOILS as SOILS  # Textures by name
from .water_store import STRESS_SHARE as STRESS_SHARE  # Share of water taken freely
from .water_store import Soil as Soil  # A top soil: water contents as fractions of its volume
from .water_store import soil_water as soil_water  # Bounds of each day's water [mm]

# What other folders may use of it, loaded when first used.

from .beyond import FEWEST_WINTERS as FEWEST_WINTERS  # Fewest past winters to go by
from .beyond import USUAL_CHANCE as USUAL_CHANCE  # That a round on a usable morning holds
from .beyond import Beyond as Beyond  # What each later morning of a season may offer
from .beyond import at_large as at_large  # What mornings at large offer
from .beyond import usual_share_of as usual_share_of  # Share of later mornings that are usable
from .entry import MaterialRounds as MaterialRounds  # One material of a program
from .evenings import Decided as Decided  # What every evening of every winter decides
from .evenings import decide_evenings as decide_evenings  # Past winters decided by evenings
from .planner import may_spray as may_spray  # Tell on which days a material is free
from .planner import plan_many as plan_many  # Give the best plan of many calendars at once
from .planner import plan_rounds as plan_rounds  # Give the best plan for one calendar
from .program import Done as Done  # Days of each material's rounds
from .program import PartlyDone as PartlyDone  # Days and shares of partial rounds
from .program import Program as Program  # The rounds wanted in one winter
from .program import all_made as all_made  # Whether visits are all that the maxima allow
from .states import ProgramStates as ProgramStates  # The states over a calendar
from .targets import Nearness as Nearness  # How near days are to where rounds belong, 0 to 1
from .targets import nearness as nearness  # Put each material's targets on the calendars
from .worth import Moves as Moves  # The states and where visits lead, those lost as well
from .worth import Terms as Terms  # What the value counts
from .worth import Worth as Worth  # What an evening's decisions are worth
from .worth import best_of as best_of  # The best visit of those worth something
from .worth import program_moves as program_moves  # Give the states and where visits lead
from .worth import worth as worth  # What acting on the known mornings is worth, and waiting

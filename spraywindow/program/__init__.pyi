# What other folders may use of it, loaded when first used.

from .entry import MaterialRounds as MaterialRounds  # One material of a program
from .planner import may_spray as may_spray
from .planner import plan_many as plan_many  # Give the best plan of many calendars at once
from .planner import plan_rounds as plan_rounds  # Give the best plan for one calendar
from .program import Done as Done
from .program import PartlyDone as PartlyDone
from .program import Program as Program  # The rounds wanted in one winter
from .program import all_made as all_made
from .states import Integers as Integers
from .states import ProgramStates as ProgramStates
from .states import program_states as program_states  # Give the states of a program over a calendar
from .targets import Nearness as Nearness  # How near days are to where rounds belong, 0 to 1
from .targets import nearness as nearness  # Put each material's targets on the calendars
from .values import NEVER as NEVER
from .values import best_values as best_values  # Give what `value_to_go` gives
from .values import value_to_go as value_to_go
from .values import visit_gains as visit_gains  # Give what each visit is worth on each day

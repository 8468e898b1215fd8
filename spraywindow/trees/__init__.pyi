# What other folders may use of it, loaded when first used.

from .bloom import DAYS_TO_FLOWER as DAYS_TO_FLOWER
from .bloom import STAGE_SHARES as STAGE_SHARES
from .chill_and_heat import DAYS as DAYS
from .chill_and_heat import MOST_UNKNOWN_SHARE as MOST_UNKNOWN_SHARE
from .chill_and_heat import WinterSums as WinterSums  # Chill and heat of every winter of a record
from .chill_and_heat import chill_start as chill_start
from .chill_and_heat import past_starts as past_starts
from .chill_and_heat import winter_start as winter_start
from .chill_and_heat import winter_sums as winter_sums
from .cultivar_groups import CULTIVAR_GROUPS as CULTIVAR_GROUPS
from .cultivar_groups import Requirement as Requirement
from .cultivar_groups import cultivar_group as cultivar_group
from .dormancy import LONGEST_SEASON_D as LONGEST_SEASON_D
from .dormancy import MOST_SILENT_D as MOST_SILENT_D
from .dormancy import Need as Need  # What decides when the trees flower
from .dormancy import StageDays as StageDays
from .dormancy import season_stages as season_stages  # Find the stages of past winters
from .last_day import LastDay as LastDay  # A material's last usable day
from .last_day import LastSprayDays as LastSprayDays  # Last usable local days of each winter
from .last_day import endings as endings  # The last usable day of each material
from .last_day import stop_stage as stop_stage
from .stages import FIRST_FLOWER as FIRST_FLOWER
from .stages import PETAL_FALL as PETAL_FALL
from .stages import STAGES as STAGES
from .stages import Stage as Stage  # A growth stage, and the day on which somebody saw it
from .stages import parse_stage as parse_stage  # Read a stage from words
from .stages import stage_words as stage_words  # Give the grower's words for a code

# What other folders may use of it, loaded when first used.

from .bloom import DAYS_TO_FLOWER as DAYS_TO_FLOWER  # By stage, peach [days]
from .bloom import STAGE_SHARES as STAGE_SHARES  # Share of heat by stage, 0 to 1
from .chill_and_heat import MOST_UNKNOWN_H as MOST_UNKNOWN_H  # Most unknown in a winter [h]
from .chill_and_heat import WinterSums as WinterSums  # Chill and heat of every winter of a record
from .chill_and_heat import past_starts as past_starts  # Day 0 of each past winter
from .chill_and_heat import winter_start as winter_start  # First day of its winter
from .cultivar_groups import CULTIVAR_GROUPS as CULTIVAR_GROUPS  # Their needs by name
from .cultivar_groups import Requirement as Requirement  # Chill and heat to first flower
from .cultivar_groups import cultivar_group as cultivar_group  # Find a group by name
from .dormancy import LONGEST_SEASON_D as LONGEST_SEASON_D  # Longest season looked at [days]
from .dormancy import MOST_SILENT_D as MOST_SILENT_D  # Longest silence of a record [days]
from .dormancy import StageDays as StageDays  # When each winter reaches each stage
from .dormancy import first_flower as first_flower  # Of the season at hand, by a record
from .dormancy import season_stages as season_stages  # Find the stages of past winters
from .flowering import LATEST_D as LATEST_D  # Latest flowers behind the usual date [days]
from .flowering import Flowering as Flowering  # First flower, and between which dates
from .flowering import Need as Need  # What decides when the trees flower
from .flowering import bud_sums as bud_sums  # Sum up the chill and heat that a need asks for
from .flowering import default_flower as default_flower  # Usual (month, day) in mild winters
from .flowering import usual_flowering as usual_flowering  # A usual date and how far it strays
from .last_day import LastDay as LastDay  # A material's last usable day in past winters
from .last_day import LastSprayDays as LastSprayDays  # Last usable local days of each winter
from .last_day import endings as endings  # The last usable day of each material
from .last_day import stop_stage as stop_stage  # First stage after a last one
from .stages import FIRST_FLOWER as FIRST_FLOWER  # BBCH code of first flower
from .stages import PETAL_FALL as PETAL_FALL  # BBCH code of petal fall
from .stages import STAGES as STAGES  # Words of each BBCH code
from .stages import Stage as Stage  # A growth stage, and the day on which somebody saw it
from .stages import parse_stage as parse_stage  # Read a stage from words
from .stages import stage_words as stage_words  # Give the grower's words for a code

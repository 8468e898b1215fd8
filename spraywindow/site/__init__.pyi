# What other folders may use of it, loaded when first used.

from .blocks import FRESH_STAGE_D as FRESH_STAGE_D  # Days that a late stage stays fresh
from .blocks import LEAVES_ON as LEAVES_ON  # Stages with leaves still on the trees
from .blocks import BlockState as BlockState  # Whether a block may be sprayed
from .blocks import block_state as block_state  # Whether a stage allows a spray
from .blocks import block_states as block_states  # Give the state of every block on a local day
from .blocks import leaf_fall_doubts as leaf_fall_doubts  # Leaf fall dated before leaves seen
from .blocks import season_leaf_fall as season_leaf_fall  # Seen, else usual, in a growing year
from .blocks import season_start as season_start  # First day of the growing year that holds a day
from .blocks import trees_finding as trees_finding  # Sum up the blocks: go where one may be sprayed
from .changes import changed_site as changed_site  # With one key changed, to try it
from .done import in_season as in_season  # The site with its program as of this season
from .done import next_day as next_day  # First day that earlier sprays leave free
from .done import refuse_future as refuse_future  # Refuse days done after today
from .done import short_gaps as short_gaps  # Sprays closer to one than they may stand
from .done import spacing_finding as spacing_finding  # Judge a day by the sprays before it
from .done import sprays_done as sprays_done  # Every spray that a site file lists
from .done import wanted_days as wanted_days  # Least days from spray to spray
from .doubt import Doubt as Doubt  # A round of the record that may not have held
from .flowers import flowering as flowering  # When a block flowers, between which dates
from .flowers import last_day_of as last_day_of  # Last usable day of a material before flowers
from .flowers import main_block as main_block  # The largest block not yet in flower
from .flowers import main_flowering as main_flowering  # Of the block with the most trees
from .flowers import with_flowers as with_flowers  # The site with what past winters tell of it
from .groups import block_need as block_need  # What decides when a block flowers
from .program import growing_year as growing_year  # Its first and last day
from .site import Site as Site  # One orchard or garden, as the commands know it
from .site import may_be_site as may_be_site  # Whether a TOML file may be a site file
from .site import read_site as read_site  # Read a site file
from .site import site_of as site_of  # Make a site of tables as TOML gives them
from .site import with_done as with_done  # Add a record's rounds to a site
from .spraying import length_m as length_m  # Length of all rows of a block [m]
from .spraying import spray_l as spray_l  # Spray of a round on one block [L]
from .spraying import walking_m as walking_m  # Way from tree to tree and round each [m]
from .tables import DAY_H as DAY_H  # Hours of a day [h]
from .tables import Block as Block  # Trees that are looked after and judged together
from .tables import FeedingFields as FeedingFields  # What each tree gets in a year
from .tables import MixFields as MixFields  # A product as it goes into the tank
from .tables import SprayerFields as SprayerFields  # The sprayer and how the crew works with it
from .tables import known_blocks as known_blocks  # Refuse names of other blocks
from .tables import needed as needed  # Give a table of the site file, or say which one to add

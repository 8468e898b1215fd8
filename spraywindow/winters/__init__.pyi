# What other folders may use of it, loaded when first used.

from .copper import copper_residue as copper_residue  # Share left after so much rain
from .easing import DRY_SPELLS_H as DRY_SPELLS_H  # Dry spells that are tried [h]
from .evenings import FEWEST_WINTERS as FEWEST_WINTERS  # Fewest that bear a chance out
from .evenings import by_advice as by_advice  # What each evening of past winters decides
from .evenings import winters_beyond as winters_beyond  # What past winters offer later on
from .left_out import MOST_UNKNOWN as MOST_UNKNOWN  # Most unknown rain of a winter [share]
from .other_rules import AFTER_H as AFTER_H  # Hours after a round looked at [h]
from .other_rules import CAUSES as CAUSES  # Why a round was outside the limits
from .outlook import FEWEST_FOR_START as FEWEST_FOR_START  # Fewest winters for a latest start
from .outlook import FIVE_WEEKS_D as FIVE_WEEKS_D  # Five weeks [days]
from .outlook import SeasonOutlook as SeasonOutlook  # The feasibility report for one group of trees
from .outlook import Span as Span  # How many days the rounds owed take
from .outlook import program_span as program_span  # Days a program takes in winters
from .outlook import season_outlook as season_outlook  # Report whether a program fits
from .outlook import season_policy as season_policy  # The winters and the policy alone
from .past import PastWinters as PastWinters  # What past winters hold
from .past import past_flowering as past_flowering  # When the trees flower, by past winters
from .past import past_season as past_season  # Put past winters side by side
from .replays import WEEK_D as WEEK_D  # A week [days]
from .replays import ErrorModel as ErrorModel  # The coming days with errors of the usual size
from .replays import ForecastReplay as ForecastReplay  # Forecasts as they were or might be
from .replays import Foresight as Foresight  # The coming days as they turned out
from .rules import Against as Against  # What a rule has more than another
from .rules import Figure as Figure  # Works out one figure of a rule
from .rules import RuleResult as RuleResult  # What a rule did in every winter
from .rules import RuleRow as RuleRow  # What came of a rule
from .rules import Runs as Runs  # The runs of one rule
from .rules import backtest as backtest  # Replay every winter by each rule
from .rules import effective_of as effective_of  # Rounds of a material that held
from .rules import false_go as false_go  # Share of go answers that broke a limit
from .rules import false_go_of as false_go_of  # The same of one material
from .rules import finished as finished  # Winters with all rounds made
from .rules import median_span as median_span  # Days from first to last round
from .rules import missed_go as missed_go  # Share of the usable days that were missed
from .rules import outside_of as outside_of  # Rounds outside a hard limit
from .rules import per_winter as per_winter  # Mean of some rounds a winter
from .rules import rule_row as rule_row  # Work out the figures of a rule's runs
from .rules import runs_of as runs_of  # Put the runs of each rule together, in order
from .rules import spoiled as spoiled  # Share of rounds with rain after
from .rules import spoiled_of as spoiled_of  # Share of a material's rounds with rain after
from .rules import washed as washed  # Rounds that were washed off
from .share import Counts as Counts  # How often answers and what came agreed
from .share import Share as Share  # A share of winters with its 95 % interval (Wilson 1927)
from .share import brier_score as brier_score  # Mean squared error of chances
from .share import false_go_ratio as false_go_ratio  # Share of the go answers that were wrong
from .share import mean_known as mean_known  # Mean of what is not NaN; NaN where all is
from .share import missed_go_rate as missed_go_rate  # Share of the good times called no-go
from .share import wilson_interval as wilson_interval  # Wilson score interval of a share
from .what_if import Change as Change  # A change to try
from .what_if import Way as Way  # How a season is worked
from .what_if import WhatIf as WhatIf  # What a change gives beside the season as it is

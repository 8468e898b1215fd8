# What other folders may use of it, loaded when first used.

from .advice import Decision as Decision  # What is decided on one morning
from .answer import DayAnswer as DayAnswer  # The answer for one day
from .answer import Evening as Evening  # All that one evening's answer says
from .answer import default_material as default_material  # The one that may go on first
from .answer import evening as evening  # Answer for one site, one material, one evening
from .answer import evening_of_each as evening_of_each  # For each of several materials
from .calendar import CALENDAR_MARK as CALENDAR_MARK  # By which a calendar of ours is known
from .calendar import updated_calendar as updated_calendar  # The calendar in a file's place
from .command import evenings_of as evenings_of  # The evening of each material of a call
from .command import slots as slots  # Say where to be tomorrow: go or no-go, from when to when
from .decision import beyond_at_large as beyond_at_large  # Later mornings as they are at large
from .decision import beyond_winters as beyond_winters  # Later mornings by past winters
from .decision import decide as decide  # Decide on one morning of a site
from .first import Urgency as Urgency  # How few chances a material still has at a site
from .first import planned_slots as planned_slots  # Slots of the planned rounds, in order of time
from .first import tonight as tonight  # The evening of every material of the program
from .first import urgency as urgency  # How urgent the material of an evening is from a day on
from .picture import draw_week as draw_week  # Draw the week
from .picture import save_week_picture as save_week_picture  # Draw the week into a file
from .picture import split_week as split_week  # So many whole days after today, and the rest
from .picture import week_legend as week_legend  # How to read the week's picture
from .picture import week_words as week_words  # The picture in words, for who does not see it
from .receipt import hourless as hourless  # What a readable receipt without hours says
from .receipt import keep_advised as keep_advised  # Keep an evening's receipt in the record
from .receipt import limits_of as limits_of  # The limits that a receipt carries
from .receipt import read_receipt as read_receipt  # Read a receipt and check what the judge needs
from .receipt import refuse_other_site as refuse_other_site  # Refuse another's receipt
from .receipt import said_jobs as said_jobs  # A receipt for each job that it gives a chance of
from .receipt import setting_of as setting_of  # The site as it was judged: from the receipt
from .sites import GOES as GOES  # Words of a day on which something goes
from .sites import day_lines as day_lines  # What stands in a cell of a day
from .sites import site_days as site_days  # What a site is told of each day
from .sites import sites_text as sites_text  # The week of several sites in one table
from .sites import week_of as week_of  # The days of that table
from .text import evening_text as evening_text  # The whole answer as the terminal shows it
from .tracks import conditions_of as conditions_of  # Quantities derived at a site
from .tracks import week_weather as week_weather  # What the coming week's picture draws
from .two_forecasts import forecasts_line as forecasts_line  # On which forecasts it stands
from .words import EVENING_WORDS as EVENING_WORDS  # What the JSON of an evening says in words
from .words import advice_word as advice_word  # The advice of a first answer, else its verdict
from .words import blocks_line as blocks_line  # Which blocks the answer is for, and which not
from .words import cautions as cautions  # The cautions of this answer
from .words import chance_figure as chance_figure  # The chance of a slot for its column: "48 %"
from .words import chance_words as chance_words  # How likely a slot is to hold
from .words import closing_words as closing_words  # What closes a slot: "after: too windy"
from .words import decision_line as decision_line  # What letting the morning pass costs
from .words import doubt_cure as doubt_cure  # How a round comes out of doubt
from .words import doubt_lines as doubt_lines  # The same of a site, a sentence each
from .words import doubt_words as doubt_words  # Which round is in doubt, and why
from .words import headline as headline  # An answer in one line
from .words import held_words as held_words  # What holds a day without a slot, in short
from .words import how_known as how_known  # How chances like the first came true
from .words import later_words as later_words  # What waiting aims at
from .words import limit_words as limit_words  # Growers' words for a limit that holds an hour
from .words import next_chance as next_chance  # The next chance where nothing goes
from .words import opening_words as opening_words  # What opens a slot: "before: wet wood"
from .words import reason as reason  # Why a day is as it is
from .words import rounds_words as rounds_words  # An amount of rounds: "0.3 of a round"
from .words import untold_lines as untold_lines  # What the weather does not tell
from .words import wait_words as wait_words  # What is waited for, and what it is worth
from .words import weaker_words as weaker_words  # What makes a go a weaker one

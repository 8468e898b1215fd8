# What other folders may use of it, loaded when first used.

from .answer import SeasonAnswer as SeasonAnswer  # A site's feasibility report
from .answer import ended_by as ended_by  # The hours of a record that have ended by `now`
from .answer import prospect as prospect  # Make the report
from .command import season as season  # Say whether the whole program fits, from past winters
from .picture import SEASON_LEGEND as SEASON_LEGEND  # How to read the season's picture
from .picture import draw_season as draw_season  # Draw the season from day 0 on
from .picture import save_season_picture as save_season_picture  # Draw the season into a file
from .picture import season_words as season_words  # The picture in words, for who does not see it
from .text import SEASON_WORDS as SEASON_WORDS  # What the JSON of a season says in words
from .text import season_text as season_text  # The whole report as the terminal shows it
from .text import share_words as share_words  # A share with its 95 % interval and n
from .what_if import what_if_words as what_if_words  # The changes that help most

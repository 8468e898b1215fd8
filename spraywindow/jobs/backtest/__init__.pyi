# What other folders may use of it, loaded when first used.

from .answer import SiteBacktest as SiteBacktest  # What came of replaying a site's winters
from .answer import replayed as replayed  # Replay the whole program through past winters
from .answer import usual_replays as usual_replays  # Forecasts as the command takes them
from .command import backtest as backtest  # Say what past winters would have come to
from .text import BACKTEST_WORDS as BACKTEST_WORDS  # What the JSON says in words
from .text import backtest_text as backtest_text  # The whole report as the terminal shows it

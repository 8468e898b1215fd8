# What other folders may use of it, loaded when first used.

from .command import backtest as backtest  # Replay past winters: rounds made

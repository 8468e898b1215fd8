# What other folders may use of it, loaded when first used.

from .advice import copper_share_words as copper_share_words  # How much copper is left
from .command import log as log  # The application record: add, list, correct, papers

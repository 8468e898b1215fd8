# What other folders may use of it, loaded when first used.

from .command import log as log  # The application record: add, list, correct, papers

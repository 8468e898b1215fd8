# What other folders may use of it, loaded when first used.

from .command import report as report  # Write a page with the whole answer

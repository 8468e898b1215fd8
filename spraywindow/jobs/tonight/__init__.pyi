# What other folders may use of it, loaded when first used.

from .command import tonight as tonight  # Every site's answer, kept as a page and a calendar

# What other folders may use of it, loaded when first used.

from .command import visits as visits  # Say which sites to visit tomorrow, in which order

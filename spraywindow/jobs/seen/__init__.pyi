# What other folders may use of it, loaded when first used.

from .command import seen as seen  # Note what you saw at a site, or list it

# What other folders may use of it, loaded when first used.

from .command import region as region  # The command

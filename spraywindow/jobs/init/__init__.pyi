# What other folders may use of it, loaded when first used.

from .command import init as init  # Write a site file to fill in; never over an existing one

# What other folders may use of it, loaded when first used.

from .command import hose as hose  # Say on which mornings to wash the leaves with a jet of water

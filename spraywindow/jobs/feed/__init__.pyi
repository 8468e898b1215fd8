# What other folders may use of it, loaded when first used.

from .command import feed as feed  # Say when to feed the trees and how much
from .waking import leaf_stage as leaf_stage  # Give the stage that matters for washing

# What other folders may use of it, loaded when first used.

from .command import feed as feed  # Say when to feed the trees and how much
from .waking import leaf_stage as leaf_stage  # BBCH code that matters for washing

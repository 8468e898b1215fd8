"""The winter's rounds: gaps, maxima, targets, and the exact planner."""

import lazy_loader as lazy

__getattr__, __dir__, __all__ = lazy.attach_stub(__name__, __file__)

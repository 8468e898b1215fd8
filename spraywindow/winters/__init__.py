"""Past winters side by side: does the program fit, as it comes and in hindsight; was the rule any
good.
"""

import lazy_loader as lazy

__getattr__, __dir__, __all__ = lazy.attach_stub(__name__, __file__)

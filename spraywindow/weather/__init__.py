"""The hourly table and what follows from it: rain, air, sun, wetness, as intervals of what is
unknown.
"""

import lazy_loader as lazy

__getattr__, __dir__, __all__ = lazy.attach_stub(__name__, __file__)

"""Which hours to spray dormant stone-fruit trees, and whether the winter holds the program.

The public names, loaded when they are first used.
"""

import lazy_loader as lazy

__getattr__, __dir__, __all__ = lazy.attach_stub(__name__, __file__)

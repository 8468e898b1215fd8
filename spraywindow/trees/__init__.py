"""When stone-fruit trees sleep and wake: stages, chill and heat, bloom, the last day to spray."""

import lazy_loader as lazy

__getattr__, __dir__, __all__ = lazy.attach_stub(__name__, __file__)

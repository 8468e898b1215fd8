"""Members of an ensemble: one value, read from a file or a service."""

import lazy_loader as lazy

__getattr__, __dir__, __all__ = lazy.attach_stub(__name__, __file__)

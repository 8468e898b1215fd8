"""Spray volume, tank loads, product, calibration, time on site, against what may still be used."""

import lazy_loader as lazy

__getattr__, __dir__, __all__ = lazy.attach_stub(__name__, __file__)

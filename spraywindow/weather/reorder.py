"""Make members of calibrated margins: order them as a site's past winters were.

References
----------
.. [1] Clark, Gangopadhyay, Hay, Rajagopalan, Wilby (2004), The Schaake Shuffle: a method for
   reconstructing space-time variability in forecasted precipitation and temperature fields,
   Journal of Hydrometeorology 5:243-262, section 3.
"""

from __future__ import annotations

import numpy as np

from spraywindow.weather.intervals import Array


def schaake_shuffle(margins: Array, past: Array) -> Array:
    """Re-order samples of single margins so that they belong together as past cases did.

    Parameters
    ----------
    margins : array [member, ...]
        A sample of each margin (a quantity, an hour, a place), in any order.
    past : array [member, ...]
        As many past cases, of the same margins: in each, what was observed together.

    Returns
    -------
    array [member, ...]
        The same sample of each margin; member k has the rank among its fellows that case k has
        among the cases. Equal past values rank by their place (dry days among themselves).

    Raises
    ------
    ValueError
        If the shapes differ or a value is unknown: it would have no rank.
    """
    if margins.shape != past.shape:
        raise ValueError(f"margins {margins.shape} and past {past.shape} differ in shape")
    if np.isnan(margins).any() or np.isnan(past).any():
        raise ValueError("an unknown value has no rank")
    ranks = np.argsort(np.argsort(past, axis=0, kind="stable"), axis=0, kind="stable")
    return np.take_along_axis(np.sort(margins, axis=0), ranks, axis=0)

"""What steps longer than an hour tell of its hours: one rule for files, services and members."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
ROUNDING_MM = 0.5
"""A total that exceeds the shorter totals in it by no more than this [mm] contradicts none: six
hours rounded to 0.1 mm or 0.01 in; P: common practice, no source."""
LONGEST_TOTAL_H = 12
"""Rain totals over more hours than this stay unknown, unless they are zero."""
LONGEST_PLAIN_STEP_H = 3
"""Over a longer step the temperature between the stamps is unknown without the step's extremes:
interpolated ones were seen 2.3 degC above a service's own minimum [h]."""


def settle_totals(
    rain_mm: Floats, periods: Floats, first: Integers, totals_mm: Floats, hours: int
) -> tuple[Floats, Floats, list[str]]:
    """Bring rain totals over several hours to the hours whose own rain is not known.

    A total of zero settles all its hours. Hours that are known already count first: what is
    left of the total belongs to the others, to the dry ones where all are known, however little
    it is: rounding may have hidden it. Totals over more than `LONGEST_TOTAL_H` hours,
    totals that overlap an earlier one, and totals smaller than the known hours in them leave
    their hours unknown. One that exceeds what its hours and the earlier totals in it hold by
    more than `ROUNDING_MM` leaves the dry ones and those of these totals unknown; by less, the
    dry hours may hold it, and so may each of these totals.

    Parameters
    ----------
    rain_mm : array, shape (hours,)
        Hourly rain, NaN where unknown.
    periods : array, shape (3, hours)
        Totals that are there already (of a shorter length), in the order of
        `spraywindow.weather.table.PERIOD_COLUMNS`; NaN where there is none.
    first : integer array, shape (n,)
        The row at which each total starts, ascending; all its hours are rows of the arrays.
    totals_mm : array, shape (n,)
        NaN is unknown.
    hours : int
        Length of the totals [h].

    Returns
    -------
    rain_mm, periods : arrays
        As given, completed.
    notes : list of str
        How many totals could not be used.
    """
    rain, periods = rain_mm.copy(), periods.copy()
    # what one total of zero settles changes nothing for another: all of them at once
    rows = first[totals_mm == 0.0][:, None] + np.arange(hours)  # (total, hour)
    told, in_total = rain[rows], ~np.isnan(periods[1, rows])
    wet = (told > 0.0) | (np.isnan(told) & in_total)  # another total says that it rained
    refuted = wet.any(axis=1)
    left_out = int(refuted.sum())
    settled = rows[~refuted]
    rain[settled[np.isnan(rain[settled])]] = 0.0
    for row, total in zip(first[totals_mm > 0], totals_mm[totals_mm > 0], strict=True):
        within = rain[row : row + hours]
        lacking, dry = (row + np.flatnonzero(rows) for rows in (np.isnan(within), within == 0.0))
        rest = round(total - np.nansum(within), 6)
        # of each earlier total in it one hour; NaN where none tells of an hour
        one = np.unique(lacking - periods[2, lacking], return_index=True)[1]
        earlier = periods[0, lacking[one]]
        beyond = round(rest - earlier.sum(), 6)
        if beyond > 0 and earlier.size:
            if beyond > ROUNDING_MM:
                rain[dry], periods[:, lacking] = np.nan, np.nan
                left_out += 1
                continue
            periods[0, lacking] += beyond
            lacking, rest = dry, beyond
        elif beyond > 0:
            lacking, rest = dry, beyond  # hours said to be dry hide rain
        if not lacking.size:
            continue
        long = hours > LONGEST_TOTAL_H and rest > ROUNDING_MM
        if long or rest < 0 or not np.isnan(periods[1, lacking]).all():
            left_out += 1
            rain[lacking] = np.nan
        elif lacking.size == 1 or rest == 0:
            rain[lacking] = rest
        else:
            # numbered on through what parts them: each part may hold all of it, none surely does
            number = lacking - lacking[0]
            rain[lacking] = np.nan
            periods[:, lacking] = np.stack(np.broadcast_arrays(rest, number[-1] + 1.0, number))
    notes = [f"{left_out} rain totals could not be used; their hours are unknown"] * bool(left_out)
    return rain, periods, notes

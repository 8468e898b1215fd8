"""What the mornings that no forecast tells are worth: by past winters, or by mornings at large."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from spraywindow.program.program import Program, all_made
from spraywindow.program.worth import Moves, Terms, climate_value, worth
from spraywindow.spray import Material
from spraywindow.weather import Array

FEWEST_WINTERS = 3
"""With fewer past winters the mornings at large stand in for them; P."""
USUAL_SHARE, USUAL_SHARE_SHORT = 0.25, 0.5
"""Share of mornings beyond the forecast that are expected to be usable, for materials that want
days of dry weather afterwards (oil), and for those that want up to `SHORT_SPELL_H` (copper); P."""
SHORT_SPELL_H = 24
USUAL_CHANCE = 0.7
"""That a round on such a morning holds: about what the first day that looks dry keeps; P."""
LOTS = 20
"""Mornings that stand for a share of them: shares count in twentieths."""
AT_LARGE = "usable mornings at large (common practice)"


@dataclass(frozen=True, eq=False)
class Beyond:
    """What each later morning of a season may offer.

    Attributes
    ----------
    first : date
        Local day of the first row.
    offers : array [day, material, column]
        Chance that a round holds, in each of equally likely futures, as the evening before would
        see it; NaN where nobody would be sent. Materials in the program's order.
    nearness : array [day, material, column] or None
        How near each day is to where the rounds belong.
    winters : int
        Past winters that it goes by; 0 for mornings at large.
    """

    first: dt.date
    offers: Array
    nearness: Array | None
    winters: int

    @property
    def basis(self) -> str:
        """What it goes by, in words."""
        return f"{self.winters} past winters" if self.winters else AT_LARGE

    @property
    def last(self) -> dt.date:
        """The last day that offers anything."""
        offered = np.flatnonzero(np.isfinite(self.offers).any(axis=(1, 2)))
        return self.first + dt.timedelta(days=int(offered[-1]) if offered.size else -1)

    def from_day(self, day: dt.date) -> tuple[Array, Array | None]:
        """Offers and nearness from a day on; nothing is offered before the first."""
        skip = (day - self.first).days
        rows = [each if each is None else each[max(skip, 0) :] for each in
                (self.offers, self.nearness)]  # fmt: skip
        offers, near = rows
        assert offers is not None
        if skip < 0:
            none = np.full((-skip, *self.offers.shape[1:]), np.nan)
            offers = np.concatenate([none, offers])
            near = None if near is None else np.concatenate([none, near])
        return offers, near

    def values(
        self, day: dt.date, program: Program, moves: Moves, terms: Terms
    ) -> tuple[Array, Array | None]:
        """What each state is worth on the morning of a day, and its chance to finish the program.

        Returns
        -------
        worth : array [state]
            Expected effective rounds.
        finish : array [state] or None
            Chance that every round that the maxima allow is made by who acts on the worth; None
            where no past winter tells.
        """
        offers, near = self.from_day(day)
        value = climate_value(offers, moves, terms, near)
        if not self.winters:
            return value[0], None
        made = moves.states.made(moves.plain(np.arange(moves.count)))
        finish = all_made(program, made).astype(float)
        for row in range(len(offers) - 1, -1, -1):
            open_to = np.isfinite(offers[row]).any(axis=0)
            if not open_to.any():
                finish = finish[moves.rest]
                continue
            known = offers[row][None, :, open_to]
            beside = None if near is None else near[row][None, :, open_to]
            columns = (moves.count, int(open_to.sum()))
            evening = worth(known, np.broadcast_to(value[row + 1][:, None], columns), moves, terms,
                            beside)  # fmt: skip
            later = np.broadcast_to(finish[:, None], columns)
            then = evening.expected(0, evening.chosen(), later).sum(axis=1) * terms.served
            stays = len(open_to) - terms.served * open_to.sum()
            finish = (then + stays * finish[moves.rest]) / len(open_to)
        return value[0], finish


def at_large(
    first: dt.date, may: npt.ArrayLike, materials: Sequence[Material], share: float | None = None
) -> Beyond:
    """What mornings at large offer, where no winters are at hand.

    Parameters
    ----------
    first : date
        Local day of the first row.
    may : bool array [day, material]
        Days on which a material may go out, for all that is known.
    materials : sequence of Material
    share : float, optional
        Of the mornings that are usable [0-1]; default `usual_share_of` each material.
    """
    shares = [usual_share_of(each) if share is None else share for each in materials]
    # the mornings that are fit for the fussier material are fit for the other too
    usable = np.arange(LOTS) < np.rint(np.array(shares) * LOTS)[:, None]
    offers = np.where(np.asarray(may)[..., None] & usable, USUAL_CHANCE, np.nan)
    return Beyond(first, offers, None, 0)


def usual_share_of(material: Material) -> float:
    """Share of later mornings that are expected to be usable for a material [0-1]."""
    return USUAL_SHARE_SHORT if material.dry_spell_h <= SHORT_SPELL_H else USUAL_SHARE

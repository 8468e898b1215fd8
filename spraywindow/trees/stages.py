"""BBCH growth stages of stone fruit, in the words that growers use.

References
----------
.. [1] Meier et al. (1994), BBCH-Codierung der phaenologischen Entwicklungsstadien von Kern- und
   Steinobst, Nachrichtenbl. Deut. Pflanzenschutzd. 46: 141-153. Class "S": read in a published
   source; "M": from memory of this one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

from spraywindow.errors import InputError, describe


@dataclass(frozen=True)
class StageWords:
    """What one code is called: the words shown first, then others that are understood."""

    words: str
    others: tuple[str, ...]
    source: str


STAGES: dict[int, StageWords] = {
    0: StageWords("dormant", ("dormancy", "bare"), "S"),
    1: StageWords("leaf bud swell", (), "S"),
    9: StageWords("green tips", ("green tip",), "S"),
    51: StageWords("bud swell", ("swollen bud", "buds swelling", "flower bud swell"), "S"),
    53: StageWords("bud burst", ("bud break",), "S"),
    55: StageWords("flower buds closed", ("closed flower buds", "green bud"), "M"),
    57: StageWords("petal tips", ("pink", "pink showing", "pink bud"), "S"),
    59: StageWords("balloon", ("popcorn",), "S"),
    60: StageWords("first open flower", ("first flower", "first bloom", "first open"), "S"),
    61: StageWords("10 % open", ("tenth open", "beginning of bloom"), "S"),
    65: StageWords("full bloom", ("full flower", "half open"), "M"),
    69: StageWords("petal fall", ("end of bloom", "all petals fallen"), "M"),
    93: StageWords("leaf fall begins", ("leaf fall begin", "beginning of leaf fall"), "M"),
    95: StageWords("half leaf fall", ("leaf fall half", "half the leaves fallen"), "M"),
    97: StageWords("all leaves fallen", ("leaf fall all", "leaf fall", "leaf drop"), "M"),
}
FIRST_FLOWER, PETAL_FALL = 60, 69
_CODES = {name: code for code, stage in STAGES.items() for name in (stage.words, *stage.others)}
_CODE = re.compile(r"^(?:bbch)?\s*0?(\d{1,2})$")


@dataclass(frozen=True)
class Stage:
    """A growth stage, and the day on which somebody saw it.

    Parameters
    ----------
    bbch : int
        One of the codes in `STAGES`.
    observed : datetime.date or None
        Local date of the observation; None for a stage that is only meant (a limit, a target).
    """

    bbch: int
    observed: date | None = None

    def __post_init__(self) -> None:
        """Refuse a code that has no words."""
        stage_words(self.bbch)

    def __str__(self) -> str:
        """Give the words with the code behind, as people read them."""
        return f"{stage_words(self.bbch)} (BBCH {self.bbch:02d})"


def stage_words(bbch: int) -> str:
    """Give the grower's words for a code.

    Raises
    ------
    InputError
        If the code is not one of `STAGES`.
    """
    if bbch not in STAGES:
        raise InputError(_unknown(bbch, ""))
    return STAGES[bbch].words


def parse_stage(text: str | int, observed: date | None = None, *, where: str = "") -> Stage:
    """Read a stage from words ("bud swell") or from a code ("BBCH 51", "51", 51).

    Parameters
    ----------
    text : str or int
        Upper and lower case, hyphens and doubled spaces make no difference.
    observed : datetime.date, optional
        Local date of the observation.
    where : str, optional
        What to call the place of the text in an error.

    Raises
    ------
    InputError
        If neither the words nor the code are known; the message lists the words.

    Examples
    --------
    >>> print(parse_stage("Bud-Swell"))
    bud swell (BBCH 51)
    """
    if isinstance(text, int) and not isinstance(text, bool) and text in STAGES:
        return Stage(text, observed)
    if isinstance(text, str):
        words = " ".join(text.lower().replace("-", " ").replace("_", " ").split())
        code = _CODE.match(words)
        bbch = int(code[1]) if code else _CODES.get(words)
        if bbch in STAGES:
            return Stage(int(bbch), observed)
    raise InputError(_unknown(text, where))


def _unknown(got: object, where: str) -> str:
    known = ", ".join(f"{stage.words} ({code})" for code, stage in STAGES.items())
    return describe("unknown growth stage", where=where, expected=f"one of {known}", got=got)

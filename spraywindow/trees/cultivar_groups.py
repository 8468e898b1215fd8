"""What cultivar groups need of chill and heat before they flower, from published tables."""

from __future__ import annotations

from dataclasses import dataclass

from spraywindow.errors import InputError

_UC = "chill: Univ. of California fruit pages"
_HEAT = "heat: mean of 49 peach and 50 apricot cultivars"


@dataclass(frozen=True)
class Requirement:
    """What a cultivar group needs before its first flower opens.

    Parameters
    ----------
    name : str
    chill_low, chill_high : float
        Published range of the chill requirement [portions]; its middle is used.
    heat_gdh : float
        Growing degree hours from the end of chilling to first flower [degC h].
    reference : str
    """

    name: str
    chill_low: float
    chill_high: float
    heat_gdh: float
    reference: str

    @property
    def chill(self) -> float:
        """Chill requirement that is used [portions]."""
        return (self.chill_low + self.chill_high) / 2


CULTIVAR_GROUPS: dict[str, Requirement] = {
    group.name: group
    for group in (
        Requirement("very low chill peach", 8, 18, 5100, f"{_UC}; {_HEAT}"),
        Requirement("low chill peach", 33, 42, 5100, f"{_UC}; {_HEAT}"),
        Requirement("peach", 63, 75, 5100, f"{_UC} (medium to high chill); {_HEAT}"),
        Requirement("apricot", 30, 69, 3783, f"{_UC}; {_HEAT}"),
        Requirement("prune", 55, 60, 5100, f"{_UC} (French prune); heat as peach (P)"),
    )
}


def cultivar_group(name: str, *, where: str = "") -> Requirement:
    """Look a group of `CULTIVAR_GROUPS` up by name; raises `InputError` with the known ones."""
    found = CULTIVAR_GROUPS.get(" ".join(name.lower().split()))
    if found is None:
        raise InputError(
            "unknown cultivar group",
            where=where,
            got=name,
            expected="one of " + ", ".join(CULTIVAR_GROUPS),
        )
    return found

"""Group names of the Unified Soil Classification System, put together by its rules."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from gradation.science.errors import Impossible, UnknownName
from gradation.science.tables import read_table

NOISE = 1e-9  # binary noise of shares
SUM_TOLERANCE = 0.02  # published shares are rounded to whole percent
WITH_FROM = 0.15  # ASTM D2487: "with sand", "with gravel" from 15 %
SANDY_FROM = 0.30  # ASTM D2487: "sandy", "gravelly" from 30 % retained on 75 µm


@dataclass(frozen=True, slots=True)
class SoilShares:
    """Shares of a soil by mass, 0-1: below 75 µm, to 4.75 mm, to 75 mm, to 300 mm and above.

    All are shares of the whole sample; the classification itself looks at what passes 75 mm.
    """

    gravel: float
    sand: float
    fines: float
    cobbles: float = 0.0
    boulders: float = 0.0

    def __post_init__(self) -> None:
        """Refuse shares that do not make up a sample."""
        shares = (self.gravel, self.sand, self.fines, self.cobbles, self.boulders)
        if not all(0 <= share <= 1 for share in shares) or abs(sum(shares) - 1) > SUM_TOLERANCE:
            raise Impossible(
                "The shares of gravel, sand, fines, cobbles and boulders must lie from 0 to "
                "100 % and add up to 100 %. Check the fraction table."
            )

    def below_75_mm(self) -> SoilShares:
        """Shares of the part that is classified, cobbles and boulders taken out."""
        rest = self.gravel + self.sand + self.fines
        if rest <= NOISE:
            raise Impossible("Nothing passes 75 mm, so there is no soil to classify.")
        if self.cobbles + self.boulders <= NOISE:
            return self
        return SoilShares(self.gravel / rest, self.sand / rest, self.fines / rest)


@cache
def _base_names() -> dict[tuple[str, str], str]:
    return {(row["symbol"], row["fines"]): row["name"] for row in read_table("uscs_group_names")}


def _base_name(symbol: str, behaviour: str) -> str:
    names = _base_names()
    if (symbol, behaviour) not in names:
        raise UnknownName(f"There is no soil group {symbol!r} with {behaviour or 'few'} fines.")
    return names[symbol, behaviour]


def _with(name: str, extras: Sequence[str]) -> str:
    """The name with everything that follows "with", joined as a list."""
    head, _, already = name.partition(" with ")
    items = [already] * bool(already) + list(extras)
    if not items:
        return head
    listed = items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"
    return f"{head} with {listed}"


def _oversize(whole: SoilShares) -> list[str]:
    found = []
    if whole.cobbles > NOISE:
        found.append("cobbles")
    if whole.boulders > NOISE:
        found.append("boulders")
    return found


def coarse_name(symbol: str, behaviour: str, whole: SoilShares, *, is_organic: bool = False) -> str:
    """Group name of a coarse-grained soil.

    Parameters
    ----------
    symbol : str
        Group symbol, such as "GP-GM".
    behaviour : str
        "silt", "clay", "silty clay", or '' for a clean soil.
    whole : SoilShares
        Shares of the whole sample.
    is_organic : bool
        Whether the fines are organic.

    Returns
    -------
    str
        The name with its additions.

    Raises
    ------
    UnknownName
        When symbol and fines do not belong together.

    Notes
    -----
    A gravel gets "with sand" from 15 % sand, a sand "with gravel" from 15 % gravel, of what
    passes 75 mm. Organic fines, cobbles and boulders are added. Several additions are written
    as one list.

    References
    ----------
    ASTM D2487, classification chart and its footnotes; `data/uscs_group_names.csv`. Order in
    the list: example in ASTM D2488 (from memory).

    Examples
    --------
    >>> coarse_name("GP-GM", "silt", SoilShares(0.6, 0.32, 0.08))
    'Poorly graded gravel with silt and sand'
    """
    part = whole.below_75_mm()
    is_gravel = symbol.startswith("G")
    second, second_name = (part.sand, "sand") if is_gravel else (part.gravel, "gravel")
    extras = [second_name] if second >= WITH_FROM - NOISE else []
    extras += ["organic fines"] if is_organic else []
    return _with(_base_name(symbol, behaviour), extras + _oversize(whole))


def fine_name(symbol: str, behaviour: str, whole: SoilShares) -> str:
    """Group name of a fine-grained soil.

    Parameters
    ----------
    symbol : str
        Group symbol, such as "CL".
    behaviour : str
        "silt", "clay" or "silty clay".
    whole : SoilShares
        Shares of the whole sample.

    Returns
    -------
    str
        The name with its additions.

    Raises
    ------
    UnknownName
        When symbol and fines do not belong together.

    Notes
    -----
    With 15 to 30 % retained on 75 µm: "with sand" or "with gravel", whichever is more (sand
    when equal). From 30 %: "sandy" or "gravelly", and the other one from 15 %.

    References
    ----------
    ASTM D2487, flow charts of fine-grained soils.

    Examples
    --------
    >>> fine_name("CL", "clay", SoilShares(0.16, 0.24, 0.60))
    'Sandy lean clay with gravel'
    """
    part = whole.below_75_mm()
    name = _base_name(symbol, behaviour)
    coarse = part.gravel + part.sand
    leads_sand = part.sand >= part.gravel - NOISE
    if coarse < WITH_FROM - NOISE:
        return _with(name, _oversize(whole))
    if coarse < SANDY_FROM - NOISE:
        return _with(name, ["sand" if leads_sand else "gravel", *_oversize(whole)])
    adjective = "Sandy" if leads_sand else "Gravelly"
    other, other_name = (part.gravel, "gravel") if leads_sand else (part.sand, "sand")
    extras = [other_name] if other >= WITH_FROM - NOISE else []
    return _with(f"{adjective} {name[0].lower()}{name[1:]}", extras + _oversize(whole))

"""Reading what a worksheet says beside the sieving: descriptions wanted, ends, plasticity."""

from __future__ import annotations

from decimal import Decimal

from gradation.science.classification import FinesKind, Plasticity
from gradation.science.density import OpenEnds
from gradation.science.descriptions import Description, Soil
from gradation.science.worksheet_reading import Fields

ZERO = Decimal(0)


def read_descriptions(fields: Fields) -> tuple[Description, ...]:
    """Give the descriptions asked for; all of them when the field is missing.

    Parameters
    ----------
    fields : Fields
        The worksheet.

    Returns
    -------
    tuple of Description
        In the order asked for, each once.

    Raises
    ------
    Nothing
        Faults are noted in `fields`.

    Notes
    -----
    The field is `describe`, a list of names.

    References
    ----------
    `worksheet.schema.json`.

    Examples
    --------
    >>> [each.value for each in read_descriptions(Fields({"describe": ["uscs"]}, "$", []))]
    ['uscs']
    """
    if not fields.has("describe"):
        return tuple(Description)
    names = [each.value for each in Description]
    found = []
    for number, each in enumerate(fields.items("describe")):
        if isinstance(each, str) and each in names:
            found.append(Description(each))
        else:
            fields.fault(f"describe[{number}]", f"must be one of: {', '.join(names)}.")
    return tuple(dict.fromkeys(found))


def read_soil(fields: Fields) -> Soil:
    """Give the stated ends of the open classes, and plasticity.

    Parameters
    ----------
    fields : Fields
        The worksheet.

    Returns
    -------
    Soil
        With nothing stated where a field is missing.

    Raises
    ------
    Nothing
        Faults are noted in `fields`.

    Notes
    -----
    The fields are `open_ends` and `plasticity`, both objects.

    References
    ----------
    `worksheet.schema.json`.

    Examples
    --------
    >>> read_soil(Fields({"open_ends": {"pan_lower_um": 20}}, "$", [])).ends.pan_lower_um
    20.0
    """
    return Soil(_ends(fields.object("open_ends")), _plasticity(fields.object("plasticity")))


def _ends(fields: Fields | None) -> OpenEnds:
    """Stated ends of what is on the coarsest sieve and in the pan."""
    if fields is None:
        return OpenEnds()
    fields.only(("pan_lower_um", "top_upper_um"))
    pan = fields.decimal("pan_lower_um", least=ZERO)
    top = fields.aperture_um("top_upper_um")
    return OpenEnds(None if pan is None else float(pan), None if top is None else float(top))


def _plasticity(fields: Fields | None) -> Plasticity | None:
    """Limits of the fines, or what the hand tests say."""
    if fields is None:
        return None
    numbers = ("liquid_limit_pct", "plasticity_index", "oven_dried_liquid_limit_pct")
    fields.only((*numbers, "non_plastic", "seen_by_hand"))
    found = [fields.decimal(name, least=ZERO) for name in numbers]
    liquid, index, dried = (None if each is None else float(each) for each in found)
    kinds = {kind.value: kind for kind in (FinesKind.SILTY, FinesKind.CLAYEY)}
    seen = fields.one_of("seen_by_hand", kinds)
    is_non_plastic = fields.is_true("non_plastic", default=False)
    return Plasticity(liquid, index, dried, is_non_plastic, kinds.get(seen))

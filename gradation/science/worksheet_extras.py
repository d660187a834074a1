"""Everything a worksheet may ask for beyond the table, answered as plain data."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from gradation.science.characteristics import Characteristic
from gradation.science.classification import schemes
from gradation.science.confidence import Unconfirmed, unconfirmed
from gradation.science.descriptions import Description
from gradation.science.uncertainty import PassingUncertainty
from gradation.science.worksheet_apertures import Judged, effective_json, sensitivity_json
from gradation.science.worksheet_comparisons import power_lines_json, shaking_json
from gradation.science.worksheet_form import Worksheet
from gradation.science.worksheet_masses import Weighed
from gradation.science.worksheet_plausibility import plausibility_json
from gradation.science.worksheet_refusals import answered
from gradation.science.worksheet_uncertainty import uncertainty_json

NOTHING: Mapping[str, Any] = {
    "uncertainty": None,
    "effective": None,
    "sensitivity": [],
    "plausibility": None,
    "power_lines": [],
    "shaking": None,
}
"""The answers of a worksheet that asks for nothing beyond the table, or is still open."""


def extras_of(
    judged: Judged,
    masses: Weighed,
    found: Sequence[Characteristic],
    uncertainty: PassingUncertainty | str | None,
) -> dict[str, Any]:
    """Give the answers to everything a completely weighed worksheet asks for.

    Parameters
    ----------
    judged : Judged
        the run with its assessment
    masses : Weighed
        what was weighed
    found : sequence of Characteristic
        its characteristic values
    uncertainty : PassingUncertainty or str or None
        of the passing values; the reason why there is none; None when not asked for

    Returns
    -------
    dict
        keys of `NOTHING`; null or empty where nothing was asked for

    Raises
    ------
    WorksheetFaults
        when what was asked for cannot be

    Notes
    -----
    What the sieves cannot tell is a reason, not a refusal.

    References
    ----------
    As named by each function used.

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> from gradation.science.worksheet_masses import weighed
    >>> sheet = Worksheet(())
    >>> judged = Judged(sheet, gradation([75], [9.0, 1.0], 10.0), None, lambda curve: None)
    >>> extras_of(judged, weighed(sheet), (), None) == dict(NOTHING)
    True
    """
    worksheet = judged.worksheet
    asked = worksheet.requests
    shaking = asked.shaking
    return {
        "uncertainty": _uncertainty(worksheet, uncertainty),
        "effective": effective_json(judged),
        "sensitivity": sensitivity_json(judged),
        "plausibility": plausibility_json(worksheet, masses),
        "power_lines": power_lines_json(asked.power_lines, judged.curve, found),
        "shaking": None
        if shaking is None
        else answered("$.shaking", lambda: shaking_json(shaking)),
    }


def _uncertainty(
    worksheet: Worksheet, found: PassingUncertainty | str | None
) -> dict[str, Any] | None:
    """The uncertainty, or why there is none."""
    if found is None or isinstance(found, str):
        return None if found is None else {"reason": found}
    return answered("$.uncertainty", lambda: uncertainty_json(worksheet, found))


def kept_from_memory(worksheet: Worksheet) -> tuple[Unconfirmed, ...]:
    """Give the rules a worksheet names that are kept here from memory.

    Parameters
    ----------
    worksheet : Worksheet
        with rules by name

    Returns
    -------
    tuple of Unconfirmed
        load limits, smallest portions, loss and end point, then tables of size classes

    Raises
    ------
    Nothing
        Names that are not known have no rows.

    Notes
    -----
    A limit typed as a number is the laboratory's own and is not questioned; neither is a rule
    that the laboratory has confirmed against its own edition.

    References
    ----------
    Column `confidence` of the tables in `data/`.

    Examples
    --------
    >>> [each.rule for each in kept_from_memory(Worksheet((), loss_rule="en_933_1_loss"))]
    ['en_933_1_loss']
    """
    portion, end_point = worksheet.minimum_portion, worksheet.end_point
    limits = [worksheet.loss_rule, "" if end_point is None else end_point.name]
    found = (
        *unconfirmed("loading_limits", [worksheet.overload.rule] if worksheet.overload else []),
        *unconfirmed("sample_mass", [portion.table] if portion else []),
        *unconfirmed("acceptance_rules", [each for each in limits if each]),
    )
    return tuple(each for each in found if each.rule not in worksheet.confirmed_rules)


def memory_notes(worksheet: Worksheet) -> list[dict[str, str]]:
    """Give everything used that is kept from memory, as plain data.

    Parameters
    ----------
    worksheet : Worksheet
        with rules and descriptions by name

    Returns
    -------
    list of dict
        table, rule, standard, source, sentence

    Raises
    ------
    Nothing
        Nothing used gives an empty list.

    Notes
    -----
    Rules that pass or fail a run come first; size classes of the fraction tables after them.

    References
    ----------
    Column `confidence` of the tables in `data/`.

    Examples
    --------
    >>> memory_notes(Worksheet(()))
    []
    """
    used = schemes() if Description.FRACTIONS in worksheet.describe else ()
    found = (*kept_from_memory(worksheet), *unconfirmed("fractions", used))
    return [asdict(each) | {"sentence": each.sentence} for each in found]

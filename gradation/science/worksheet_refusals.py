"""What a request for more than the table gives when the calculation refuses it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from gradation.science.errors import GradationError, NotDeterminable
from gradation.science.propagation import FloatArray
from gradation.science.worksheet_form import Fault, WorksheetFaults


def answered(path: str, answer: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    """Give an answer, or the reason why these sieves cannot give it.

    Parameters
    ----------
    path : str
        JSON path of what was asked
    answer : callable
        gives the answer as plain JSON data

    Returns
    -------
    dict
        the answer, or `reason` alone

    Raises
    ------
    WorksheetFaults
        when what was asked cannot be: that is for the sender to put right

    Notes
    -----
    `NotDeterminable` is a finding about the run and becomes a reason; every other refusal is a
    fault of the request.

    References
    ----------
    RFC 9535 for the path.

    Examples
    --------
    >>> def refuse():
    ...     raise NotDeterminable("One sieve shows no slope.")
    >>> answered("$.uncertainty", refuse)
    {'reason': 'One sieve shows no slope.'}
    """
    try:
        return answer()
    except NotDeterminable as refusal:
        return {"reason": str(refusal)}
    except WorksheetFaults:
        raise
    except GradationError as refusal:
        raise WorksheetFaults([Fault(path, str(refusal))]) from refusal


def known(value: float) -> float | None:
    """Give a number, or None where it is none.

    Parameters
    ----------
    value : float
        any number

    Returns
    -------
    float or None
        None for NaN and infinity

    Raises
    ------
    Nothing
        Every number has an answer.

    Notes
    -----
    JSON has neither NaN nor infinity.

    References
    ----------
    RFC 8259, section 6.

    Examples
    --------
    >>> known(float("nan")), known(1.5)
    (None, 1.5)
    """
    number = float(value)
    return number if np.isfinite(number) else None


def pct(shares: FloatArray) -> list[float | None]:
    """Give shares as percentages, None where they are not known.

    Parameters
    ----------
    shares : ndarray, (n,)
        shares, 0 to 1

    Returns
    -------
    list of float or None
        percentages [%]

    Raises
    ------
    Nothing
        NaN becomes None.

    Notes
    -----
    Unrounded.

    References
    ----------
    RFC 8259, section 6.

    Examples
    --------
    >>> pct(np.array([0.5, np.nan]))
    [50.0, None]
    """
    return [known(100.0 * share) for share in shares]


def sieve_name(aperture_um: float) -> int | float:
    """Give an aperture as JSON writes it: whole where it is whole.

    Parameters
    ----------
    aperture_um : float
        aperture [µm]

    Returns
    -------
    int or float
        the same number

    Raises
    ------
    Nothing
        Every aperture has an answer.

    Notes
    -----
    As in `table`.

    References
    ----------
    RFC 8259, section 6.

    Examples
    --------
    >>> sieve_name(75.0)
    75
    """
    return int(aperture_um) if aperture_um == int(aperture_um) else float(aperture_um)

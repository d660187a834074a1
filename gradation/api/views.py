"""Endpoints: parse, call one query or one calculation, render."""

from __future__ import annotations

import re
from typing import Any, ClassVar

from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.told import Told
from gradation.errors import Fault, Invalid, NotFound
from gradation.science.computing import compute
from gradation.science.errors import GradationError
from gradation.science.worksheet import Fault as WorksheetFault
from gradation.science.worksheet import WorksheetFaults


def _pointed(fault: WorksheetFault) -> Fault:
    """Turn a path such as $.fractions[2].mass_g into a pointer such as fractions/2/mass_g."""
    pointer = re.sub(r"[.\[\]]+", "/", fault.path.removeprefix("$")).strip("/")
    return Fault(pointer, fault.message, "worksheet")


#: The worksheet has a JSON Schema of its own, and so have the calculations.
WORKSHEET: dict[str, Any] = {
    "type": "object",
    "description": "A worksheet: masses by sieve and what is to be made of them; or a named "
    "calculation. As `manage.py compute` takes it.",
    "additionalProperties": {},
}
FIGURES: dict[str, Any] = {
    "type": "object",
    "description": "table, percentiles, characteristics, models, assessment, warnings.",
    "additionalProperties": {},
}


class Gradations(Endpoint):
    """Compute a worksheet or a named calculation, and keep nothing."""

    area = "gradations"
    operation = "gradations"
    is_open = True
    area_acts: ClassVar[dict[str, str]] = {"POST": "read"}  # computes, keeps nothing
    told: ClassVar[dict[str, Told]] = {"POST": Told(takes=WORKSHEET, gives=FIGURES, keyed=False)}

    def post(self, request: Request) -> Response:
        """Give what `compute` prints for the same worksheet or calculation."""
        try:
            return Response(compute(request.data))
        except WorksheetFaults as error:
            raise Invalid(_pointed(fault) for fault in error.faults) from error
        except GradationError as error:
            raise Invalid.one("", str(error), code="cannot-compute") from error


class NotThere(Endpoint):
    """Every address of the interface that is none."""

    area = "interface"
    is_open = True
    schema = None  # type: ignore[assignment]  # so the framework leaves it out

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Refuse before anything else: there is nothing to be let in to."""
        msg = "There is no such address. The contract is at /api/v1/openapi.json."
        raise NotFound(msg)

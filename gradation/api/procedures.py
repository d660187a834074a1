"""Endpoints of procedures: read, draft, propose, release; the library to draft from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.equipment import StaffView
from gradation.errors import Invalid, NotFound
from gradation.models import Procedure, ProcedureVersion
from gradation.policy import Action
from gradation.queries import methods as file
from gradation.queries.procedure_file import version_words
from gradation.science.errors import UnknownName
from gradation.science.procedure_library import LibraryProcedure, library_procedure, procedures
from gradation.services import methods
from gradation.services.procedure_reading import ReadProcedure, from_library, read_procedure


def _version(pk: int) -> ProcedureVersion:
    version = file.procedure_version(pk)
    if version is None:
        msg = "There is no such version of a procedure. List the procedures first."
        raise NotFound(msg)
    return version


class Procedures(StaffView):
    """The procedures with their versions; a draft is sent here."""

    area = "procedures"
    act: ClassVar[dict[str, Action]] = {"POST": Action.KEEP_PROCEDURES}

    def get(self, request: Request) -> Response:
        """List every procedure with its versions, newest first."""
        return Response({"results": [_listed(row) for row in file.procedure_list()]})

    def post(self, request: Request) -> Response:
        """Draft the next version of the procedure with this code, or the first of a new one.

        With `library`, the draft begins with that procedure of the library; what is sent beside
        it takes the place of what the library says.
        """
        read = _read(request.data)
        drafted = methods.draft_procedure_version(
            actor=self.person,
            version=ProcedureVersion(procedure=_named(read.named), **read.fields),
            places=read.places,
        )
        return Response(version_words(_version(drafted.pk)), status=status.HTTP_201_CREATED)


def _listed(row: Procedure) -> dict[str, Any]:
    return {
        "code": row.code,
        "title": row.title,
        "versions": [
            {
                "id": version.pk,
                "version": version.version,
                "state": version.state,
                "standard_reference": version.standard_reference,
                "edition": version.edition,
                "sieves": len(version.apertures.all()),
            }
            for version in row.versions.all()
        ],
    }


def _read(data: object) -> ReadProcedure:
    if not isinstance(data, Mapping):
        raise Invalid.one("", "Send one JSON object: code, standard, sizes.", code="no-object")
    sent = {str(name): value for name, value in data.items()}
    key = sent.pop("library", None)
    if key is None:
        return read_procedure(sent)
    begun = from_library(_kept(str(key)))
    sizes = [{"size": f"{place.aperture_um} µm"} for place in begun.places]
    own = read_procedure({"apertures": sizes, **sent})
    return ReadProcedure(
        {**begun.named, **{name: word for name, word in own.named.items() if word}},
        {**begun.fields, **own.fields},
        own.places if "apertures" in sent else begun.places,
    )


def _kept(key: str) -> LibraryProcedure:
    try:
        return library_procedure(key)
    except UnknownName as error:
        raise Invalid.one("library", str(error), code="unknown-procedure") from error


def _named(named: Mapping[str, str]) -> Procedure:
    if not named.get("code"):
        raise Invalid.one("code", "Say under which code the procedure is kept.")
    known = Procedure.objects.filter(code=named["code"]).first()
    return known or Procedure(**named)


class OneVersion(StaffView):
    """One version of a procedure."""

    area = "procedures"

    def get(self, request: Request, pk: int) -> Response:
        """Give all that the version says."""
        return Response(version_words(_version(pk)))


class Proposal(StaffView):
    """A draft is proposed here."""

    area = "procedures"
    act: ClassVar[dict[str, Action]] = {"POST": Action.KEEP_PROCEDURES}

    def post(self, request: Request, pk: int) -> Response:
        """Propose a draft for release by another person."""
        methods.propose_procedure_version(actor=self.person, version=_version(pk))
        return Response(version_words(_version(pk)))


class Approval(StaffView):
    """A proposed version is released here."""

    area = "procedures"
    act: ClassVar[dict[str, Action]] = {"POST": Action.APPROVE_PROCEDURES}

    def post(self, request: Request, pk: int) -> Response:
        """Release it; `confirmation` says which copy figures from memory were compared with."""
        sent = request.data if isinstance(request.data, Mapping) else {}
        methods.approve_procedure_version(
            actor=self.person,
            version=_version(pk),
            confirmation=str(sent.get("confirmation") or "")[:240],
        )
        return Response(version_words(_version(pk)))


class Library(StaffView):
    """The library of procedures."""

    area = "procedures"

    def get(self, request: Request) -> Response:
        """List its procedures, each figure with source and mark."""
        return Response({"results": [_of_library(kept) for kept in procedures()]})


def _of_library(kept: LibraryProcedure) -> dict[str, Any]:
    nest = {name: getattr(kept, name) for name in ("sieves", "optional", "split")}
    told = {name: figure for name, figure in nest.items() if figure.value}
    return {
        "library": kept.key,
        "trade": kept.trade,
        "title": kept.title,
        "figures": {
            name: {"value": figure.value, "mark": figure.mark, "source": figure.source}
            for name, figure in {**told, **kept.figures}.items()
        },
    }

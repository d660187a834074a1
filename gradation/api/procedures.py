"""Endpoints of procedures: read, draft, propose, release; the library to draft from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.told import Told
from gradation.api.equipment import StaffView
from gradation.errors import Invalid, NotFound
from gradation.models import Procedure, ProcedureVersion, User
from gradation.policy import Action
from gradation.queries import methods as file
from gradation.queries.procedure_file import version_words
from gradation.science.errors import UnknownName
from gradation.science.procedure_library import LibraryProcedure, library_procedure, procedures
from gradation.services import methods
from gradation.services.procedure_reading import ReadProcedure, from_library, read_procedure


def find_version(person: User, pk: int) -> ProcedureVersion:
    """Give a version, or `NotFound`."""
    version = file.procedure_version(pk)
    if version is None:
        msg = "There is no such version of a procedure. List the procedures first."
        raise NotFound(msg)
    return version


class ProcedureBriefOut(serializers.Serializer[Any]):
    """A version as lists show it."""

    id = serializers.IntegerField()
    version = serializers.IntegerField()
    state = serializers.CharField()
    standard_reference = serializers.CharField()
    edition = serializers.CharField()
    sieves = serializers.IntegerField()


class ProcedureOut(serializers.Serializer[Any]):
    """A procedure with its versions, newest first."""

    code = serializers.CharField()
    title = serializers.CharField()
    versions = ProcedureBriefOut(many=True)


class ProceduresOut(serializers.Serializer[Any]):
    """Every procedure."""

    results = ProcedureOut(many=True)


#: All that a version says, by the names of its columns; the same words can be sent as a draft.
VERSION: dict[str, Any] = {
    "type": "object",
    "description": "A version: code, standard, sizes, and every rule with its figures as text.",
    "properties": {"id": {"type": "integer"}, "state": {"type": "string"}},
    "additionalProperties": {},
}
LIBRARY: dict[str, Any] = {
    "type": "object",
    "description": "The procedures of the library, each figure with source and mark.",
    "properties": {"results": {"type": "array", "items": {"type": "object"}}},
    "required": ["results"],
}


class Procedures(StaffView):
    """The procedures with their versions; a draft is sent here."""

    area = "procedures"
    operation = "procedures"
    told: ClassVar[Mapping[str, Told]] = {
        "GET": Told(gives=ProceduresOut),
        "POST": Told(
            takes=VERSION, gives=VERSION, code=201, service=methods.draft_procedure_version
        ),
    }
    act: ClassVar[Mapping[str, Action]] = {"POST": Action.KEEP_PROCEDURES}

    def get(self, request: Request) -> Response:
        """List every procedure with its versions, newest first."""
        return Response({"results": [_listed(row) for row in file.procedure_list()]})

    def post(self, request: Request) -> Response:
        """Draft the next version of the procedure with this code, or the first of a new one.

        With `library`, the draft begins with that procedure of the library; what is sent beside
        it takes the place of what the library says.
        """
        read = read_draft(request.data)
        drafted = methods.draft_procedure_version(
            actor=self.person,
            version=ProcedureVersion(procedure=_named(read.named), **read.fields),
            places=read.places,
        )
        return Response(
            version_words(find_version(self.person, drafted.pk)), status=status.HTTP_201_CREATED
        )


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


def read_draft(data: object) -> ReadProcedure:
    """Read a draft as it was sent, from the library where one is named."""
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


class Library(StaffView):
    """The library of procedures."""

    area = "procedures"
    operation = "procedure-library"
    told: ClassVar[Mapping[str, Told]] = {"GET": Told(gives=LIBRARY)}

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

"""Endpoints of report forms: how certificates look for a customer, a material, a trade."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gradation.api.contract.files import Base64File
from gradation.api.contract.things import Act, Listing, ReasonIn, Thing, Words, route
from gradation.api.contract.told import OlderPage, Sent
from gradation.api.serializers import states
from gradation.documents.certificate_gaps import REQUIRED_ITEMS
from gradation.documents.certificate_table import COLUMNS
from gradation.errors import Fault, Invalid, NotFound
from gradation.models import Language, Paper, ReportForm, User
from gradation.queries.laboratory import customer_list, material_list
from gradation.queries.report_forms import find_report_form, report_forms
from gradation.science.rounding import RoundingMode
from gradation.services import report_forms as services


class ReportFormIn(Sent):
    """How certificates look, and for whom: one customer, one material, one trade, or all others."""

    name = serializers.CharField(max_length=80)
    customer = serializers.CharField(max_length=160, default=None, allow_null=True)
    material = serializers.CharField(max_length=120, default=None, allow_null=True)
    trade = serializers.CharField(max_length=60, default="", allow_blank=True)
    title = serializers.CharField(max_length=120, default="", allow_blank=True)
    language = serializers.ChoiceField(states(Language), default=Language.ENGLISH.value)
    paper = serializers.ChoiceField(states(Paper), default=Paper.A4.value)
    columns = serializers.ListField(
        child=serializers.ChoiceField(list(COLUMNS)),
        default=list,
        max_length=len(COLUMNS),
        help_text="Empty: all that say something.",
    )
    scale = serializers.CharField(max_length=12, default="log")
    direction = serializers.CharField(max_length=12, default="fine_left")
    retained_axis = serializers.BooleanField(default=False)
    passing_decimals = serializers.IntegerField(
        default=None, allow_null=True, min_value=0, max_value=2, help_text="Null: as the procedure."
    )
    rounding_mode = serializers.ChoiceField(
        states(RoundingMode), default=RoundingMode.HALF_EVEN.value
    )
    states_uncertainty = serializers.BooleanField(default=False)
    required_items = serializers.ListField(
        child=serializers.ChoiceField(list(REQUIRED_ITEMS)),
        default=list,
        max_length=len(REQUIRED_ITEMS),
    )
    is_simplified = serializers.BooleanField(default=False)
    agreement = serializers.CharField(max_length=240, default="", allow_blank=True)
    logo_base64 = Base64File(required=False)


class ReportFormChangeIn(ReportFormIn):
    """A form as it should stand, and why it is changed; without a logo the present one stays."""

    reason = serializers.CharField(max_length=400)


class ReportFormOut(serializers.Serializer):
    """A report form."""

    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()
    customer = serializers.CharField(source="customer.name", default=None, allow_null=True)
    material = serializers.CharField(source="material.name", default=None, allow_null=True)
    trade = serializers.CharField()
    title = serializers.CharField()
    language = serializers.ChoiceField(states(Language))
    paper = serializers.ChoiceField(states(Paper))
    columns = serializers.ListField(child=serializers.CharField())
    scale = serializers.CharField()
    direction = serializers.CharField()
    retained_axis = serializers.BooleanField()
    passing_decimals = serializers.IntegerField(allow_null=True)
    rounding_mode = serializers.ChoiceField(states(RoundingMode))
    states_uncertainty = serializers.BooleanField()
    required_items = serializers.ListField(child=serializers.CharField())
    is_simplified = serializers.BooleanField()
    agreement = serializers.CharField()
    logo_sha256 = serializers.CharField(help_text="Empty without a logo.")
    is_active = serializers.BooleanField()
    version = serializers.IntegerField(help_text="Counts the changes.")


def _form(person: User, pk: int) -> ReportForm:
    found = find_report_form(pk)
    if found is None:
        msg = "There is no such report form. See /api/v1/report-forms."
        raise NotFound(msg)
    return found


FORM = Thing("form", _form, ReportFormOut)


def _forms(person: User, asked: Words) -> QuerySet[ReportForm]:
    return report_forms()


def _looked_up(told: Words) -> dict[str, Any]:
    named = {"customer": customer_list(), "material": material_list()}
    found: dict[str, Any] = dict(told)
    faults = []
    for word, rows in named.items():
        if told[word] is None:
            continue
        found[word] = rows.filter(name=told[word]).first()
        if found[word] is None:
            faults.append(Fault(word, f"There is no {word} of this name.", f"unknown-{word}"))
    if faults:
        raise Invalid(faults)
    found["logo"] = found.pop("logo_base64", None)
    return found


def _new(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    found = _looked_up(told)
    logo = found.pop("logo")
    return {"form": ReportForm(**found), "logo": logo}


def _changed(person: User, form: ReportForm, told: Words) -> Words:
    return _looked_up(told)


routes = [
    route(
        "report-forms",
        "report-forms",
        "certificates",
        get=Listing(_forms, ReportFormOut, OlderPage),
        post=Act(services.draw_up_form, ReportFormIn, _new, made=FORM, code=201),
    ),
    route(
        "report-forms/<int:pk>",
        "report-form",
        "certificates",
        get=FORM,
        put=Act(services.change_form, ReportFormChangeIn, _changed, FORM),
    ),
    route(
        "report-forms/<int:pk>/give-up",
        "report-form-give-up",
        "certificates",
        post=Act(services.give_up_form, ReasonIn, thing=FORM),
    ),
]

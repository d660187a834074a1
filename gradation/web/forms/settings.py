"""Settings: the laboratory, its policies, people, and the parties it works for."""

from __future__ import annotations

from typing import Any, ClassVar
from zoneinfo import available_timezones

from django import forms

from gradation.models import Customer, Material, Source, User
from gradation.policy import Role
from gradation.queries.laboratory import customer_list
from gradation.queries.methods import procedure_list, specification_list
from gradation.web.forms.base import (
    NotebookForm,
    ReasonField,
    RowField,
    WholeField,
    WordsField,
)


class LaboratoryForm(NotebookForm):
    """The laboratory's particulars and policies."""

    name = WordsField("Name", max_length=160)
    address = WordsField("Address", look="long", rows=3, max_length=1000)
    work_place = WordsField("Where the testing is done", max_length=160)
    contact = WordsField("Contact", max_length=160, required=False)
    accreditation = WordsField("Accreditation", look="long", required=False)
    certificate_title = WordsField("Title of certificates", look="long", max_length=120)
    time_zone = WordsField("Time zone", max_length=64, help_text="Such as Europe/Oslo.")
    approver_must_differ = forms.BooleanField(
        label="Who proposed a version of a specification or procedure does not approve it",
        required=False,
    )
    second_factor_required = forms.BooleanField(
        label="Signatories and quality managers need a second factor",
        required=False,
    )
    due_soon_days = WholeField("Due soon means within", unit="days", min_value=0, max_value=365)
    retention_days = WholeField("Samples are kept for", unit="days", min_value=0, max_value=36500)
    reason = ReasonField("Why is it changed")

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("The laboratory", ("name", "work_place", "contact", "address", "accreditation")),
        ("Documents", ("certificate_title", "time_zone")),
        (
            "Policies",
            (
                "due_soon_days",
                "retention_days",
                "approver_must_differ",
                "second_factor_required",
            ),
        ),
        ("Why", ("reason",)),
    )

    def clean_time_zone(self) -> str:
        """Refuse a name that no time zone has."""
        name: str = self.cleaned_data["time_zone"]
        if name not in available_timezones():
            msg = f"No time zone is called {name}. Write it as Europe/Oslo or UTC."
            raise forms.ValidationError(msg)
        return name


_ROLES = [(role.value, role.value) for role in Role]


class RolesField(forms.MultipleChoiceField):
    """What a person may do, each role to be ticked."""

    widget = forms.CheckboxSelectMultiple

    def __init__(self, **options: Any) -> None:
        super().__init__(label="Roles", choices=_ROLES, **options)

    def clean(self, value: object) -> list[Role]:
        """Give the roles."""
        return [Role(name) for name in super().clean(value)]


class PersonForm(NotebookForm):
    """A new account with its roles."""

    username = WordsField("Sign-in name", max_length=150)
    full_name = WordsField("Full name", max_length=120, help_text="As documents print it.")
    email = forms.EmailField(label="E-mail", required=False)
    password = forms.CharField(
        label="First password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="At least 12 characters. It must be changed at the first sign-in.",
    )
    roles = RolesField()
    customer = RowField(
        "Customer",
        customer_list,
        required=False,
        help_text="For the role customer: whose samples and certificates the account sees.",
    )

    def clean(self) -> dict[str, Any] | None:
        """Refuse a customer's account without its customer, and the role beside others."""
        cleaned = super().clean() or {}
        roles = cleaned.get("roles", [])
        if (Role.CUSTOMER in roles) != (cleaned.get("customer") is not None):
            self.add_error("customer", "Name it for the role customer, and for no other.")
        if Role.CUSTOMER in roles and len(roles) > 1:
            self.add_error("roles", "Who sees one customer's samples only has no other role.")
        return cleaned

    def person(self) -> User:
        """Give the service the person that was described."""
        return User(
            **{
                name: self.cleaned_data[name]
                for name in ("username", "full_name", "email", "customer")
            }
        )


class RolesForm(NotebookForm):
    """A person's roles, changed with a reason."""

    roles = RolesField(required=False)
    reason = ReasonField("Why are they changed")


class CustomerForm(NotebookForm):
    """A customer as certificates name it."""

    name = WordsField("Name", max_length=160)
    contact_name = WordsField("Contact", max_length=120, required=False)
    email = forms.EmailField(label="E-mail", required=False)
    address = WordsField("Address", look="long", rows=3, max_length=1000, required=False)

    def customer(self) -> Customer:
        """Give the service the customer that was described."""
        return Customer(**self.cleaned_data)


class SourceForm(NotebookForm):
    """A pit, plant or line of a customer."""

    customer = RowField("Customer", customer_list)
    name = WordsField("Name of the source", max_length=120)
    kind = WordsField(
        "Kind", max_length=40, required=False, help_text="Pit, plant, line, stockpile."
    )
    place = WordsField("Place", max_length=160, required=False)

    def source(self) -> Source:
        """Give the service the source that was described."""
        return Source(**self.cleaned_data)


class SourceChangeForm(NotebookForm):
    """A source's particulars; whose it is stays, because samples were logged under it."""

    name = WordsField("Name of the source", max_length=120)
    kind = WordsField(
        "Kind", max_length=40, required=False, help_text="Pit, plant, line, stockpile."
    )
    place = WordsField("Place", max_length=160, required=False)


class MaterialForm(NotebookForm):
    """A kind of material with what it is tested by."""

    name = WordsField("Name", max_length=120)
    trade = WordsField("Trade", max_length=60, required=False)
    default_procedure = RowField("Procedure", procedure_list, required=False)
    default_specification = RowField("Specification", specification_list, required=False)
    hazards = WordsField(
        "Hazards",
        look="long",
        rows=3,
        max_length=2000,
        required=False,
        help_text="Shown where the work is done: silica, combustible dust, hot, sharp.",
    )

    def material(self) -> Material:
        """Give the service the material that was described."""
        return Material(**self.cleaned_data)

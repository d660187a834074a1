"""Tokens of client systems: what one is for, whom it acts for, how long."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms

from gradation.models import Scope
from gradation.queries.equipment import bench_list
from gradation.queries.tokens import token_owners
from gradation.services.tokens import LONGEST_DAYS, Wanted
from gradation.web.forms.base import NotebookForm, RowField, WholeField, WordsField


class ScopesField(forms.MultipleChoiceField):
    """What a token is good for: first what it reads, then what it writes."""

    look = "whole scopes"
    widget = forms.CheckboxSelectMultiple

    def __init__(self, **options: Any) -> None:
        named = sorted(Scope, key=lambda scope: not scope.value.startswith("read"))
        options["choices"] = [(scope.value, scope.value) for scope in named]
        options["help_text"] = "A balance gateway needs: write bench readings."
        super().__init__(label="What it is for", **options)


class TokenForm(NotebookForm):
    """A new token."""

    name = WordsField(
        "Which system", max_length=80, help_text="Such as: gateway in the sieve room."
    )
    owner = RowField(
        "Acts for",
        token_owners,
        help_text="It may do what this person may, and no more. Closing the account closes it too.",
    )
    bench = RowField(
        "Only for this bench", bench_list, required=False, help_text="Left open: for all."
    )
    scopes = ScopesField()
    valid_days = WholeField(
        "Good for", unit="days", min_value=1, max_value=LONGEST_DAYS, initial=365
    )

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("The system", ("name", "owner", "valid_days")),
        ("What it may do", ("scopes", "bench")),
    )

    def wanted(self) -> Wanted:
        """Give the service what was asked for."""
        return Wanted(**self.cleaned_data)

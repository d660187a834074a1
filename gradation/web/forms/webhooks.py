"""Webhooks: which system is called where, and of what it hears."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms

from gradation.models import Event
from gradation.services.webhooks import WebhookWanted
from gradation.web.forms.base import NotebookForm, WordsField

#: What each event is called on the page; the word that is sent stands beside it.
EVENT_WORDS = {
    Event.SAMPLE_LOGGED: "a sample was logged",
    Event.RUN_ACCEPTED: "a run was accepted",
    Event.CERTIFICATE_ISSUED: "a certificate was issued",
    Event.CERTIFICATE_AMENDED: "a certificate was amended",
    Event.CERTIFICATE_WITHDRAWN: "a certificate was withdrawn",
    Event.SIEVE_OUT_OF_SERVICE: "a sieve went out of service",
}


class EventsField(forms.MultipleChoiceField):
    """What a webhook hears of."""

    look = "whole scopes"
    widget = forms.CheckboxSelectMultiple

    def __init__(self, **options: Any) -> None:
        options["choices"] = [(event.value, words) for event, words in EVENT_WORDS.items()]
        super().__init__(label="It is told when", **options)


class WebhookForm(NotebookForm):
    """A webhook, new or changed."""

    name = WordsField("Which system", max_length=80, help_text="Such as: plant office, Tarnholt.")
    url = WordsField(
        "Address",
        look="long",
        max_length=500,
        help_text="Begins with https://. A private network needs the server's leave.",
    )
    events = EventsField()

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("The system", ("name", "url")),
        ("What it hears of", ("events",)),
    )

    def wanted(self) -> WebhookWanted:
        """Give the service what was asked for."""
        return WebhookWanted(**self.cleaned_data)

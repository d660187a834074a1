"""Signing in."""

from __future__ import annotations

from django import forms
from django.contrib.auth.forms import AuthenticationForm, UsernameField

from gradation.web.forms.base import NotebookForm


class SignInForm(NotebookForm, AuthenticationForm):
    """Name and password; a wrong pair is answered without saying which was wrong."""

    username = UsernameField(label="Name", widget=forms.TextInput(attrs={"autofocus": True}))
    error_messages = {
        "invalid_login": "Name and password do not belong together. Type both again.",
        "inactive": "This account is closed. Ask the quality manager.",
    }

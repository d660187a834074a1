"""Signing in, setting up, and what people change about their own accounts."""

from __future__ import annotations

from typing import Any, ClassVar
from zoneinfo import available_timezones

from django import forms

from gradation.models import Laboratory, User
from gradation.web.forms.base import NotebookForm, ReasonField, WordsField

LONGEST_PASSWORD = 1000  # nothing is cut off; more than this is no password but an attack
HINT = "At least 12 characters; a few words nobody connects with you are good. 64 and more fit."


class PasswordField(forms.CharField):
    """A password as it was typed, with nothing taken off."""

    def __init__(self, label: str = "Password", *, new: bool = False, **options: Any) -> None:
        kind = "new-password" if new else "current-password"
        options["widget"] = forms.PasswordInput(attrs={"autocomplete": kind})
        options.setdefault("help_text", HINT if new else "")
        super().__init__(label=label, strip=False, max_length=LONGEST_PASSWORD, **options)


class CodeField(forms.CharField):
    """A one-time code, or a recovery code."""

    def __init__(self, label: str = "Code", **options: Any) -> None:
        attrs = {"autocomplete": "one-time-code", "inputmode": "text", "spellcheck": "false"}
        options["widget"] = forms.TextInput(attrs=attrs)
        super().__init__(label=label, max_length=40, **options)


class SignInForm(NotebookForm):
    """Name and password; a wrong pair is answered without saying which was wrong."""

    username = forms.CharField(
        label="Name",
        max_length=150,
        widget=forms.TextInput(
            attrs={"autofocus": True, "autocapitalize": "none", "autocomplete": "username"}
        ),
    )
    password = PasswordField()


class CodeForm(NotebookForm):
    """The second step of signing in."""

    code = CodeField(
        help_text="Six figures from your generator, or one of your recovery codes.",
    )


class FirstCodeForm(NotebookForm):
    """The first code of a new generator."""

    code = CodeField(help_text="Six figures, as the generator shows them now.")


class ConfirmForm(NotebookForm):
    """The password once more, before something about an account is changed."""

    password = PasswordField("Your password")
    code = CodeField(required=False, help_text="Only if you have a second factor.")


class NewPasswordForm(NotebookForm):
    """A new password, twice because nobody sees it."""

    new = PasswordField("New password", new=True)
    again = PasswordField("The same once more", new=True, help_text="")

    def clean(self) -> dict[str, Any] | None:
        """Refuse two that differ."""
        cleaned = super().clean() or {}
        if cleaned.get("new") and cleaned.get("again") and cleaned["new"] != cleaned["again"]:
            self.add_error("again", "The two differ. Type both again.")
        return cleaned


class ChangePasswordForm(NewPasswordForm):
    """One's own password, after the present one."""

    old = PasswordField("Present password")
    field_order = ["old", "new", "again"]


class EmailForm(NotebookForm):
    """One's own e-mail address."""

    email = forms.EmailField(label="E-mail", max_length=254)


class AskResetForm(NotebookForm):
    """Whose password is to be set anew."""

    username = forms.CharField(
        label="Name", max_length=150, widget=forms.TextInput(attrs={"autofocus": True})
    )


class FactorGoneForm(NotebookForm):
    """Why a second factor ends."""

    reason = ReasonField("Why does it end")


class SetUpForm(NotebookForm):
    """The first start: the laboratory and its quality manager."""

    code = CodeField("Set-up code", help_text="The server printed it when it started.")
    name = WordsField("Name of the laboratory", max_length=160)
    work_place = WordsField("Where the testing is done", max_length=160)
    address = WordsField("Address", look="long", rows=3, max_length=1000)
    time_zone = WordsField("Time zone", max_length=64, help_text="Such as Europe/Oslo.")
    full_name = WordsField("Your full name", max_length=120, help_text="As documents print it.")
    username = WordsField("Your sign-in name", max_length=150)
    email = forms.EmailField(label="Your e-mail", required=False)
    password = PasswordField("Your password", new=True)

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("The code", ("code",)),
        ("The laboratory", ("name", "work_place", "time_zone", "address")),
        ("You, its quality manager", ("full_name", "username", "email", "password")),
    )

    def clean_time_zone(self) -> str:
        """Refuse a name that no time zone has."""
        name: str = self.cleaned_data["time_zone"]
        if name not in available_timezones():
            msg = f"No time zone is called {name}. Write it as Europe/Oslo or UTC."
            raise forms.ValidationError(msg)
        return name

    def laboratory(self) -> Laboratory:
        """Give the service the laboratory that was described."""
        names = ("name", "work_place", "address", "time_zone")
        return Laboratory(**{name: self.cleaned_data[name] for name in names})

    def person(self) -> User:
        """Give the service the person that was described."""
        names = ("username", "full_name", "email")
        return User(**{name: self.cleaned_data[name] for name in names})

"""Verification: the code on a certificate, or a file that is said to be one."""

from __future__ import annotations

from django import forms

from gradation.web.forms.base import NotebookForm, WordsField

LARGEST_FILE = 20_000_000


class CodeForm(NotebookForm):
    """The code as it is printed beside the square code."""

    code = WordsField(
        "Code on the certificate",
        max_length=80,
        help_text="Letters and digits; dashes may be left out.",
    )


class FileForm(NotebookForm):
    """The file that somebody got as a certificate."""

    file = forms.FileField(
        label="The certificate as a PDF file",
        widget=forms.ClearableFileInput(attrs={"accept": "application/pdf,.pdf"}),
    )

    def clean_file(self) -> bytes:
        """Give the bytes of the file, or say that it is too large."""
        file = self.cleaned_data["file"]
        if file.size > LARGEST_FILE:
            msg = f"The file has more than {LARGEST_FILE // 1_000_000} MB; no certificate has."
            raise forms.ValidationError(msg)
        content: bytes = file.read()
        return content

"""Files inside a JSON body: their bytes as base64 (RFC 4648, 4)."""

from __future__ import annotations

import base64
import binascii

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

__all__ = ["Base64File"]

_ABOUT = "The bytes of the file as base64. A whole request may have 2.5 MB, so 1.9 MB of file."


@extend_schema_field({"type": "string", "contentEncoding": "base64", "minLength": 4})
class Base64File(serializers.CharField):
    """The bytes of a file."""

    default_error_messages = {"no_base64": "It is no base64. Encode the bytes of the file with it."}

    def __init__(self, *, required: bool = True) -> None:
        super().__init__(help_text=_ABOUT, min_length=4, trim_whitespace=False, required=required)

    def run_validation(self, data: object = serializers.empty) -> bytes:
        """Give the bytes."""
        text = super().run_validation(data)
        try:
            return base64.b64decode(text, validate=True)
        except (binascii.Error, ValueError):
            self.fail("no_base64")

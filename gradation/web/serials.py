"""Serial numbers in addresses: makers print what they like, even signs that end an address."""

from __future__ import annotations

from django.urls import register_converter

#: Each sign with what stands for it in an address; the tilde first, so that all can be undone.
_SIGNS = (("~", "~7E"), ("/", "~2F"), (".", "~2E"))


class SerialConverter:
    """Writes a serial number as one step of an address, and reads it back."""

    regex = "[^/]+"

    def to_python(self, value: str) -> str:
        """Give the serial number that an address names."""
        for sign, written in reversed(_SIGNS):
            value = value.replace(written, sign)
        return value

    def to_url(self, value: str) -> str:
        """Give the step of the address: a slash would end it, dots alone would climb up."""
        shown = _SIGNS if set(value) <= {"."} else _SIGNS[:2]
        for sign, written in shown:
            value = value.replace(sign, written)
        return value


register_converter(SerialConverter, "serial")

"""A PDF from outside, read: what data it carries, and whether its signature holds.

Runs in a printing child: whatever the file is, it can harm nothing but that child.
"""

from io import BytesIO
from typing import Any

from pyhanko.pdf_utils.misc import PdfError
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation.errors import SignatureValidationError
from pyhanko.sign.validation.generic_cms import validate_sig_integrity
from pyhanko.sign.validation.pdf_embedded import EmbeddedPdfSignature

from gradation.documents.printing.terms import DATA_FILE

__all__ = ["found_in"]


def found_in(pdf: bytes) -> dict[str, Any]:
    """Return what a file holds: `is_pdf`, `data`, `signature`, `signed_by`, `signed_bytes`.

    `signature` is 'intact', 'broken' or 'none'; an intact one covers the first `signed_bytes` of
    the file, and what stands after them was added later.
    """
    found: dict[str, Any] = {
        "is_pdf": False,
        "data": "",
        "signature": "none",
        "signed_by": "",
        "signed_bytes": 0,
    }
    try:
        reader = PdfFileReader(BytesIO(pdf))
        found["is_pdf"] = True
        found["data"] = _embedded(reader, DATA_FILE)
        for signature in reader.embedded_signatures[:1]:
            found |= _judged(signature)
    except (PdfError, ValueError, KeyError, TypeError, IndexError, AttributeError, OSError):
        found["is_broken"] = True  # what could be found before stands
    return found


def _embedded(reader: PdfFileReader, name: str) -> str:
    if "/Names" not in reader.root or "/EmbeddedFiles" not in reader.root["/Names"]:
        return ""
    names = reader.root["/Names"]["/EmbeddedFiles"]["/Names"]
    for index in range(0, len(names), 2):
        if str(names[index]) == name:
            data: bytes = names[index + 1]["/EF"]["/F"].data
            return data.decode()
    return ""


def _judged(signature: EmbeddedPdfSignature) -> dict[str, Any]:
    """Say whether the signed bytes are those that were signed, by the key that the file names."""
    first, length, second, rest = (int(part) for part in signature.byte_range)
    whole = first == 0 and second > length
    try:
        intact, valid = validate_sig_integrity(
            signature.signer_info,
            signature.signer_cert,
            expected_content_type="data",
            actual_digest=signature.compute_digest(),
        )
    except SignatureValidationError:
        intact = valid = False
    return {
        "signature": "intact" if intact and valid and whole else "broken",
        "signed_by": str(signature.signer_cert.subject.human_friendly),
        "signed_bytes": second + rest,
    }

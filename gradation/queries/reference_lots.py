"""From a lot of reference material to the certificate that the calculation takes."""

from __future__ import annotations

from gradation.models import ReferenceLot
from gradation.science.effective_apertures import ReferenceCertificate

__all__ = ["certificate_of"]


def certificate_of(lot: ReferenceLot) -> ReferenceCertificate:
    """Give a lot's certified distribution, fine to coarse as the calculation takes it."""
    rows = lot.certified[::-1]
    return ReferenceCertificate(
        tuple(float(row["aperture_um"]) for row in rows),
        tuple(float(row["passing_pct"]) / 100 for row in rows),
        u_passing=tuple(float(row.get("u_pct") or 0) / 100 for row in rows),
    )

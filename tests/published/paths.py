"""Two ways from a published example to our figures: the worksheet, and the whole laboratory."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from gradation.models import Certificate
from gradation.services import certify
from tests import factories
from tests.factories import PASSWORD


@dataclass(frozen=True)
class Weighed:
    """The masses of an example as a technician would read them off."""

    apertures_um: tuple[Decimal, ...]
    masses_g: tuple[str, ...]
    pan_g: str
    dry_mass_g: str
    washed_dry_mass_g: str = ""


def weighed(inputs: dict[str, Any], total_g: float | None = None) -> Weighed:
    """Give an example's masses; without a dry mass its fractions' sum was what was sieved."""
    masses = [str(mass) for mass in inputs["mass_retained_g"]]
    pan = str(inputs.get("pan_g", 0))
    found = sum((Decimal(mass) for mass in masses), Decimal(pan))
    dry = inputs.get("dry_mass_before_wash_g", total_g)
    washed = inputs.get("dry_mass_after_wash_g")
    return Weighed(
        apertures_um=tuple(
            (Decimal(str(size)) * 1000).quantize(Decimal("0.01")) for size in inputs["sieve_mm"]
        ),
        masses_g=tuple(masses),
        pan_g=pan,
        dry_mass_g=str(found if dry is None else dry),
        washed_dry_mass_g="" if washed is None else str(washed),
    )


def as_worksheet(example: Weighed, **more: Any) -> dict[str, Any]:
    """Write the worksheet that `compute` takes."""
    sheet: dict[str, Any] = {
        "basis": "initial_dry",
        "dry_mass_g": example.dry_mass_g,
        "fractions": [
            {"aperture_um": float(size), "mass_g": mass}
            for size, mass in zip(example.apertures_um, example.masses_g, strict=True)
        ],
        "pan_g": example.pan_g,
        "rounding": {"passing_decimals": 1, "mode": "half_even"},
        **more,
    }
    if example.washed_dry_mass_g:
        sheet["washed_dry_mass_g"] = example.washed_dry_mass_g
    return sheet


def through_the_laboratory(example: Weighed, **procedure: Any) -> Certificate:
    """Log, divide, open, weigh, hand over, review and issue an example; every step for real."""
    material = factories.make_material(
        factories.make_procedure(
            example.apertures_um,
            **{
                "wash": bool(example.washed_dry_mass_g),
                "passing_decimals": 1,
                "loss_limit_pct": Decimal(1),
                **procedure,
            },
        )
    )
    run = factories.make_accepted_run(
        sample=factories.make_sample(material=material),
        dry_mass_g=example.dry_mass_g,
        washed_dry_mass_g=example.washed_dry_mass_g,
        masses_g=[*example.masses_g, example.pan_g],
    )
    signatory = factories.signatory()
    draft = certify.draft_certificate(
        actor=signatory, sample=run.portion.sample, drafting=certify.Drafting(runs=[run])
    )
    return certify.issue_certificate(actor=signatory, certificate=draft, password=PASSWORD)


def column(certificate: Certificate, name: str) -> list[float]:
    """Read one column of the issued certificate's table as numbers."""
    return [float(row[name]) for row in certificate.content["results"][0]["rows"]]


def differences(ours: Sequence[float], published: Sequence[float]) -> list[float]:
    """Give how far our figures lie from the published ones, row by row."""
    return [abs(a - b) for a, b in zip(ours, published, strict=True)]

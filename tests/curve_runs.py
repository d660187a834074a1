"""Runs with a curve that a test asks for: masses worked back from percent passing."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise

from gradation.models import Material, Run
from tests import factories

DRY_G = Decimal(1000)


def masses_of(passing_pct: Sequence[float]) -> list[str]:
    """Give the grams on each sieve and the pan of 1000 g with these percentages passing."""
    passing = [Decimal(100), *(Decimal(str(each)) for each in passing_pct), Decimal(0)]
    return [f"{(coarser - finer) * DRY_G / 100:f}" for coarser, finer in pairwise(passing)]


def make_pile(name: str, apertures_um: Sequence[float], passing_pct: Sequence[float]) -> Material:
    """Make a material of which one run with this curve was accepted."""
    procedure = factories.make_procedure([Decimal(str(um)) for um in apertures_um])
    material = factories.make_material(procedure=procedure, name=name)
    add_run(material, passing_pct)
    return material


def add_run(material: Material, passing_pct: Sequence[float]) -> Run:
    """Accept a further run of a material."""
    sample = factories.make_sample(material=material)
    return factories.make_accepted_run(
        sample=sample, dry_mass_g=str(DRY_G), masses_g=masses_of(passing_pct)
    )

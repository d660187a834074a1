"""How heavy a test portion should be by its procedure, and what to do when it is not."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from gradation.models import (
    Instrument,
    ProcedureVersion,
    Sample,
    SpecificationLine,
    TestPortion,
)
from gradation.science.acceptance import minimum_portion_g
from gradation.science.apertures import designation
from gradation.science.division import (
    Band,
    Place,
    least_chute_width_mm,
    place_in_band,
    size_basis,
)
from gradation.science.envelopes import LineKind
from gradation.science.errors import GradationError

__all__ = [
    "PortionBand",
    "TopSize",
    "chute_note",
    "plain",
    "portion_band",
    "size_asked",
    "top_size_of",
]

ALL = 100


@dataclass(frozen=True)
class TopSize:
    """The size of a material's largest grains as far as the records tell, and from where."""

    size_um: Decimal
    origin: str


@dataclass(frozen=True)
class PortionBand:
    """The masses a procedure wants its portions to have; `missing` says what it cannot tell."""

    band: Band
    missing: str = ""

    @property
    def is_open(self) -> bool:
        """Say whether the procedure sets no limit that is known."""
        return self.band.least_g is None and self.band.most_g is None

    @property
    def words(self) -> str:
        """Say the band, such as 'from 300 g to 900 g'."""
        least_g, most_g = self.band.least_g, self.band.most_g
        parts = [f"from {plain(least_g)} g" if least_g is not None else ""]
        parts.append(f"to {plain(most_g)} g" if most_g is not None else "")
        return " ".join(part for part in parts if part)

    def judged(self, mass_g: Decimal) -> str:
        """Say where a mass lies and what to do."""
        if self.is_open:
            return f"{plain(mass_g)} g; the procedure sets no band. {self.missing}".strip()
        place = place_in_band(mass_g, self.band)
        said = f"{plain(mass_g)} g: {place} the band {self.words}."
        return " ".join(word for word in (said, _ADVICE[place], self.missing) if word)

    def is_outside(self, mass_g: Decimal) -> bool:
        """Say whether a mass lies outside."""
        return place_in_band(mass_g, self.band) is not Place.INSIDE


_ADVICE = {
    Place.INSIDE: "",
    Place.BELOW: "Divide again with one pass fewer, or add another divided part; never a scoop.",
    Place.ABOVE: "Divide again, never trim to an exact mass.",
}


def portion_band(procedure: ProcedureVersion, top_size_um: Decimal | None) -> PortionBand:
    """Give the band of a procedure: its own limits, and its table's for the material's size."""
    least_g, missing = _by_table(procedure.portion_rule, top_size_um)
    known = [mass_g for mass_g in (procedure.minimum_portion_g, least_g) if mass_g is not None]
    return PortionBand(Band(max(known, default=None), procedure.maximum_portion_g), missing)


def _by_table(table: str, top_size_um: Decimal | None) -> tuple[Decimal | None, str]:
    """Give the table's least mass, or say what it would need to know."""
    if not table:
        return None, ""
    try:
        basis = size_basis(table)
        if basis and top_size_um is None:
            return None, f"The table {_words(table)} needs the {basis} of the material."
        return minimum_portion_g(table, float(top_size_um or 1)), ""
    except GradationError as error:
        return None, str(error)


def size_asked(procedure: ProcedureVersion) -> str:
    """Name the size by which the procedure's table goes; '' when it has none or needs none."""
    try:
        return size_basis(procedure.portion_rule) if procedure.portion_rule else ""
    except GradationError:
        return ""


def top_size_of(sample: Sample) -> TopSize | None:
    """Give the size of a sample's material as far as the records tell.

    As it was said for the last portion of the material, else by its specification. In a
    specification the nominal maximum size is the smallest sieve that everything may pass (ASTM
    C125, from memory). The upper size D of a European designation stands in no limit.
    """
    return _as_before(sample) or _by_specification(sample, size_asked(sample.procedure_version))


def _as_before(sample: Sample) -> TopSize | None:
    before = TestPortion.objects.filter(
        sample__material=sample.material_id, top_size_um__isnull=False
    ).order_by("-id")
    portion = before.first()
    if portion is None or portion.top_size_um is None:
        return None
    return TopSize(portion.top_size_um, f"as for portion {portion}")


def _by_specification(sample: Sample, basis: str) -> TopSize | None:
    version = sample.specification_version
    if version is None or basis.startswith("D "):
        return None
    is_nominal = basis.startswith("nominal")
    sizes = [
        line.aperture_um
        for line in version.lines.all()
        if line.kind == LineKind.PASSING
        and line.aperture_um is not None
        and (_may_all_pass(line) if is_nominal else _must_all_pass(line))
    ]
    return TopSize(min(sizes), f"by {version}") if sizes else None


def _may_all_pass(line: SpecificationLine) -> bool:
    return line.maximum is None or line.maximum == ALL


def _must_all_pass(line: SpecificationLine) -> bool:
    return line.minimum == ALL


def chute_note(divider: Instrument, top_size_um: Decimal | None) -> str:
    """Say when a divider's chutes are narrow for the material; '' when they are not."""
    width_mm = divider.chute_width_mm
    if width_mm is None or top_size_um is None:
        return ""
    least_mm = least_chute_width_mm(top_size_um)
    if width_mm >= least_mm:
        return ""
    return (
        f"Chutes of {plain(width_mm)} mm are narrow for grains of {designation(top_size_um)}: "
        f"{plain(least_mm)} mm or wider keeps them from bridging (ASTM C702, from memory). Take a "
        "wider divider, or feed slowly and look for grains left across the chutes."
    )


def plain(value: Decimal | None) -> str:
    """Write a decimal without the zeros that a column added."""
    return "" if value is None else f"{value.normalize():f}"


def _words(name: str) -> str:
    return name.replace("_", " ")

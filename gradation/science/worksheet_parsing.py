"""From the JSON of a worksheet to the worksheet, or to all that is wrong with it."""

from __future__ import annotations

from decimal import Decimal

from gradation.science.acceptance import (
    EndPoint,
    EndPointOf,
    OverloadRule,
    overload_rules,
    portion_tables,
)
from gradation.science.envelopes import (
    CompareWith,
    EnvelopeLine,
    LineKind,
    MissingAperture,
    check_line,
)
from gradation.science.errors import GradationError
from gradation.science.gradation import Basis
from gradation.science.interpolation import Interpolation
from gradation.science.rounding import MOST_DECIMALS, FinerRule, Rounding, RoundingMode
from gradation.science.worksheet_form import (
    DEFAULT_PERCENTILES,
    EndPointCheck,
    Entry,
    Fault,
    Fraction,
    PortionCheck,
    Worksheet,
    WorksheetFaults,
    WorksheetSplit,
)
from gradation.science.worksheet_models import MODEL_CHOICES
from gradation.science.worksheet_reading import Fields, read_decimal
from gradation.science.worksheet_soil import read_descriptions, read_soil

KNOWN = (
    "basis", "dry_mass_g", "washed_dry_mass_g", "moist_mass_g", "moisture_pct", "entry",
    "fractions", "pan_g", "pan_increments_g", "splits", "percentiles", "interpolation",
    "rounding", "loss_tolerance_pct", "overload", "minimum_portion", "end_point", "envelope",
    "missing_aperture", "compare", "interpolate_modulus", "models", "describe", "open_ends",
    "plasticity",
)  # fmt: skip
ZERO = Decimal(0)


def parse_worksheet(data: object, *, partial: bool = False) -> Worksheet:
    """Give the worksheet that plain JSON data describe.

    Parameters
    ----------
    data : object
        What `json.loads` gave for the worksheet form (`worksheet.schema.json`). Masses may
        be text ("512.4", "512,4") or JSON numbers.
    partial : bool
        Whether masses may be missing (null), as in the live preview at the bench.

    Returns
    -------
    Worksheet
        Ready for `evaluate`.

    Raises
    ------
    WorksheetFaults
        With every fault found, each with its JSON path.

    Notes
    -----
    Unknown fields are faults: a misspelt limit must not be ignored. The order of the
    fractions does not matter. Repeated apertures, a mass after washing above the one before,
    and falling cumulative masses are found here too.

    References
    ----------
    RFC 8259 for JSON; paths are written as in RFC 9535.

    Examples
    --------
    >>> sheet = parse_worksheet({"dry_mass_g": "10", "pan_g": 1,
    ...                          "fractions": [{"aperture_um": 75, "mass_g": "9,0"}]})
    >>> sheet.fractions[0].mass_g
    Decimal('9.0')
    """
    faults: list[Fault] = []
    fields = Fields(data, "$", faults)
    fields.only(KNOWN)
    worksheet = _worksheet(fields)
    if not faults:
        _check_masses(fields, worksheet, partial=partial)
    if faults:
        raise WorksheetFaults(faults)
    return worksheet


def _worksheet(fields: Fields) -> Worksheet:
    """The worksheet, with defaults where a field is missing or wrong."""
    return Worksheet(
        fractions=tuple(_fraction(each) for each in fields.objects("fractions")),
        pan_increments_g=_increments(fields, "pan_g", "pan_increments_g"),
        basis=fields.choice("basis", Basis.INITIAL_DRY),
        entry=fields.choice("entry", Entry.INDIVIDUAL),
        dry_mass_g=fields.decimal("dry_mass_g", above=ZERO),
        washed_dry_mass_g=fields.decimal("washed_dry_mass_g", above=ZERO),
        moist_mass_g=fields.decimal("moist_mass_g", above=ZERO),
        moisture_pct=fields.decimal("moisture_pct", least=ZERO),
        splits=tuple(filter(None, (_split(each) for each in fields.objects("splits")))),
        percentiles_pct=_percentiles(fields),
        interpolation=fields.choice("interpolation", Interpolation.LOG_LINEAR),
        rounding=_rounding(fields.object("rounding")),
        loss_tolerance_pct=fields.decimal("loss_tolerance_pct", least=ZERO),
        overload=_overload(fields.object("overload")),
        minimum_portion=_portion(fields.object("minimum_portion")),
        end_point=_end_point(fields.object("end_point")),
        envelope=tuple(filter(None, (_line(each) for each in fields.objects("envelope")))),
        missing_aperture=fields.choice("missing_aperture", MissingAperture.INTERPOLATE),
        compare=fields.choice("compare", CompareWith.REPORTED),
        is_modulus_interpolated=fields.is_true("interpolate_modulus", default=False),
        models=_models(fields),
        describe=read_descriptions(fields),
        soil=read_soil(fields),
    )


def _increments(fields: Fields, single: str, several: str) -> tuple[Decimal, ...]:
    """One mass or several increments; nothing when neither is given."""
    if fields.has(single) and fields.has(several):
        fields.fault(several, f"give either {single} or {several}, not both.")
    if fields.has(several):
        found = [
            read_decimal(each, f"{fields.at(several)}[{number}]", fields.faults, least=ZERO)
            for number, each in enumerate(fields.items(several))
        ]
        return tuple(each for each in found if each is not None)
    mass_g = fields.mass_g(single)
    return () if mass_g is None else (mass_g,)


def _fraction(fields: Fields) -> Fraction:
    """What lies on one sieve."""
    fields.only(("aperture_um", "mass_g", "increments_g"))
    fields.require("aperture_um")
    aperture_um = fields.aperture_um("aperture_um")
    return Fraction(aperture_um or Decimal(1), _increments(fields, "mass_g", "increments_g"))


def _split(fields: Fields) -> WorksheetSplit | None:
    """Where the material was reduced."""
    fields.only(("below_um", "passing_g", "reduced_g", "washed_reduced_g"))
    fields.require("below_um", "passing_g", "reduced_g")
    below_um = fields.aperture_um("below_um")
    passing_g = fields.decimal("passing_g", above=ZERO)
    reduced_g = fields.decimal("reduced_g", above=ZERO)
    washed_g = fields.decimal("washed_reduced_g", above=ZERO)
    if below_um is None or passing_g is None or reduced_g is None:
        return None
    if reduced_g > passing_g:
        fields.fault("reduced_g", "is larger than passing_g; the part is taken from what passed.")
    if washed_g is not None and washed_g > reduced_g:
        fields.fault("washed_reduced_g", "is larger than reduced_g; check which is which.")
    return WorksheetSplit(below_um, passing_g, reduced_g, washed_g)


def _percentiles(fields: Fields) -> tuple[Decimal, ...]:
    """The percentages passing whose sizes are asked for."""
    if not fields.has("percentiles"):
        return DEFAULT_PERCENTILES
    found = []
    for number, each in enumerate(fields.items("percentiles")):
        path = f"{fields.at('percentiles')}[{number}]"
        value = read_decimal(each, path, fields.faults, above=ZERO)
        if value is not None and value > 100:
            fields.faults.append(Fault(path, "must be at most 100 (percent passing)."))
        elif value is not None:
            found.append(value)
    return tuple(found)


def _rounding(fields: Fields | None) -> Rounding:
    """How percentages are reported."""
    if fields is None:
        return Rounding()
    fields.only(("passing_decimals", "mode", "finer"))
    return Rounding(
        passing_decimals=fields.whole("passing_decimals", 0, MOST_DECIMALS),
        mode=fields.choice("mode", RoundingMode.HALF_EVEN),
        finer=tuple(filter(None, (_finer(each) for each in fields.objects("finer")))),
    )


def _finer(fields: Fields) -> FinerRule | None:
    """One aperture reported with more decimals below a limit."""
    fields.only(("aperture_um", "below_pct", "decimals"))
    fields.require("aperture_um", "below_pct", "decimals")
    aperture_um = fields.aperture_um("aperture_um")
    below_pct = fields.decimal("below_pct", above=ZERO)
    if aperture_um is None or below_pct is None:
        return None
    return FinerRule(aperture_um, below_pct, fields.whole("decimals", 1, MOST_DECIMALS))


def _overload(fields: Fields | None) -> OverloadRule | None:
    """Which load limits hold."""
    if fields is None:
        return None
    fields.only(("rule", "frame_mm", "area_m2", "bulk_density_g_cm3"))
    fields.require("rule")
    name = fields.text("rule")
    if name and name not in overload_rules():
        fields.fault("rule", f"must be one of: {', '.join(overload_rules())}.")
    sizes = [
        fields.decimal(key, above=ZERO) for key in ("frame_mm", "area_m2", "bulk_density_g_cm3")
    ]
    frame_mm, area_m2, density = (None if each is None else float(each) for each in sizes)
    return OverloadRule(name, frame_mm, area_m2, density)


def _portion(fields: Fields | None) -> PortionCheck | None:
    """Which table of smallest test portions holds."""
    if fields is None:
        return None
    fields.only(("table", "size_um"))
    fields.require("table")
    name = fields.text("table")
    if name and name not in portion_tables():
        fields.fault("table", f"must be one of: {', '.join(portion_tables())}.")
    return PortionCheck(name, fields.aperture_um("size_um"))


def _end_point(fields: Fields | None) -> EndPointCheck | None:
    """The end point, and what passed in the extra minute."""
    if fields is None:
        return None
    fields.only(("limit_pct", "of", "passed"))
    fields.require("limit_pct")
    limit_pct = fields.decimal("limit_pct", least=ZERO) or ZERO
    rule = EndPoint(float(limit_pct), fields.choice("of", EndPointOf.TOTAL))
    return EndPointCheck(
        rule, tuple(filter(None, (_passed(each) for each in fields.objects("passed"))))
    )


def _passed(fields: Fields) -> tuple[Decimal, Decimal] | None:
    """What passed one sieve in the extra minute."""
    fields.only(("aperture_um", "mass_g"))
    fields.require("aperture_um", "mass_g")
    aperture_um, mass_g = fields.aperture_um("aperture_um"), fields.mass_g("mass_g")
    return None if aperture_um is None or mass_g is None else (aperture_um, mass_g)


def _line(fields: Fields) -> EnvelopeLine | None:
    """One line of the specification."""
    before = len(fields.faults)
    fields.only(
        (
            "kind", "aperture_um", "finer_um", "characteristic", "min", "max", "target",
            "tolerance", "inclusive",
        )
    )  # fmt: skip
    line = EnvelopeLine(
        kind=fields.choice("kind", LineKind.PASSING),
        aperture_um=fields.aperture_um("aperture_um"),
        finer_um=fields.aperture_um("finer_um"),
        characteristic=fields.text("characteristic"),
        minimum=fields.decimal("min"),
        maximum=fields.decimal("max"),
        target=fields.decimal("target"),
        tolerance=fields.decimal("tolerance", least=ZERO),
        is_inclusive=fields.is_true("inclusive", default=True),
    )
    if len(fields.faults) > before:
        return None
    try:
        check_line(line)
    except GradationError as refusal:
        fields.fault("", str(refusal))
    return line


def _models(fields: Fields) -> tuple[str, ...]:
    """The model curves asked for."""
    found = []
    for number, each in enumerate(fields.items("models")):
        if isinstance(each, str) and each in MODEL_CHOICES:
            found.append(each)
        else:
            fields.fault(f"models[{number}]", f"must be one of: {', '.join(MODEL_CHOICES)}.")
    return tuple(found)


def _check_masses(fields: Fields, worksheet: Worksheet, *, partial: bool) -> None:
    """Faults between the fields of a worksheet whose fields are right one by one."""
    if not worksheet.fractions:
        fields.fault("fractions", "is missing; a sieving needs at least one sieve.")
    _check_apertures(fields, worksheet)
    if not partial:
        _check_all_weighed(fields, worksheet)
    _check_dry_mass(fields, worksheet, partial=partial)


def _check_apertures(fields: Fields, worksheet: Worksheet) -> None:
    """Repeated apertures, and splits at no sieve."""
    seen: dict[Decimal, int] = {}
    for number, fraction in enumerate(worksheet.fractions):
        if fraction.aperture_um in seen:
            first = seen[fraction.aperture_um]
            fields.fault(
                f"fractions[{number}].aperture_um",
                f"is the same as fractions[{first}]; put several masses of one sieve into "
                "increments_g.",
            )
        seen.setdefault(fraction.aperture_um, number)
    at: set[Decimal] = set()
    for number, split in enumerate(worksheet.splits):
        if split.below_um not in seen:
            fields.fault(f"splits[{number}].below_um", "is no sieve of the fractions.")
        if split.below_um in at:
            fields.fault(f"splits[{number}].below_um", "is entered twice.")
        at.add(split.below_um)


def _check_all_weighed(fields: Fields, worksheet: Worksheet) -> None:
    """Missing masses, and a portion of which nothing was found."""
    for number, fraction in enumerate(worksheet.fractions):
        if not fraction.increments_g:
            fields.fault(f"fractions[{number}].mass_g", "is missing; enter 0 for an empty sieve.")
    if worksheet.pan_g is None:
        fields.fault("pan_g", "is missing; enter 0 for an empty pan.")
    elif worksheet.is_fully_weighed and not any(
        (worksheet.pan_g, *(each.mass_g for each in worksheet.fractions))
    ):
        fields.fault("fractions", "all masses are zero, so nothing was sieved.")


def _check_dry_mass(fields: Fields, worksheet: Worksheet, *, partial: bool) -> None:
    """Dry masses that are missing, double, or in the wrong order."""
    is_moist = worksheet.moist_mass_g is not None or worksheet.moisture_pct is not None
    if is_moist and worksheet.dry_mass_g is not None:
        fields.fault("dry_mass_g", "give the dry mass or moist_mass_g with moisture_pct, not both.")
    elif is_moist and worksheet.base_dry_mass_g is None:
        fields.require("moist_mass_g", "moisture_pct")
    dry, washed = worksheet.base_dry_mass_g, worksheet.washed_dry_mass_g
    needs_dry = worksheet.basis is Basis.INITIAL_DRY or washed is not None
    if dry is None and needs_dry and not is_moist and not partial:
        fields.fault("dry_mass_g", "is missing; percentages are of the dry mass before washing.")
    if dry is not None and washed is not None and washed > dry:
        fields.fault("washed_dry_mass_g", "is larger than dry_mass_g; check which is which.")

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
from gradation.science.acceptance_rules import END_POINT, LOSS, NamedLimit, named_limits
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
from gradation.science.worksheet_consistency import check_masses, check_requests
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
from gradation.science.worksheet_requests_reading import REQUEST_KEYS, read_requests
from gradation.science.worksheet_soil import read_descriptions, read_soil

KNOWN = (
    "basis", "dry_mass_g", "washed_dry_mass_g", "moist_mass_g", "moisture_pct", "entry",
    "fractions", "pan_g", "pan_increments_g", "splits", "percentiles", "interpolation",
    "rounding", "loss_tolerance_pct", "overload", "minimum_portion", "end_point", "envelope",
    "missing_aperture", "compare", "interpolate_modulus", "models", "describe", "open_ends",
    "plasticity", "pan_gross_g", "pan_tare_g", "loss_rule", "confirmed_rules", *REQUEST_KEYS,
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
        check_masses(fields, worksheet, partial=partial)
        check_requests(fields, worksheet)
    if faults:
        raise WorksheetFaults(faults)
    return worksheet


def _worksheet(fields: Fields) -> Worksheet:
    """The worksheet, with defaults where a field is missing or wrong."""
    return Worksheet(
        fractions=tuple(_fraction(each) for each in fields.objects("fractions")),
        pan_increments_g=_increments(fields, "pan_"),
        pan_tare_g=fields.mass_g("pan_tare_g"),
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
        loss_tolerance_pct=_loss_tolerance(fields),
        loss_rule=str(fields.data.get("loss_rule") or ""),
        confirmed_rules=_confirmed(fields),
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
        requests=read_requests(fields),
    )


def _confirmed(fields: Fields) -> tuple[str, ...]:
    """Names of the rules the laboratory has confirmed."""
    found = []
    for number, each in enumerate(fields.items("confirmed_rules")):
        if isinstance(each, str) and each:
            found.append(each)
        else:
            fields.fault(f"confirmed_rules[{number}]", "must be the name of a rule.")
    return tuple(found)


def _increments(fields: Fields, of: str = "") -> tuple[Decimal, ...]:
    """One net mass, several increments, or gross less tare; nothing when none is given."""
    single, several, gross = (
        (f"{of}g", f"{of}increments_g", f"{of}gross_g")
        if of
        else ("mass_g", "increments_g", "gross_g")
    )
    given = [name for name in (single, several, gross) if fields.has(name)]
    if len(given) > 1:
        fields.fault(given[1], f"give either {given[0]} or {given[1]}, not both.")
    if fields.has(gross):
        return _net(fields, gross, f"{of}tare_g")
    if fields.has(several):
        found = [
            read_decimal(each, f"{fields.at(several)}[{number}]", fields.faults, least=ZERO)
            for number, each in enumerate(fields.items(several))
        ]
        return tuple(each for each in found if each is not None)
    mass_g = fields.mass_g(single)
    return () if mass_g is None else (mass_g,)


def _net(fields: Fields, gross: str, tare: str) -> tuple[Decimal, ...]:
    """The mass in a sieve or pan weighed with it."""
    fields.require(tare)
    gross_g, unnoted = fields.mass_g(gross), list[Fault]()
    tare_g = Fields(fields.data, fields.path, unnoted).mass_g(tare)  # its faults are noted once
    if gross_g is None or tare_g is None:
        return ()
    if gross_g < tare_g:
        fields.fault(gross, f"is smaller than {tare}; weigh the empty sieve again.")
        return ()
    return (gross_g - tare_g,)


def _fraction(fields: Fields) -> Fraction:
    """What lies on one sieve."""
    fields.only(("aperture_um", "mass_g", "increments_g", "gross_g", "tare_g"))
    fields.require("aperture_um")
    aperture_um = fields.aperture_um("aperture_um")
    return Fraction(aperture_um or Decimal(1), _increments(fields), fields.mass_g("tare_g"))


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
    name = fields.one_of("rule", overload_rules())
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
    name = fields.one_of("table", portion_tables())
    return PortionCheck(name, fields.aperture_um("size_um"))


def _end_point(fields: Fields | None) -> EndPointCheck | None:
    """The end point, and what passed in the extra minute or changed in a further shaking."""
    if fields is None:
        return None
    fields.only(("rule", "limit_pct", "of", "passed", "before"))
    passed, before = (
        tuple(filter(None, (_passed(each) for each in fields.objects(key))))
        for key in ("passed", "before")
    )
    if fields.has("rule"):
        known = _named(fields, "rule", END_POINT, ("limit_pct", "of"))
        rule = EndPoint(0.0) if known is None else EndPoint(float(known.limit_pct), known.of)
        return EndPointCheck(rule, passed, before, str(fields.data["rule"]))
    fields.require("limit_pct")
    limit_pct = fields.decimal("limit_pct", least=ZERO) or ZERO
    rule = EndPoint(float(limit_pct), fields.choice("of", EndPointOf.TOTAL))
    return EndPointCheck(rule, passed, before)


def _loss_tolerance(fields: Fields) -> Decimal | None:
    """The tolerance typed, or that of a kept rule."""
    if fields.has("loss_rule"):
        known = _named(fields, "loss_rule", LOSS, ("loss_tolerance_pct",))
        return None if known is None else known.limit_pct
    return fields.decimal("loss_tolerance_pct", least=ZERO)


def _named(fields: Fields, key: str, topic: str, instead: tuple[str, ...]) -> NamedLimit | None:
    """The limit of a kept rule; it leaves no room for a typed one."""
    for other in instead:
        if fields.has(other):
            fields.fault(other, f"give either {key} or {other}, not both.")
    known = named_limits(topic)
    return known.get(fields.one_of(key, known))


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
            "tolerance", "inclusive", "decimals",
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
        decimals=fields.whole("decimals", 0, MOST_DECIMALS) if fields.has("decimals") else None,
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

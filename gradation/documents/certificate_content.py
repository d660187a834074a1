"""Everything a certificate says, as frozen data.

Figures are texts, rounded before they come here; '' means 'not specified' and is printed as a
dash, 'n.d.' means 'not determined'. Dates are ISO 8601 ('2026-11-24', with a time and zone
'2026-11-24T14:05+01:00') or, where a date is not known, words that say so.
"""

import re
from dataclasses import dataclass, field
from enum import StrEnum

from django.utils.translation import gettext, gettext_noop

from gradation.documents.content_json import from_json, to_json
from gradation.language import speaking

FORM = "gradation certificate content 1"

RELATES_ONLY = gettext_noop("The results relate only to the items tested.")
NOT_IN_PART = gettext_noop(
    "This certificate may not be reproduced except in full without the laboratory's approval."
)
DEFERENCE = gettext_noop(
    "The current edition of the test method, the contract specification, the safety data sheet, "
    "local law and the site's risk assessment take precedence. Limits shown are those entered and "
    "approved by the laboratory. Fitness of the material for use is for the licensed professional "
    "in charge to judge."
)
SUPPLIED_BY_CUSTOMER = gettext_noop(
    "Data marked † were supplied by the customer; the laboratory is not responsible for them, and "
    "they may affect the validity of the results."
)
EXTERNAL = gettext_noop("Results marked ‡ come from an external provider.")
AS_RECEIVED = gettext_noop(
    "The laboratory did not take the sample; the results apply to the sample as received."
)
CORRECTED = gettext_noop("Values marked § were changed after first entry; the changes are listed.")
SIMPLIFIED = gettext_noop(
    "This is a simplified report by agreement with the customer; the laboratory keeps the full "
    "record and gives it on request."
)
INTERPOLATED = gettext_noop(
    "Values marked ¤ are interpolated; no sieve of that aperture was in the nest."
)


class Verdict(StrEnum):
    """What a comparison with a limit said."""

    WITHIN = "within"
    OUTSIDE = "outside"
    UNDECIDED = "undecided"
    NOT_TESTED = "not tested"
    NONE = ""


class Outcome(StrEnum):
    """What the comparison with a whole specification said."""

    CONFORMS = "conforms"
    DOES_NOT_CONFORM = "does not conform"
    NOT_DECIDABLE = "not decidable"


@dataclass(frozen=True)
class Laboratory:
    """The laboratory at the moment of issue."""

    name: str
    address: tuple[str, ...]
    place_of_work: str
    time_zone: str
    accreditation: str = ""
    contact: str = ""


@dataclass(frozen=True)
class Customer:
    """The customer at the moment of issue."""

    name: str
    contact: str
    address: tuple[str, ...] = ()
    order_reference: str = ""


@dataclass(frozen=True)
class SampleItem:
    """The item tested; `supplied_by_customer` names the fields the customer's word stands for."""

    number: str
    description: str
    material: str
    source: str
    lot: str
    condition_on_receipt: str
    sampled_on: str
    sampled_by: str
    sampling_method: str
    received_on: str
    sampled_by_laboratory: bool = False
    sampling_place: str = ""
    sampling_conditions: str = ""
    sampled_item: str = ""
    sampling_uncertainty: str = ""
    supplied_by_customer: tuple[str, ...] = ()


@dataclass(frozen=True)
class Method:
    """The test method with the edition that was valid on the day of the run."""

    reference: str
    edition: str
    title: str
    basis: str
    loss_treatment: str
    rounding: str
    interpolation: str


@dataclass(frozen=True)
class SieveUsed:
    """A sieve as it stood in the nest."""

    serial: str
    designation: str
    aperture_mm: str
    next_check: str


@dataclass(frozen=True)
class InstrumentUsed:
    """A balance, shaker, oven or divider that took part."""

    kind: str
    identity: str
    next_check: str


@dataclass(frozen=True)
class TestConditions:
    """How one run was made; enough to make it again."""

    __test__ = False  # so that pytest does not collect it

    place: str
    bench: str
    portion: str
    portion_mass_g: str
    division: str
    drying: str
    washing: str
    shaking: str
    end_point: str
    climate: str
    performed_by: str
    first_day: str
    last_day: str
    sieves: tuple[SieveUsed, ...] = ()
    instruments: tuple[InstrumentUsed, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class ResultRow:
    """One sieve in the table, coarse to fine."""

    designation: str
    aperture_mm: str
    retained_g: str
    retained_pct: str
    cumulative_pct: str
    passing_pct: str
    alternative: str = ""
    uncertainty_pct: str = ""
    lower_pct: str = ""
    upper_pct: str = ""
    target_pct: str = ""
    verdict: Verdict = Verdict.NONE
    corrected: bool = False
    external: bool = False
    interpolated: bool = False


@dataclass(frozen=True)
class BalanceRow:
    """A line under the sieves: pan, wash loss, total, loss, dry mass."""

    label: str
    mass_g: str
    share_pct: str = ""
    corrected: bool = False


@dataclass(frozen=True)
class ResultTable:
    """One determination, or the mean of several; `conditions` is empty for a mean."""

    label: str
    rows: tuple[ResultRow, ...]
    balance: tuple[BalanceRow, ...] = ()
    conditions: tuple[TestConditions, ...] = ()
    remarks: tuple[str, ...] = ()
    sample: str = ""


def shown_unit(value: str, unit: str) -> str:
    """Give the unit to set beside a value: 1 for a bare number, none for words or '< 45 µm'."""
    return unit or ("1" if _NUMBER.fullmatch(value) else "")


_NUMBER = re.compile(r"[-−]?\d+(?:[.,]\d+)?")


@dataclass(frozen=True)
class Characteristic:
    """A characteristic value with the name of its formula; `run` where there is more than one."""

    name: str
    value: str
    unit: str
    formula: str
    uncertainty: str = ""
    lower: str = ""
    upper: str = ""
    verdict: Verdict = Verdict.NONE
    external: bool = False
    run: str = ""
    provider: str = ""

    @property
    def shown_unit(self) -> str:
        """Give the unit to set beside the value."""
        return shown_unit(self.value, self.unit)


@dataclass(frozen=True)
class ComparedLine:
    """One limit of a specification that the result table does not show: found, asked, verdict.

    Of a lot: from how many results, their standard deviation, the share of the lot within the
    limits; `value` is then their mean.
    """

    what: str
    value: str
    unit: str
    lower: str = ""
    upper: str = ""
    uncertainty: str = ""
    verdict: Verdict = Verdict.NONE
    results: str = ""
    deviation: str = ""
    share_pct: str = ""

    @property
    def shown_unit(self) -> str:
        """Give the unit to set beside the value."""
        return shown_unit(self.value, self.unit)


@dataclass(frozen=True)
class Conformity:
    """A statement of conformity: which results, which clause, which rule, what it says.

    `lot` names the lot, or says which results, where the specification judges several together.
    """

    specification: str
    version: str
    clause: str
    results_covered: str
    decision_rule: str
    risk: str
    outcome: Outcome
    sentence: str
    lines: tuple[ComparedLine, ...] = ()
    lot: str = ""


@dataclass(frozen=True)
class Correction:
    """A value changed after first entry."""

    what: str
    first_value: str
    value: str
    changed_by: str
    changed_at: str
    reason: str


@dataclass(frozen=True)
class Opinion:
    """An opinion or interpretation, set apart from the results."""

    text: str
    given_by: str
    basis: str = ""


@dataclass(frozen=True)
class Omission:
    """An item left out by a signatory's decision."""

    item: str
    authorised_by: str
    reason: str


@dataclass(frozen=True)
class Signature:
    """An electronic signature as it is shown: who, when in which zone, meaning what."""

    name: str
    role: str
    signed_at: str
    meaning: str


@dataclass(frozen=True)
class Change:
    """One difference between a certificate and the one it replaces."""

    where: str
    was: str
    now: str


@dataclass(frozen=True)
class Amendment:
    """Which certificate this one replaces, why, and what differs (computed, not typed)."""

    replaces: str
    replaced_issued_on: str
    reason: str
    changes: tuple[Change, ...]


@dataclass(frozen=True)
class Chart:
    """How the curve is drawn on this report form."""

    scale: str = "log"
    direction: str = "fine_left"
    retained_axis: bool = False


@dataclass(frozen=True)
class ReportForm:
    """The form a certificate was drawn up on, as it stood; `columns` empty: all that are filled.

    `logo` is a data address of a raster picture. A simplified report prints less than is here;
    the full record prints everything.
    """

    name: str = ""
    paper: str = "A4"
    columns: tuple[str, ...] = ()
    logo: str = ""
    is_simplified: bool = False
    agreement: str = ""


@dataclass(frozen=True)
class RunRecord:
    """The raw record behind one result table: masses and parameters, enough to compute it again.

    `worksheet` has the form that `compute` reads; `table` is the label of its result table.
    """

    run: str
    table: str
    sample: str
    worksheet: dict[str, object]
    inputs_sha256: str
    science_version: str
    specification: str = ""


@dataclass(frozen=True)
class CertificateContent:
    """A whole certificate; what is printed is drawn from this and from nothing else."""

    title: str
    number: str
    version: int
    draft: bool
    laboratory: Laboratory
    customer: Customer
    sample: SampleItem
    method: Method
    results: tuple[ResultTable, ...]
    tested_first: str
    tested_last: str
    issued_at: str
    software_version: str
    science_version: str
    verification_code: str = ""
    verification_address: str = ""
    file_signed_by: str = ""
    #: Number and root of the seal made just before the signature.
    seal: str = ""
    language: str = "en"
    form: str = FORM
    chart: Chart = field(default_factory=Chart)
    characteristics: tuple[Characteristic, ...] = ()
    conformity: tuple[Conformity, ...] = ()
    uncertainty_statement: str = ""
    deviations: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    corrections: tuple[Correction, ...] = ()
    omissions: tuple[Omission, ...] = ()
    opinions: tuple[Opinion, ...] = ()
    statements: tuple[str, ...] = ()
    signatures: tuple[Signature, ...] = ()
    amendment: Amendment | None = None
    report_form: ReportForm = field(default_factory=ReportForm)
    runs: tuple[RunRecord, ...] = ()
    further_samples: tuple[SampleItem, ...] = ()
    required_items: tuple[str, ...] = ()

    def to_json(self) -> str:
        """Return the content as JSON; equal content gives equal text."""
        return to_json(self)

    @classmethod
    def from_json(cls, text: str) -> "CertificateContent":
        """Return the content that `to_json` wrote; raises ContentFault on anything else."""
        return from_json(cls, text)

    def rows(self) -> tuple[ResultRow, ...]:
        """Return the rows of all result tables."""
        return tuple(row for table in self.results for row in table.rows)


def standard_statements(content: CertificateContent) -> tuple[str, ...]:
    """Return the statements that this content calls for, in its language, as they are printed."""
    with speaking(content.language):
        return tuple(gettext(text) for text, wanted in _asked(content) if wanted)


def _asked(content: CertificateContent) -> tuple[tuple[str, bool], ...]:
    rows = content.rows()
    samples = (content.sample, *content.further_samples)
    external = any(it.external for it in rows) or any(it.external for it in content.characteristics)
    return (
        (RELATES_ONLY, True),
        (AS_RECEIVED, not all(it.sampled_by_laboratory for it in samples)),
        (SUPPLIED_BY_CUSTOMER, any(it.supplied_by_customer for it in samples)),
        (EXTERNAL, external),
        (CORRECTED, bool(content.corrections)),
        (INTERPOLATED, any(row.interpolated for row in rows)),
        (SIMPLIFIED, content.report_form.is_simplified),
        (NOT_IN_PART, True),
        (DEFERENCE, True),
    )

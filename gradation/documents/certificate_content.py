"""Everything a certificate says, as frozen data.

Figures are texts, rounded before they come here; '' means 'not specified' and is printed as a
dash, 'n.d.' means 'not determined'. Dates are ISO 8601 ('2026-11-24', with a time and zone
'2026-11-24T14:05+01:00') or, where a date is not known, words that say so.
"""

from dataclasses import dataclass, field
from enum import StrEnum

from gradation.documents.content_json import from_json, to_json

FORM = "gradation certificate content 1"

RELATES_ONLY = "The results relate only to the items tested."
NOT_IN_PART = (
    "This certificate may not be reproduced except in full without the laboratory's approval."
)
DEFERENCE = (
    "The current edition of the test method, the contract specification, the safety data sheet, "
    "local law and the site's risk assessment take precedence. Limits shown are those entered and "
    "approved by the laboratory. Fitness of the material for use is for the licensed professional "
    "in charge to judge."
)
SUPPLIED_BY_CUSTOMER = (
    "Data marked † were supplied by the customer; the laboratory is not responsible for them, and "
    "they may affect the validity of the results."
)
EXTERNAL = "Results marked ‡ come from an external provider."
AS_RECEIVED = "The laboratory did not take the sample; the results apply to the sample as received."
CORRECTED = "Values marked § were changed after first entry; the changes are listed."
INTERPOLATED = "Values marked ¤ are interpolated; no sieve of that aperture was in the nest."


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


@dataclass(frozen=True)
class Conformity:
    """A statement of conformity: which results, which clause, which rule, what it says."""

    specification: str
    version: str
    clause: str
    results_covered: str
    decision_rule: str
    risk: str
    outcome: Outcome
    sentence: str


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
    """Return the statements that this content calls for, in the order they are printed."""
    rows = content.rows()
    external = any(it.external for it in rows) or any(it.external for it in content.characteristics)
    asked = (
        (RELATES_ONLY, True),
        (AS_RECEIVED, not content.sample.sampled_by_laboratory),
        (SUPPLIED_BY_CUSTOMER, bool(content.sample.supplied_by_customer)),
        (EXTERNAL, external),
        (CORRECTED, bool(content.corrections)),
        (INTERPOLATED, any(row.interpolated for row in rows)),
        (NOT_IN_PART, True),
        (DEFERENCE, True),
    )
    return tuple(text for text, wanted in asked if wanted)

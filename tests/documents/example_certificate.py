"""A realistic certificate of a fictional laboratory; every figure is worked out from the masses.

Percentages: mass / 4812.4 g, passing = 100 - cumulative, whole % and the 63 µm sieve to 0.1 %,
halves to even.
"""

import dataclasses

from gradation.documents.certificate_content import (
    BalanceRow,
    CertificateContent,
    Characteristic,
    Chart,
    Conformity,
    Correction,
    Customer,
    InstrumentUsed,
    Laboratory,
    Method,
    Outcome,
    ResultRow,
    ResultTable,
    SampleItem,
    SieveUsed,
    Signature,
    TestConditions,
    Verdict,
    standard_statements,
)

LABORATORY = Laboratory(
    name="Norrhaven Materials Laboratory",
    address=("Quay Road 4", "Norrhaven"),
    place_of_work="Norrhaven, permanent laboratory",
    time_zone="Europe/Oslo",
    accreditation="",
    contact="laboratory@norrhaven.example",
)
CUSTOMER = Customer(
    name="Tarnholt Aggregates",
    contact="Ms I. Fjeldstad, quality",
    address=("Tarnholt quarry", "Upper Tarn"),
    order_reference="TA-2026-311",
)
SAMPLE = SampleItem(
    number="26-0148",
    description="Crushed granite 0/32, unbound base",
    material="Crushed granite",
    source="Tarnholt quarry, line 2",
    lot="2026-W47-3",
    condition_on_receipt="Sealed bag, moist, 14.2 kg, no damage",
    sampled_on="2026-11-19",
    sampled_by="Customer",
    sampling_method="From the belt, 8 increments, customer's plan QP-7",
    received_on="2026-11-20",
    supplied_by_customer=("description", "source", "lot", "sampled_on", "sampling_method"),
)
METHOD = Method(
    reference="In-house method NML-12",
    edition="3 (2026-02-01)",
    title="Particle size by washing and sieving",
    basis="Per cent of the dry mass before washing",
    loss_treatment="Loss stated, not distributed; tolerance 1 %",
    rounding="whole %, 63 µm to 0.1 %, halves to even",
    interpolation="straight line on the logarithm of the aperture",
)

# designation, aperture mm, retained g, lower, upper, U
_SIEVES = (
    ("45 mm", "45", "0.0", "100", "", "0"),
    ("31.5 mm", "31.5", "142.6", "90", "99", "1"),
    ("22.4 mm", "22.4", "611.8", "", "", "2"),
    ("16 mm", "16", "640.3", "58", "82", "2"),
    ("11.2 mm", "11.2", "531.2", "", "", "2"),
    ("8 mm", "8", "428.7", "40", "66", "2"),
    ("5.6 mm", "5.6", "389.4", "", "", "2"),
    ("4 mm", "4", "331.9", "26", "52", "2"),
    ("2 mm", "2", "528.5", "18", "40", "2"),
    ("1 mm", "1", "384.0", "12", "30", "1"),
    ("500 µm", "0.5", "239.6", "8", "22", "1"),
    ("250 µm", "0.25", "173.2", "", "", "1"),
    ("125 µm", "0.125", "112.7", "", "", "0.5"),
    ("63 µm", "0.063", "69.4", "", "4.0", "0.3"),
)
DRY_MASS_G = 4812.4


def _rows():
    rows, cumulative = [], 0.0
    for name, mm, mass, lower, upper, uncertainty in _SIEVES:
        cumulative += float(mass)
        passing = 100 * (1 - cumulative / DRY_MASS_G)
        places = 1 if mm == "0.063" else 0
        reported = f"{passing:.{places}f}"
        outside = (upper and float(reported) > float(upper)) or (
            lower and float(reported) < float(lower)
        )
        asked = Verdict.WITHIN if lower or upper else Verdict.NONE
        rows.append(
            ResultRow(
                designation=name,
                aperture_mm=mm,
                retained_g=mass,
                retained_pct=f"{100 * float(mass) / DRY_MASS_G:.1f}",
                cumulative_pct=f"{100 * cumulative / DRY_MASS_G:.1f}",
                passing_pct=reported,
                uncertainty_pct=uncertainty,
                lower_pct=lower,
                upper_pct=upper,
                verdict=Verdict.OUTSIDE if outside else asked,
                corrected=mm == "5.6",
            )
        )
    return tuple(rows)


CONDITIONS = TestConditions(
    place="Norrhaven, wet room",
    bench="bench 2",
    portion="26-0148-A",
    portion_mass_g="4812.4",
    division="rotary divider D-03, 1 pass",
    drying="110 °C to constant mass (two weighings within 0.1 %)",
    washing="washed over 63 µm with guard sieve 1 mm, then dried",
    shaking="vertical throw with turn, 1.5 mm peak to peak at 50 Hz, 10 min, pause every 10 s",
    end_point="1 min by hand: at most 0.2 % of the portion passed any sieve",
    climate="21 °C, 44 % relative humidity",
    performed_by="J. Aasheim",
    first_day="2026-11-23",
    last_day="2026-11-24",
    sieves=tuple(
        SieveUsed(f"S-{140 + i:04d}", name, mm, "2027-05-03")
        for i, (name, mm, *_) in enumerate(_SIEVES)
    ),
    instruments=(
        InstrumentUsed("balance", "B-02", "2027-01-15"),
        InstrumentUsed("shaker", "H-01", "2027-03-01"),
        InstrumentUsed("oven", "O-01", "2027-02-11"),
    ),
)
BALANCE = (
    BalanceRow("Pan", "14.7", "0.3"),
    BalanceRow("Wash loss", "211.8", "4.4"),
    BalanceRow("Total", "4809.8", "99.9"),
    BalanceRow("Loss, of 4812.4 g dry", "2.6", "0.1"),
)


def make_content(**changes) -> CertificateContent:
    """Return the example; any field can be changed. Statements follow unless they are given."""
    content = CertificateContent(
        title="Certificate of analysis",
        number="NML-2026-00217",
        version=1,
        draft=False,
        laboratory=LABORATORY,
        customer=CUSTOMER,
        sample=SAMPLE,
        method=METHOD,
        results=(ResultTable("Determination 1", _rows(), BALANCE, (CONDITIONS,)),),
        tested_first="2026-11-23",
        tested_last="2026-11-24",
        issued_at="2026-11-24T14:05:00+01:00",
        software_version="0.1.0",
        science_version="1",
        verification_code="7K2M-QX4D-93RT",
        verification_address="https://lab.norrhaven.example/verify",
        chart=Chart(),
        characteristics=(
            Characteristic("D10", "0.29", "mm", "size at 10 % passing", "0.04"),
            Characteristic("D50", "7.8", "mm", "size at 50 % passing", "0.5"),
            Characteristic("D60", "11.2", "mm", "size at 60 % passing", "0.6"),
            Characteristic("Cu", "39", "", "D60 / D10", "6", lower="20", verdict=Verdict.WITHIN),
            Characteristic("Maximum size", "45", "mm", "smallest sieve that passes 100 %"),
        ),
        conformity=(
            Conformity(
                specification="TQ-0/32 unbound base",
                version="3",
                clause="4.2",
                results_covered="passing at 45, 31.5, 16, 8, 4, 2, 1 mm, 500 µm and 63 µm; Cu",
                decision_rule="plain acceptance of the reported value (simple acceptance)",
                risk="at the limit itself up to 50 % of wrong decisions",
                outcome=Outcome.DOES_NOT_CONFORM,
                sentence="Outside TQ-0/32 unbound base, version 3, clause 4.2, at 63 µm: "
                "4.8 %, limit 4.0 %, excess 0.8 % ± 0.3 %.",
            ),
        ),
        uncertainty_statement="U is the expanded uncertainty, coverage factor 2, about 95 %.",
        corrections=(
            Correction(
                "Mass on 5.6 mm",
                "398.4 g",
                "389.4 g",
                "J. Aasheim",
                "2026-11-24T10:12:00+01:00",
                "digits swapped when typing; balance print kept",
            ),
        ),
        signatures=(
            Signature(
                "H. Vestergard",
                "reviewer",
                "2026-11-24T13:40:00+01:00",
                "Reviewed raw data and calculation",
            ),
            Signature(
                "Dr M. Solheim",
                "authorised signatory",
                "2026-11-24T14:05:00+01:00",
                "Authorised for issue",
            ),
        ),
    )
    content = dataclasses.replace(content, **changes)
    if "statements" in changes:
        return content
    return dataclasses.replace(content, statements=standard_statements(content))

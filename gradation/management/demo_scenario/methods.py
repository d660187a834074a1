"""By what the laboratory tests and compares: procedures and specifications, edition by edition.

Limits of the scenario's customers are invented. Where a limit is a published one, it is read from
the table of envelopes, which names its source; figures nobody confirmed are marked as such.
"""

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from gradation.science.envelopes import LineKind
from gradation.science.tables import read_table

SAND_UM = (9500, 4750, 2360, 1180, 600, 300, 150, 75)
STONE_UM = (31500, 22400, 16000, 14000, 11200, 8000, 4000)
CORE_SAND_UM = (850, 600, 425, 300, 212, 150, 106, 75, 53)
POWDER_UM = (150, 106, 75, 45)
REGRIND_UM = (4000, 3350, 2000, 1000, 500)

SHAKING = "Vertical and circular, on a table shaker"
CONFIRMATION = "Demonstration: no printed copy was read. A laboratory names its own copy here."


@dataclass(frozen=True)
class Edition:
    """One version of a procedure and when it was released, in working days before today."""

    code: str
    title: str
    released_ago: int | None
    apertures_um: tuple[int, ...]
    values: dict[str, Any] = field(default_factory=dict)


_SAND = {
    "standard_reference": "ASTM C117 and ASTM C136/C136M",
    "basis": "initial_dry",
    "wash": True,
    "guard_aperture_um": Decimal(1180),
    "drying": "110 ± 5 °C to constant mass",
    "loss_limit_pct": Decimal("0.3"),
    "loss_rule": "astm_c136_loss",
    "loading_rule": "astm_c136",
    "portion_rule": "astm_c136_fine",
    "minimum_portion_g": Decimal(300),
    "maximum_portion_g": Decimal(900),
    "fine_aperture_um": Decimal(75),
    "fine_below_pct": Decimal(10),
    "fine_decimals": 1,
    "shaking_motion": SHAKING,
    "shaking_minutes": Decimal(10),
    "shaking_amplitude_mm": Decimal("1.5"),
    "shaking_frequency_hz": Decimal(50),
    "end_point": "not more than 0.5 % of the portion passes any sieve in a further minute",
    "cautions": "Hot oven and pans: gloves. Wet floor at the wash sieve.",
    "unconfirmed_note": (
        "Read from public excerpts and summaries, not from the full standard; "
        "confirm against your own edition."
    ),
}

_STONE = {
    "standard_reference": "EN 933-1",
    "basis": "initial_dry",
    "drying": "110 ± 5 °C to constant mass",
    "loss_limit_pct": Decimal(1),
    "loss_rule": "en_933_1_loss",
    "loading_rule": "en_933_1",
    "portion_rule": "en_933_1",
    "minimum_portion_g": Decimal(2600),
    "maximum_portion_g": Decimal(3500),
    "rounding_mode": "half_up",
    "shaking_motion": SHAKING,
    "shaking_minutes": Decimal(8),
    "shaking_amplitude_mm": Decimal("2.0"),
    "shaking_frequency_hz": Decimal(50),
    "end_point": "retained mass changes by less than 1 % in a further minute",
    "cautions": "Bags of 15 kg: two persons or the trolley. Ear protection at the shaker.",
    "unconfirmed_note": (
        "Loss limit 1 %, smallest portion, places reported and rounding of halves are "
        "from memory; confirm against your own edition."
    ),
}

#: `released_ago` None: released when the laboratory was set up.
EDITIONS = (
    Edition(
        "NP-01",
        "Washed sieving of fine aggregate",
        None,
        SAND_UM,
        {**_SAND, "edition": "C117-17, C136/C136M-14"},
    ),
    Edition(
        "NP-01",
        "Washed sieving of fine aggregate",
        290,
        SAND_UM,
        {**_SAND, "edition": "C117-23, C136/C136M-19"},
    ),
    Edition(
        "NP-02",
        "Dry sieving of coarse aggregate",
        None,
        STONE_UM,
        {**_STONE, "edition": "2012"},
    ),
    Edition(
        "NP-02",
        "Dry sieving of coarse aggregate",
        3,
        STONE_UM,
        {
            **_STONE,
            "edition": "2012, preparation as NI-6",
            "drying_temperature_c": Decimal(110),
            "constant_mass_pct": Decimal("0.1"),
            "drying_interval_minutes": 60,
            "divider_passes": 2,
        },
    ),
    Edition(
        "NP-03",
        "Sieving of foundry sand, AFS sieves",
        None,
        CORE_SAND_UM,
        {
            "standard_reference": "AFS 1105 and AFS 1106",
            "edition": "as held by the laboratory",
            "basis": "sum_of_fractions",
            "drying": "110 °C for 1 h",
            "loss_limit_pct": Decimal(1),
            "minimum_portion_g": Decimal(45),
            "maximum_portion_g": Decimal(105),
            "passing_decimals": 1,
            "shaking_motion": SHAKING,
            "shaking_minutes": Decimal(15),
            "shaking_amplitude_mm": Decimal("1.2"),
            "shaking_frequency_hz": Decimal(50),
            "end_point": "fixed time, shown sufficient each year",
            "cautions": "Silica: lid on, extraction running.",
            "unconfirmed_note": (
                "Method numbers, portion and time are from memory, the loss limit is the "
                "laboratory's own; confirm against your own edition."
            ),
        },
    ),
    Edition(
        "NP-04",
        "Sieving of metal powder",
        None,
        POWDER_UM,
        {
            "standard_reference": "ASTM B214",
            "edition": "as held by the laboratory",
            "basis": "sum_of_fractions",
            "loss_limit_pct": Decimal(1),
            "minimum_portion_g": Decimal(95),
            "maximum_portion_g": Decimal(110),
            "passing_decimals": 1,
            "shaking_motion": "Circular with taps",
            "shaking_minutes": Decimal(15),
            "shaking_taps_per_min": 150,
            "end_point": "fixed time, part of the purchase contract",
            "cautions": "Earth the bench; no sparks, no clouds of powder.",
            "unconfirmed_note": (
                "Portion 100 g, 15 min, 150 taps and the loss limit are from memory; confirm "
                "against your own edition and the contract."
            ),
        },
    ),
    Edition(
        "NP-05",
        "Dry sieving of plastic regrind",
        None,
        REGRIND_UM,
        {
            "standard_reference": "Norrhaven in-house method NP-05",
            "edition": "issue 3",
            "basis": "initial_dry",
            "loss_limit_pct": Decimal(2),
            "determinations": 1,
            "minimum_portion_g": Decimal(150),
            "maximum_portion_g": Decimal(250),
            "passing_decimals": 1,
            "shaking_motion": SHAKING,
            "shaking_minutes": Decimal(10),
            "shaking_amplitude_mm": Decimal("1.0"),
            "shaking_frequency_hz": Decimal(50),
            "end_point": "fixed time",
            "cautions": "Earth the nest, collect dust at once.",
        },
    ),
)


@dataclass(frozen=True)
class Limit:
    """One line of a specification, in per cent or in the unit of the characteristic value."""

    aperture_um: int | None
    minimum: str = ""
    maximum: str = ""
    kind: LineKind = LineKind.PASSING
    characteristic: str = ""


@dataclass(frozen=True)
class Requirement:
    """One version of a specification; `from_ago` counts working days before today."""

    code: str
    title: str
    owner: str
    clause: str
    source: str
    from_ago: int | None
    limits: tuple[Limit, ...]
    values: dict[str, Any] = field(default_factory=dict)
    """What the version says beyond its limits."""


def published_limits(envelope: str) -> tuple[Limit, ...]:
    """Read the limits of a published envelope."""
    return tuple(
        Limit(int(row["aperture_um"]), row["passing_min_pct"], row["passing_max_pct"])
        for row in read_table("envelopes")
        if row["envelope"] == envelope
    )


INVENTED = "limits invented for this demonstration"

REQUIREMENTS = (
    Requirement(
        "NS-10",
        "Fine aggregate for concrete",
        "Norrhaven Materials Laboratory",
        "Table 1",
        "ASTM C33, Table 1, via public summaries; the limit at 75 µm depends on use, confirm it",
        None,
        published_limits("c33_fine"),
    ),
    Requirement(
        "NS-20",
        "Coarse aggregate 8/16, category GC85/20",
        "Norrhaven Materials Laboratory",
        "grading categories",
        "EN 12620, category GC85/20, via a public table; confirm against your own edition",
        None,
        published_limits("en_gc85_20_8_16"),
    ),
    Requirement(
        "NS-30",
        "Core sand, grade 58",
        "Ember Row Foundry",
        "sheet CS-58",
        INVENTED,
        None,
        (
            Limit(None, "54", "62", LineKind.CHARACTERISTIC, "grain_fineness_number"),
            Limit(425, "95", ""),
            Limit(212, "30", "50"),
            Limit(106, "", "3"),
            Limit(53, "", "0.5"),
        ),
    ),
    Requirement(
        "NS-40",
        "Steel powder for sintered parts",
        "Quillan Powder Works",
        "contract annex B",
        INVENTED,
        None,
        (
            Limit(150, "", "4", LineKind.RETAINED),
            Limit(106, "82", "94"),
            Limit(75, "52", "68"),
            Limit(45, "8", "19"),
        ),
    ),
    Requirement(
        "NS-50",
        "Regrind for injection moulding",
        "Loopholm Plastics Recovery",
        "delivery terms, 4",
        INVENTED,
        None,
        (
            Limit(4000, "", "15", LineKind.RETAINED),
            Limit(2000, "", "30"),
            Limit(500, "", "2"),
        ),
    ),
    Requirement(
        "NS-50",
        "Regrind for injection moulding",
        "Loopholm Plastics Recovery",
        "delivery terms, 4, second edition",
        INVENTED,
        90,
        (
            Limit(4000, "", "12", LineKind.RETAINED),
            Limit(2000, "", "25"),
            Limit(500, "", "0.8"),
        ),
    ),
    Requirement(
        "NS-40",
        "Steel powder for sintered parts",
        "Quillan Powder Works",
        "contract annex B, second edition",
        INVENTED,
        60,
        (
            Limit(150, "", "4", LineKind.RETAINED),
            Limit(106, "82", "94"),
            Limit(75, "52", "68"),
            Limit(45, "8", "19"),
        ),
        {
            "product": "Steel powder, sinter grade",
            "decision_rule": "guard_band",
            "certificate_wording": "Sampling is not part of the uncertainty.",
        },
    ),
    Requirement(
        "NS-30",
        "Core sand, grade 58",
        "Ember Row Foundry",
        "sheet CS-58, second edition",
        INVENTED,
        22,
        (
            Limit(None, "54", "62", LineKind.CHARACTERISTIC, "grain_fineness_number"),
            Limit(425, "95", ""),
            Limit(212, "30", "50"),
            Limit(106, "", "3"),
            Limit(53, "", "0.5"),
        ),
        {
            "product": "Silica core sand, grade 58",
            "lot_rule": "mean",
            "lot_size": 3,
            "certificate_wording": "A lot is what one silo held when it was sampled.",
        },
    ),
)

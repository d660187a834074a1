"""What is tested: each material with the way its samples are taken, divided, dried and weighed."""

from dataclasses import dataclass
from decimal import Decimal

from gradation.management.demo_scenario.grains import Handling


@dataclass(frozen=True)
class Kind:
    """One material and how it is handled."""

    key: str
    name: str
    trade: str
    procedure: str
    specification: str
    handling: Handling
    received_g: Decimal
    sampling: str
    division: str
    drying: str
    hazards: str
    tare_g: Decimal | None = None
    from_balance: bool = False


SILICA = (
    "Dust of sand and stone holds crystalline silica: brush and empty sieves at the extraction, "
    "wait before lifting the lid, never use compressed air."
)
METAL_DUST = (
    "Fine metal powder can burn and its dust explode: earth the bench, keep sparks and flames "
    "away, make no clouds."
)
PLASTIC_DUST = (
    "Plastic fines charge by friction and their dust can explode: earth the nest, collect dust "
    "at once."
)

SAND = Handling(portion_g=505, readability_g=Decimal("0.1"), washed=True)

KINDS = (
    Kind(
        key="crushed_sand",
        name="Crushed sand 0/4, washed",
        trade="crushed stone",
        procedure="NP-01",
        specification="NS-10",
        handling=SAND,
        received_g=Decimal(8000),
        sampling="three increments from the belt, combined",
        division="riffle, 4 passes, half drawn by lot",
        drying="oven at 110 °C overnight, to constant mass",
        hazards=SILICA,
    ),
    Kind(
        key="stone_8_16",
        name="Crushed stone 8/16",
        trade="crushed stone",
        procedure="NP-02",
        specification="NS-20",
        handling=Handling(portion_g=2720, readability_g=Decimal(1)),
        received_g=Decimal(15000),
        sampling="five increments from the stockpile, combined",
        division="large riffle, 2 passes, half drawn by lot",
        drying="oven at 110 °C overnight, to constant mass",
        hazards=SILICA,
        tare_g=Decimal(1284),
    ),
    Kind(
        key="core_sand",
        name="Silica core sand, grade 58",
        trade="foundry sand",
        procedure="NP-03",
        specification="NS-30",
        handling=Handling(portion_g=50.5, readability_g=Decimal("0.01"), lost=0.0010),
        received_g=Decimal(1000),
        sampling="thief probe at three depths of the silo",
        division="rotary divider, 1 of 8 parts",
        drying="oven at 110 °C for 1 h; clay below 0.2 %, not washed",
        hazards=SILICA,
    ),
    Kind(
        key="steel_powder",
        name="Gas-atomised steel powder, 45 to 150 µm",
        trade="metal powder",
        procedure="NP-04",
        specification="NS-40",
        handling=Handling(portion_g=100.5, readability_g=Decimal("0.01"), lost=0.0012),
        received_g=Decimal(500),
        sampling="keyhole sampler, six stabs of the drum",
        division="rotary divider, 1 of 4 parts",
        drying="as received, not dried",
        hazards=METAL_DUST,
        tare_g=Decimal("41.26"),
        from_balance=True,
    ),
    Kind(
        key="regrind",
        name="Polypropylene regrind",
        trade="plastics",
        procedure="NP-05",
        specification="NS-50",
        handling=Handling(portion_g=200, readability_g=Decimal("0.1"), lost=0.0015),
        received_g=Decimal(2000),
        sampling="scoop at the outlet of the granulator, every hour, combined",
        division="riffle, 3 passes, half drawn by lot",
        drying="as received, wiped with an antistatic cloth",
        hazards=PLASTIC_DUST,
    ),
    Kind(
        key="control_sand",
        name="Control sand NC-7",
        trade="control material",
        procedure="NP-01",
        specification="",
        handling=Handling(SAND.portion_g, SAND.readability_g, washed=True, division=0.009),
        received_g=Decimal(25000),
        sampling="drum mixed and divided once; bottles drawn by lot",
        division="rotary divider, one bottle",
        drying="oven at 110 °C overnight, to constant mass",
        hazards=SILICA,
    ),
)

BY_KEY = {kind.key: kind for kind in KINDS}

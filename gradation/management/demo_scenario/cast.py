"""Who plays in the scenario: the laboratory, its people, its customers. All of it is invented."""

from dataclasses import dataclass

from gradation.models import Laboratory
from gradation.policy import Role

PASSWORD = "coarse-above-fine-below"  # noqa: S105 - printed at every start of the demo
TIME_ZONE = "Europe/Stockholm"
#: Short enough that the scenario can show a sample that was thrown away in time.
RETENTION_DAYS = 180


@dataclass(frozen=True)
class Person:
    """One account."""

    username: str
    full_name: str
    roles: tuple[Role, ...]
    customer: str = ""


TECHNICIANS = ("ilka", "tobin")
REVIEWER, SIGNATORY, KEEPER, QUALITY = "renna", "maren", "piet", "sunna"

PEOPLE = (
    Person("ilka", "Ilka Vendrup", (Role.TECHNICIAN,)),
    Person("tobin", "Tobin Askelund", (Role.TECHNICIAN,)),
    Person(REVIEWER, "Renna Holtby", (Role.REVIEWER,)),
    Person(SIGNATORY, "Dr Maren Oakholm", (Role.SIGNATORY,)),
    Person(KEEPER, "Piet Aldersund", (Role.EQUIPMENT_KEEPER,)),
    Person(QUALITY, "Sunna Kellgard", (Role.QUALITY_MANAGER,)),
    Person("colm", "Colm Verity-Nash", (Role.AUDITOR,)),
    Person("jory", "Jory Tarnwick", (Role.CUSTOMER,), customer="tarnholt"),
)


@dataclass(frozen=True)
class Client:
    """One customer."""

    key: str
    name: str
    contact: str
    email: str
    address: str


#: The domain `.example` belongs to nobody (RFC 2606).
CLIENTS = (
    Client(
        "tarnholt",
        "Tarnholt Quarry Company",
        "Jory Tarnwick",
        "quarry@tarnholt.example",
        "Quarry Road 1\nTarnholt",
    ),
    Client(
        "osterby",
        "Osterby Road Works",
        "Hedda Lunde-Marsh",
        "materials@osterby.example",
        "Depot Yard 12\nOsterby",
    ),
    Client(
        "ember",
        "Ember Row Foundry",
        "Anselm Grau",
        "coreshop@emberrow.example",
        "Ember Row 40\nVarnsund",
    ),
    Client(
        "quillan",
        "Quillan Powder Works",
        "Dr Ysolde Quillan",
        "quality@quillan.example",
        "Atomiser Lane 3\nQuillan",
    ),
    Client(
        "loopholm",
        "Loopholm Plastics Recovery",
        "Bram Looper",
        "intake@loopholm.example",
        "Harbour Shed 7\nLoopholm",
    ),
    Client(
        "norrhaven",
        "Norrhaven Materials Laboratory (own control material)",
        "Sunna Kellgard",
        "quality@norrhaven.example",
        "Kiln Lane 4\nNorrhaven",
    ),
)


@dataclass(frozen=True)
class Origin:
    """A pit, line or store of a customer."""

    key: str
    client: str
    name: str
    kind: str
    place: str


ORIGINS = (
    Origin(
        "tarnholt_line_1", "tarnholt", "Tarnholt crushing line 1", "line", "Tarnholt, east face"
    ),
    Origin("tarnholt_line_2", "tarnholt", "Tarnholt washing line 2", "line", "Tarnholt, east face"),
    Origin("osterby_stockpile", "osterby", "Osterby stockpiles", "stockpile", "Osterby depot"),
    Origin("ember_silo_3", "ember", "Core shop silo 3", "silo", "Varnsund"),
    Origin("ember_silo_5", "ember", "Core shop silo 5", "silo", "Varnsund"),
    Origin("quillan_tower_b", "quillan", "Atomiser tower B", "plant", "Quillan"),
    Origin("loopholm_mill_4", "loopholm", "Granulator 4", "line", "Loopholm harbour"),
    Origin("loopholm_mill_6", "loopholm", "Granulator 6", "line", "Loopholm harbour"),
    Origin("norrhaven_drum", "norrhaven", "Control sand drum NC-7", "store", "Norrhaven"),
)


@dataclass(frozen=True)
class Place:
    """One bench."""

    name: str
    place: str


SAND_BENCH, STONE_BENCH, FINE_BENCH = "Bench 1", "Bench 2", "Bench 3"

PLACES = (
    Place(SAND_BENCH, "Sieve room, sand"),
    Place(STONE_BENCH, "Sieve room, stone"),
    Place(FINE_BENCH, "Powder room"),
)


def laboratory() -> Laboratory:
    """Give the laboratory's own particulars."""
    return Laboratory(
        name="Norrhaven Materials Laboratory",
        address="Kiln Lane 4\nNorrhaven",
        work_place="Norrhaven, sieve room and powder room",
        contact="office@norrhaven.example",
        accreditation="Demonstration laboratory: not accredited, its certificates prove nothing.",
        time_zone=TIME_ZONE,
        retention_days=RETENTION_DAYS,
        due_soon_days=30,
    )

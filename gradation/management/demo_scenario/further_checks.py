"""What is checked beside the apertures: a look, grains of a certified size, the master sieve."""

from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal

import numpy as np

from gradation.management.demo_scenario.cast import KEEPER
from gradation.management.demo_scenario.grains import generator
from gradation.management.demo_scenario.timeline import Story
from gradation.management.demo_scenario.world import World
from gradation.models import ReferenceLot
from gradation.services import checks, instruments
from gradation.services.check_evidence import Evidence

#: Certified passing of the beads [%] with its standard uncertainty; invented, as is the lot.
BEADS = (
    ("180", "93.5", "0.4"),
    ("165", "76.0", "0.5"),
    ("150", "49.0", "0.6"),
    ("137", "26.5", "0.5"),
    ("125", "9.5", "0.4"),
)
BEADS_LAST = timedelta(days=5 * 365)
#: Sieves of 150 µm, sieved with the beads at each of their checks.
WITH_BEADS = frozenset({"NS-0107", "NS-0401"})
#: Sieves compared with the master sieve of their size, and what one per cent of aperture changes.
MASTER, AGAINST_MASTER = "NM-0001", frozenset({"NS-0106", "NS-0109"})
PASSES_MASTER_PCT, PCT_PER_PCT, DIFFERENCE_PCT = 41.5, 0.3, Decimal("2.0")


def lot_story(world: World, opening: date) -> Story:
    """Let the keeper put the beads on file."""
    yield world.days.moment(opening, 8, 40)
    world.reference_lot = instruments.register_reference_lot(
        actor=world.people[KEEPER],
        lot=ReferenceLot(
            name="Glass beads NG-150",
            lot="lot 4",
            certificate="NG-150/4, invented for this demonstration",
            certified=[
                {"aperture_um": size, "passing_pct": passing, "u_pct": u}
                for size, passing, u in BEADS
            ],
            expires_on=opening + BEADS_LAST,
            most_uses=30,
        ),
    )


def looked_at() -> Evidence:
    """Give a look that finds nothing."""
    return checks.VisualEvidence(dict.fromkeys(checks.VISUAL_ITEMS, True))


def further_evidence(
    world: World, serial: str, day: date, true_um: float, nominal_um: float
) -> Iterator[Evidence]:
    """Yield what else is found of a sieve whose openings really measure `true_um`."""
    random = generator(serial, day.isoformat(), "further")
    if serial in WITH_BEADS:
        sizes, passing, _ = np.array(BEADS, dtype=float)[::-1].T
        observed = float(np.interp(true_um, sizes, passing)) + random.normal(0, 0.3)
        yield checks.ReferenceEvidence(
            lot=world.reference_lot,
            observed_passing_pct=Decimal(f"{observed:.1f}"),
            u_pct=Decimal("0.3"),
        )
    if serial in AGAINST_MASTER:
        here = PASSES_MASTER_PCT + PCT_PER_PCT * (true_um / nominal_um - 1) * 100
        yield checks.MasterEvidence(
            master=world.sieves[MASTER],
            this_passing_pct=Decimal(f"{here + random.normal(0, 0.2):.1f}"),
            master_passing_pct=Decimal(f"{PASSES_MASTER_PCT + random.normal(0, 0.2):.1f}"),
            limit_pct=DIFFERENCE_PCT,
        )

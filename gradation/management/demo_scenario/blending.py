"""A blend that was kept: a stockpile that is too fine on its own, used up with two others."""

from decimal import Decimal

from gradation.management.demo_scenario.cast import REVIEWER
from gradation.management.demo_scenario.timeline import Story
from gradation.management.demo_scenario.world import World
from gradation.models import Sample
from gradation.queries.blends import BlendAsked, PileAsked
from gradation.queries.curve_picks import Pick, PickKind
from gradation.services.blends import save_blend

#: Lots of the samples, with the least and the largest share of each stockpile.
PILES = (
    ("TQ-0240", Decimal(0), Decimal(100)),
    ("OW-35", Decimal(0), Decimal(40)),
    ("OW-31", Decimal(15), Decimal(100)),
)
SPECIFICATION = "NS-10"
DAYS_AGO = 3
TITLE = "Concrete sand from three stockpiles, using up stockpile 31"
NOTE = (
    "Stockpile 31 at Osterby is too fine by itself; at least 15 % of it is to go into each batch. "
    "At most 40 % of stockpile 35 is left."
)


def blend_story(world: World) -> Story:
    """Let the reviewer work the blend out and keep it."""
    yield world.days.moment(world.days.ago(DAYS_AGO), 11, 20)
    specification = world.specifications[SPECIFICATION].versions.get(state="released")
    asked = BlendAsked(
        tuple(PileAsked(_pick(lot), least, most) for lot, least, most in PILES), specification.pk
    )
    save_blend(actor=world.people[REVIEWER], asked=asked, title=TITLE, note=NOTE)


def _pick(lot: str) -> Pick:
    return Pick(PickKind.SAMPLE, Sample.objects.get(lot=lot).number)

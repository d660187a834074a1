"""Who was found able to work which procedure: on file since the laboratory opened."""

from datetime import date

from gradation.management.demo_scenario.cast import QUALITY, REVIEWER, TECHNICIANS
from gradation.management.demo_scenario.timeline import Story
from gradation.management.demo_scenario.world import World
from gradation.models import Competence
from gradation.services import competence

_EVIDENCE = "Trained by the procedure; three runs made under observation, results compared."


def competence_story(world: World, opening: date) -> Story:
    """Let who tests and who reviews be authorised for each procedure before the first run."""
    yield world.days.moment(world.days.later(opening, 2), 15, 40)
    for username in (*TECHNICIANS, REVIEWER):
        for procedure in world.procedures.values():
            competence.grant_competence(
                actor=world.people[QUALITY],
                competence=Competence(
                    person=world.people[username],
                    procedure=procedure,
                    valid_from=world.days.later(opening, 2),
                    evidence=_EVIDENCE,
                ),
            )

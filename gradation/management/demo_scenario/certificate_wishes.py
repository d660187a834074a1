"""What is wished of certificates: policy, forms, opinions, results of other laboratories."""

from __future__ import annotations

from datetime import date

from gradation.charts.figure import Direction
from gradation.management.demo_scenario.cast import QUALITY, SIGNATORY
from gradation.management.demo_scenario.timeline import Story
from gradation.management.demo_scenario.world import World
from gradation.models import Certificate, ExternalResult, Language, Paper, ReportForm, Sample
from gradation.services import certificate_additions, report_forms, signing_policy

__all__ = ["add_external_results", "add_opinions", "wishes_story"]

_POLICY = (
    "Who signs a certificate has looked at the raw readings beside the results, and answers for "
    "them by name. A signature is never given for somebody else and never with a password that "
    "anybody else knows. Who doubts a result does not sign, and says so to the quality manager."
)


def _forms(world: World) -> tuple[ReportForm, ...]:
    return (
        ReportForm(
            name="Crushed stone",
            trade="crushed stone",
            columns=["aperture", "retained_pct", "lower", "upper"],
            states_uncertainty=True,
        ),
        ReportForm(
            name="Quillan Powder Works",
            customer=world.customers["quillan"],
            language=Language.GERMAN.value,
            direction=Direction.COARSE_LEFT.value,
            retained_axis=True,
        ),
        ReportForm(
            name="Loopholm Plastics Recovery",
            customer=world.customers["loopholm"],
            language=Language.FRENCH.value,
            paper=Paper.LETTER.value,
        ),
    )


#: By the keys of the samples: what another laboratory found on them.
_ELSEWHERE = {
    "n12": ("Loss on ignition", "0.14", "%", "works method WL-12, 950 °C"),
    "n20": ("Loss on ignition", "0.17", "%", "works method WL-12, 950 °C"),
    "n21": ("Flow rate", "15.8", "s/50 g", "works method WP-03"),
}
_OPINIONS = {
    "n20": (
        "The silo was probably filled in two lots: the coarse share came in with the last one. "
        "A second sample from its lower outlet would show it.",
        "the last eight deliveries of silo 3, all of them finer on 212 µm",
    ),
}


def wishes_story(world: World, opening: date) -> Story:
    """Let the policy be set and accepted, and forms be drawn up, in the first week."""
    yield world.days.moment(opening, 9)
    policy = signing_policy.set_signing_policy(actor=world.people[QUALITY], text=_POLICY)
    yield world.days.moment(opening, 9, 20)
    signing_policy.accept_policy(actor=world.people[SIGNATORY], version=policy.version)
    yield world.days.moment(world.days.later(opening, 2), 10)
    for form in _forms(world):
        report_forms.draw_up_form(actor=world.people[QUALITY], form=form)


def add_external_results(world: World, sample: Sample, key: str) -> None:
    """Enter what another laboratory found on a sample, where one did."""
    if key not in _ELSEWHERE:
        return
    name, value, unit, method = _ELSEWHERE[key]
    certificate_additions.enter_external_result(
        actor=world.people[QUALITY],
        sample=sample,
        result=ExternalResult(
            name=name,
            value=value,
            unit=unit,
            method=method,
            provider="Varnsund Works Laboratory",
            report=f"VW-{sample.number}",
        ),
    )


def add_opinions(world: World, draft: Certificate, key: str) -> None:
    """Let the signatory say what a result may mean, where there is something to say."""
    if key in _OPINIONS:
        text, basis = _OPINIONS[key]
        certificate_additions.give_opinion(
            actor=world.people[SIGNATORY], certificate=draft, text=text, basis=basis
        )

"""What follows a sample's accepted runs: certificate, amendment, withdrawal, closing, disposal."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

from gradation.management.demo_scenario.cast import PASSWORD, REVIEWER, SIGNATORY
from gradation.management.demo_scenario.certificate_wishes import (
    add_external_results,
    add_opinions,
)
from gradation.management.demo_scenario.timeline import weekday_before
from gradation.models import Certificate, Sample
from gradation.services import certify, intake, retention, review

if TYPE_CHECKING:
    from gradation.management.demo_scenario.samples import Course
    from gradation.management.demo_scenario.timeline import Story

#: Working days from issue until the customer's silence is taken for consent.
CLOSED_AFTER = 8
AMENDED_AFTER = 3
#: Working days ago: shortly after a sieve of the powder nest had failed its check.
WITHDRAWN_AGO = 15
DISPOSED_AFTER = timedelta(days=12)


def report(course: Course) -> Story:
    """Certify the course's runs and do what its plan says with certificate and sample."""
    plan = course.plan
    if not plan.goes_to("drafted"):
        return
    yield course.at(13, 10)
    add_external_results(course.world, course.sample, plan.key)
    yield course.at(13, 30)
    certificate = _draft(course)
    add_opinions(course.world, certificate, plan.key)
    if not plan.goes_to("reported"):
        return
    course.next_day()
    yield course.at(10)
    certificate = _issue(course, certificate)
    if plan.reach == "amended":
        yield from _amend(course, certificate)
    elif plan.reach == "withdrawn":
        yield from _withdraw(course, certificate)
    elif plan.goes_to("closed"):
        yield from _close(course)


def _draft(course: Course) -> Certificate:
    return certify.draft_certificate(
        actor=course.world.people[REVIEWER],
        sample=course.sample,
        drafting=certify.Drafting(runs=course.runs),
    )


def _issue(course: Course, draft: Certificate) -> Certificate:
    signatory = course.world.people[SIGNATORY]
    return certify.issue_certificate(actor=signatory, certificate=draft, password=PASSWORD)


def _amend(course: Course, issued: Certificate) -> Story:
    """Correct the lot the customer had given wrongly, and issue the certificate anew."""
    course.next_day(AMENDED_AFTER)
    yield course.at(9)
    course.sample = intake.change_sample(
        actor=course.world.people[course.technician],
        sample=course.sample,
        delivery=replace(_delivery_of(course.sample), lot=f"{course.plan.lot}-B"),
        reason=course.plan.note,
    )
    for run in course.runs:  # the sample changed after its review
        review.look_through_trail(actor=course.world.people[REVIEWER], run=run)
    draft = certify.amend_certificate(
        actor=course.world.people[REVIEWER],
        certificate=issued,
        drafting=certify.Drafting(runs=course.runs),
        reason=course.plan.note,
    )
    yield course.at(11)
    _issue(course, draft)


def _delivery_of(sample: Sample) -> intake.Delivery:
    """Say again what is known of a sample, so that one thing of it can be changed."""
    sample = Sample.objects.select_related("customer", "source", "material").get(pk=sample.pk)
    return intake.Delivery(
        customer=sample.customer,
        material=sample.material,
        source=sample.source,
        condition=sample.condition,
        lot=sample.lot,
        customer_reference=sample.customer_reference,
        description=sample.description,
        sampler_name=sample.sampler_name,
        sampling_method=sample.sampling_method,
        sampled_at=sample.sampled_at,
        received_at=sample.received_at,
        mass_received_g=sample.mass_received_g,
        storage_place=sample.storage_place,
        due_on=sample.due_on,
    )


def _withdraw(course: Course, issued: Certificate) -> Story:
    course.ago = WITHDRAWN_AGO
    yield course.at(11)
    certify.withdraw_certificate(
        actor=course.world.people[SIGNATORY],
        certificate=issued,
        reason=course.plan.note,
        password=PASSWORD,
    )


def _close(course: Course) -> Story:
    course.next_day(CLOSED_AFTER)
    yield course.at(16)
    actor = course.world.people[course.technician]
    sample = intake.close_sample(actor=actor, sample=course.sample)
    if course.plan.goes_to("disposed") and sample.retain_until:
        day = weekday_before(sample.retain_until + DISPOSED_AFTER)
        yield course.world.days.moment(day, 15)
        retention.dispose_sample(
            actor=actor,
            sample=sample,
            disposal=retention.Disposal("tipped, bag torn", sample.number, sample.number),
            reason="Retention over, no open question.",
        )

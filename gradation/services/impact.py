"""Impact assessments: opened on a finding, decided certificate by certificate, closed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db import transaction
from django.db.models import Min, Q

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import (
    Certificate,
    Check,
    Drying,
    Equipment,
    ImpactAssessment,
    ImpactDecision,
    Run,
    User,
)
from gradation.policy import Action, require
from gradation.queries.impact import touched_certificates, undecided
from gradation.science.rounding import round_reported
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, locked, needs_reason, shortened

__all__ = ["close_assessment", "decide", "open_assessment"]

#: Checks that say something of a sieve's apertures; a look at the cloth does not.
_OF_APERTURE = frozenset({Check.Kind.APERTURE, Check.Kind.REFERENCE, Check.Kind.MASTER})


def open_assessment(
    *,
    actor: User,
    equipment: Equipment | None = None,
    person: User | None = None,
    failed_check: Check | None = None,
    period_from: date | None = None,
    period_to: date | None = None,
    found_aperture_um: Decimal | None = None,
    found_error_pct: Decimal | None = None,
    reason: str,
) -> ImpactAssessment:
    """Open an impact assessment of an item or of a person's work.

    Equipment keepers and quality managers may. Without dates the period runs from the last good
    check of the kind that would have shown the fault - or from first use when there is none - to
    today. The aperture found is taken from the failed check unless given. Refuses (`Invalid`) an
    item and a person together, figures that do not go with the item, dates in disorder or to come;
    refuses (`Conflict`) a second assessment of the same failed check. Ledger: assessment opened, in
    the item's chain.
    """
    require(actor, Action.OPEN_IMPACT)
    reason = needs_reason(reason, "open the assessment")
    if failed_check is not None and equipment is None:
        equipment = failed_check.equipment
    subject = _Subject(equipment, person, failed_check)
    figures = _Figures(found_aperture_um, found_error_pct).of(subject)
    with transaction.atomic():
        _refuse_unfit(subject, figures)
        good = subject.last_good_check()
        assessment = ImpactAssessment(
            equipment=equipment,
            person=person,
            failed_check=failed_check,
            last_good_check=good,
            period_from=period_from or subject.begins(good),
            period_to=period_to or clock.today(),
            found_aperture_um=figures.aperture_um,
            found_error_pct=figures.error_pct,
            reason=reason,
            opened_at=clock.now(),
            opened_by=actor,
        )
        _refuse_dates(assessment)
        cleaned(assessment).save(force_insert=True)
        ledger.write(
            actor=actor, action="impact assessment opened", subject=assessment, reason=reason
        )
    return assessment


@dataclass(frozen=True)
class _Subject:
    """Whom or what the assessment is about."""

    equipment: Equipment | None
    person: User | None
    failed_check: Check | None

    def last_good_check(self) -> Check | None:
        """Find the newest good check that would have shown this fault."""
        if self.equipment is None:
            return None
        checks = Check.objects.filter(equipment=self.equipment.pk, passed=True)
        failed = self.failed_check
        if failed is not None:
            earlier = Q(performed_on=failed.performed_on, pk__lt=failed.pk)
            checks = checks.filter(Q(performed_on__lt=failed.performed_on) | earlier)
        return checks.filter(kind__in=self._telling_kinds()).first()

    def _telling_kinds(self) -> list[str]:
        kind = self.failed_check.kind if self.failed_check else None
        if kind in _OF_APERTURE or (kind is None and self._is_sieve()):
            return [each.value for each in _OF_APERTURE]
        if kind is None or kind == Check.Kind.VISUAL:
            # Cloth that passed any check was whole on that day.
            return [each.value for each in Check.Kind]
        return [kind]

    def _is_sieve(self) -> bool:
        return self.equipment is not None and self.equipment.kind == Equipment.Kind.SIEVE

    def begins(self, good: Check | None) -> date:
        """Give the day from which nothing vouches for the item: good check, else first use."""
        if good is not None:
            return good.performed_on
        runs = Run.objects.all()
        if self.equipment is None:
            runs = runs.filter(Q(technician=self.person) | Q(weighings__made_by=self.person))
        elif self._is_sieve():
            runs = runs.filter(places__sieve=self.equipment.pk)
        else:
            runs = runs.filter(instruments__instrument=self.equipment.pk)
        uses = [runs.aggregate(first=Min("opened_at"))["first"], self._first_drying()]
        first = min((at for at in uses if at), default=None)
        # The day before, so that no time zone leaves the first use out.
        return first.date() - timedelta(days=1) if first else clock.today()

    def _first_drying(self) -> datetime | None:
        """Give when something was first put into it; None for what is no oven."""
        if self.equipment is None:
            return None
        dryings = Drying.objects.filter(oven=self.equipment.pk)
        first: datetime | None = dryings.aggregate(first=Min("began_at"))["first"]
        return first


@dataclass(frozen=True)
class _Figures:
    """What was found wrong, in figures."""

    aperture_um: Decimal | None
    error_pct: Decimal | None

    def of(self, subject: _Subject) -> _Figures:
        """Take the aperture over from the failed check unless given; digits as they are kept."""
        aperture_um, error_pct = self.aperture_um, self.error_pct
        if aperture_um is None and subject.failed_check is not None:
            aperture_um = subject.failed_check.found_aperture_um
        return _Figures(
            None if aperture_um is None else round_reported(aperture_um, 2),
            None if error_pct is None else round_reported(error_pct, 4),
        )


def _refuse_unfit(subject: _Subject, figures: _Figures) -> None:
    item, failed = subject.equipment, subject.failed_check
    if (item is None) == (subject.person is None):
        msg = "Choose either an item of equipment or a person; each has an assessment of its own."
        raise Invalid.one("equipment", msg, code="one-thing")
    faults = [*_figure_faults(item, figures)]
    if failed is not None and item is not None and failed.equipment_id != item.pk:
        msg = f"That check was made on {failed.equipment}, not on {item}. Choose one of its checks."
        faults.append(Fault("failed_check", msg, "other-item"))
    if failed is not None and failed.passed:
        faults.append(
            Fault("failed_check", "That check was passed. Choose a failed one.", "passed")
        )
    if faults:
        raise Invalid(faults)
    if failed is not None and failed.impacts.exists():
        msg = f"The failed check of {failed.performed_on:%d %b %Y} is being assessed already."
        raise Conflict(msg, code="assessed-already")


def _figure_faults(item: Equipment | None, figures: _Figures) -> list[Fault]:
    kind = item.kind if item else ""
    faults = []
    if figures.aperture_um is not None and kind != Equipment.Kind.SIEVE:
        msg = "Only a sieve is found with another aperture. Leave the aperture empty."
        faults.append(Fault("found_aperture_um", msg, "not-a-sieve"))
    if figures.aperture_um is not None and figures.aperture_um <= 0:
        msg = "The aperture found must be above zero micrometres."
        faults.append(Fault("found_aperture_um", msg, "not-positive"))
    if figures.error_pct is not None and kind != Equipment.Kind.BALANCE:
        msg = "Only a balance is found with an error of its reading. Leave the error empty."
        faults.append(Fault("found_error_pct", msg, "not-a-balance"))
    return faults


def _refuse_dates(assessment: ImpactAssessment) -> None:
    if assessment.period_to > clock.today():
        msg = "The period ends in the future. It ends on the day of discovery at the latest."
        raise Invalid.one("period_to", msg, code="in-future")
    if assessment.period_from > assessment.period_to:
        msg = "The period ends before it begins. Check both days."
        raise Invalid.one("period_from", msg, code="dates-crossed")


def decide(
    *,
    actor: User,
    assessment: ImpactAssessment,
    certificate: Certificate,
    verdict: str,
    reason: str,
) -> ImpactDecision:
    """Decide what becomes of one certificate: stands, retest, amend or withdraw, with a reason.

    Quality managers may, while the assessment is open; a further decision replaces the one before,
    which stays readable. Nothing happens to the certificate itself: it is amended or withdrawn by
    its signatory, and the amendment shows here once it is made. Refuses (`Invalid`) a certificate
    with no touched run, a draft, an unknown verdict, or that a withdrawn one stands; refuses
    (`Conflict`) a closed assessment. Ledger: certificate decided on, in the item's chain.
    """
    require(actor, Action.ASSESS_IMPACT)
    reason = needs_reason(reason, "decide so")
    if verdict not in list(ImpactDecision.Verdict):
        words = ", ".join(ImpactDecision.Verdict)
        raise Invalid.one("verdict", f"Choose one of: {words}.", code="unknown-verdict")
    with transaction.atomic():
        assessment = _open(assessment)
        _refuse_untouched(assessment, certificate)
        _refuse_standing(locked(certificate), verdict)
        decision = ImpactDecision(
            assessment=assessment,
            certificate=certificate,
            verdict=verdict,
            reason=reason,
            decided_at=clock.now(),
            decided_by=actor,
        )
        cleaned(decision).save(force_insert=True)
        ledger.write(actor=actor, action="certificate decided on", subject=decision, reason=reason)
    return decision


def _open(assessment: ImpactAssessment) -> ImpactAssessment:
    held = locked(assessment, "equipment", "person")
    if held.state == ImpactAssessment.State.CLOSED:
        msg = (
            f"This assessment was closed on {held.closed_at:%d %b %Y}. Open a new one on the same "
            "item if something has come to light since."
        )
        raise Conflict(msg, code="closed")
    return held


def _refuse_untouched(assessment: ImpactAssessment, certificate: Certificate) -> None:
    touched = {each.certificate_id for each in touched_certificates(assessment)}
    if certificate.pk not in touched:
        msg = f"{certificate} has no run within this assessment, so nothing is to be decided on it."
        raise Invalid.one("certificate", msg, code="not-touched")
    if certificate.state == Certificate.State.DRAFT:
        msg = f"{certificate} was never issued. Discard the draft or hold it back instead."
        raise Invalid.one("certificate", msg, code="draft")


def _refuse_standing(certificate: Certificate, verdict: str) -> None:
    withdrawn = certificate.state == Certificate.State.WITHDRAWN
    if withdrawn and verdict == ImpactDecision.Verdict.STANDS:
        msg = f"{certificate} is withdrawn, so it cannot stand. Choose 'withdraw' or 'retest'."
        raise Invalid.one("verdict", msg, code="withdrawn-already")


def close_assessment(
    *, actor: User, assessment: ImpactAssessment, conclusion: str
) -> ImpactAssessment:
    """Close an assessment with its conclusion: what was found, told, and done against a repeat.

    Quality managers may. 'No effect' is a conclusion too and needs its reasons. Refuses
    (`Conflict`) while a touched certificate has no decision, naming them, and a closed assessment;
    refuses (`Invalid`) an empty conclusion. Ledger: assessment closed.
    """
    require(actor, Action.ASSESS_IMPACT)
    text = conclusion.strip()
    if not text:
        msg = "Say what was concluded and why; 'no effect' needs its reasons too."
        raise Invalid.one("conclusion", msg, code="conclusion-missing")
    with transaction.atomic():
        held = _open(assessment)
        _refuse_undecided(held)
        before = ledger.snapshot(held)
        held.state, held.conclusion = ImpactAssessment.State.CLOSED, text
        held.closed_at, held.closed_by = clock.now(), actor
        cleaned(held).save(update_fields=["state", "conclusion", "closed_at", "closed_by"])
        ledger.write(
            actor=actor, action="impact assessment closed", subject=held, before=before,
            reason=shortened(text, 400),
        )  # fmt: skip
    return held


def _refuse_undecided(assessment: ImpactAssessment) -> None:
    waiting = undecided(touched_certificates(assessment))
    if waiting:
        named = ", ".join(each.number for each in waiting[:5])
        more = f" and {len(waiting) - 5} more" if len(waiting) > 5 else ""
        msg = f"No decision yet on {named}{more}. Decide on every certificate, then close."
        raise Conflict(msg, code="undecided")

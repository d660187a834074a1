"""What is known of a run's sources of uncertainty, for verdicts that a guard band decides."""

from __future__ import annotations

from decimal import Decimal

from gradation.models import Check, DecisionRule, Instrument, Run, SpecificationVersion
from gradation.queries.days import day_of_work
from gradation.science.worksheet_requests import (
    AtSieve,
    BalanceRequest,
    DecisionRequest,
    Requests,
    RuleName,
    UncertaintyRequest,
)

__all__ = ["decision_of", "requests_of", "uncertainty_of"]


def requests_of(run: Run, specification: SpecificationVersion | None) -> Requests:
    """Give what the calculation is asked for beyond the table.

    Plain acceptance asks for nothing more. A guard band or a probability of conformance needs the
    uncertainty of the run.
    """
    if specification is None or specification.decision_rule == DecisionRule.PLAIN:
        return Requests()
    return Requests(uncertainty=uncertainty_of(run), decision=decision_of(specification))


def uncertainty_of(run: Run) -> UncertaintyRequest:
    """Give the sources of uncertainty known of a run.

    Of the balance (its card, else the last digit of the readings) and of each aperture (the
    sieve's last check that measured it).
    """
    return UncertaintyRequest(balance=_balance(run), apertures=_apertures(run))


def decision_of(specification: SpecificationVersion) -> DecisionRequest:
    """Give the decision rule of a specification with its figures."""
    return DecisionRequest(
        rule=_RULES[DecisionRule(specification.decision_rule)],
        confidence=specification.confidence.normalize(),
        guard_factor=specification.guard_factor.normalize(),
    )


_RULES = {
    DecisionRule.PLAIN: RuleName.PLAIN,
    DecisionRule.GUARD_BAND: RuleName.GUARD_BAND,
    DecisionRule.PROBABILITY: RuleName.PROBABILITY,
}


def _balance(run: Run) -> BalanceRequest:
    balance = next(
        (
            row.instrument
            for row in run.instruments.select_related("instrument")
            if row.instrument.kind == Instrument.Kind.BALANCE and row.instrument.readability_g
        ),
        None,
    )
    if balance is None:
        return BalanceRequest(readability_g=_last_digit(run))
    return BalanceRequest(
        readability_g=balance.readability_g or Decimal(0),
        calibration_u_g=balance.uncertainty_g or Decimal(0),
    )


def _last_digit(run: Run) -> Decimal:
    decimals = [weighing.decimals for weighing in run.weighings.all()]
    return Decimal(1).scaleb(-min(decimals)) if decimals else Decimal(0)


def _apertures(run: Run) -> tuple[AtSieve, ...]:
    places = {place.sieve_id: place.aperture_um for place in run.places.all()}
    measured = Check.objects.filter(
        equipment__in=places, found_u_um__isnull=False, performed_on__lte=day_of_work(run)
    ).order_by("performed_on", "id")
    latest = {check.equipment_id: check.found_u_um for check in measured}
    return tuple(
        AtSieve(places[key].normalize(), u_um=u_um.normalize())
        for key, u_um in latest.items()
        if u_um
    )

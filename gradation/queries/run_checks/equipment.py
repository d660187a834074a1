"""Checks of sieves and instruments: fit for use, fit for the portion, tare, and who else has them.

Numbers 1, 9, 10 and 23.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from gradation.models import (
    Equipment,
    Instrument,
    Laboratory,
    OverdueRule,
    Severity,
    Sieve,
    Stage,
    Weighing,
)
from gradation.policy import Role
from gradation.queries.due import unfit_reasons
from gradation.queries.run_checks.context import Context, Part, Standing
from gradation.queries.run_checks.rule import OPENING, WORKING, Limit, Limits, Rule, Seen

__all__ = ["RULES"]

Kind, State, Slot = Equipment.Kind, Equipment.State, Weighing.Slot

#: Never only a note: such an item is not to be used at all.
_HELD = frozenset({"out-of-service", "master-sieve"})
_OTHER_SIEVE = "Scan another, or ask the equipment keeper."
_OTHER_INSTRUMENT = "Take another, or ask the equipment keeper."
_FELL_OUT = "Look at the sieve and at its fraction, and say what was found."


def _unfit(context: Context, limits: Limits) -> Iterator[Seen]:
    if context.is_opening:
        yield from _unfit_now(context)
        yield from _overladen(context)
    else:
        yield from _unfit_meanwhile(context)


def _unfit_now(context: Context) -> Iterator[Seen]:
    things: list[tuple[str, str, Sieve | Instrument]] = [
        *(("sieves", _OTHER_SIEVE, each.sieve) for each in context.standing),
        *(("instruments", _OTHER_INSTRUMENT, item) for item in context.instruments),
    ]
    for field, advice, item in things:
        if _left_later(context, item):
            continue
        for reason in unfit_reasons(item, context.day, context.laboratory):
            least = Severity.STOP if reason.code in _HELD else Severity.NOTE
            yield Seen(reason.text, advice, field=field, at_least=least)


def _left_later(context: Context, item: Equipment) -> bool:
    """Say whether an item went out of service after the day of a run recorded elsewhere."""
    since = item.state_since
    is_out = item.state != State.IN_SERVICE
    return context.is_elsewhere and is_out and since is not None and since > context.day


def _unfit_meanwhile(context: Context) -> Iterator[Seen]:
    """What was overdue on the day of the run, and what has gone out of service since."""
    for each in context.standing:
        if _left_later(context, each.sieve):
            continue
        if each.sieve.state != State.IN_SERVICE:
            yield Seen(said_gone(each.sieve), _FELL_OUT, each.place, at_most=Severity.REASON)
        elif each.next_check_on is not None and each.next_check_on < context.day:
            said = f"Sieve {each.sieve}: its check was due on {each.next_check_on:%d %b %Y}."
            yield Seen(said, _OTHER_SIEVE, field="sieves")
    guard = context.run.guard_sieve if context.run else None
    for item in (*context.instruments, *([guard] if guard else [])):
        if item.state != State.IN_SERVICE:
            advice = "Say whether its readings can stand, and why."
            yield Seen(said_gone(item), advice, at_most=Severity.REASON)


def said_gone(item: Equipment) -> str:
    """Say that an item went out of service while a run stood on it."""
    named = (
        f"Sieve {item}" if isinstance(item, Sieve) else f"{item.kind.capitalize()} {item.serial}"
    )
    return f"{named} is {item.state}: {item.state_reason.strip().rstrip('.')}."


def _overladen(context: Context) -> Iterator[Seen]:
    """Compare the nest with what each shaker may carry, when every sieve's tare is on file."""
    tares = [context.tares.get(each.sieve.pk) for each in context.standing]
    known = [each[-1] for each in tares if each]
    if len(known) < len(tares):
        return
    nest_g = sum(known, context.procedure.minimum_portion_g or Decimal(0))
    for item in context.instruments:
        if item.kind == Kind.SHAKER and item.greatest_nest_g and nest_g > item.greatest_nest_g:
            yield Seen(
                f"The nest with its portion weighs {_plain(nest_g)} g or more; shaker "
                f"{item.serial} carries {_plain(item.greatest_nest_g)} g at most.",
                _OTHER_INSTRUMENT,
                field="instruments",
                at_least=Severity.STOP,
            )


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}"


def _balance(context: Context, limits: Limits) -> Iterator[Seen]:
    """Ask for the balances named when the run is opened; later for others that readings name."""
    balances = [item for item in context.instruments if item.kind == Kind.BALANCE]
    if not context.is_opening:
        named = {item.pk for item in balances}
        used = {row.balance_id: row.balance for row in context.weighings if row.balance is not None}
        balances = [item for pk, item in used.items() if pk not in named]
    for item in balances:
        if item.pk in context.unchecked:
            yield _seen_unchecked(item, context)
        if context.is_opening:
            yield from _unsuited(item, context, limits)


def _seen_unchecked(item: Instrument, context: Context) -> Seen:
    """Name the day: the sentence stands on the certificate, long after."""
    return Seen(
        f"Balance {item.serial} was not checked with weights on {context.day:%d %b %Y}.",
        "Check it with the weights of its band, or take another.",
        field="instruments",
    )


def _unsuited(item: Instrument, context: Context, limits: Limits) -> Iterator[Seen]:
    """Name a balance too coarse or too small for the portions of the procedure."""
    least_g = context.procedure.minimum_portion_g
    coarsest = _coarsest_g(context, limits)
    if coarsest and item.readability_g is not None and item.readability_g > coarsest[0]:
        yield Seen(
            f"Balance {item.serial} reads to {_plain(item.readability_g)} g; {context.procedure} "
            f"needs {_plain(coarsest[0])} g or finer ({coarsest[1]}).",
            _OTHER_INSTRUMENT,
            field="instruments",
            at_least=Severity.STOP,
        )
    if least_g is not None and item.capacity_g is not None and item.capacity_g < least_g:
        yield Seen(
            f"Balance {item.serial} weighs to {_plain(item.capacity_g)} g; {context.procedure} has "
            f"portions from {_plain(least_g)} g.",
            _OTHER_INSTRUMENT,
            field="instruments",
            at_least=Severity.STOP,
        )


def _coarsest_g(context: Context, limits: Limits) -> tuple[Decimal, str] | None:
    """Give the coarsest readability that will do [g], and why: the procedure's, or a share."""
    if context.procedure.balance_readability_g is not None:
        return context.procedure.balance_readability_g, "its own figure"
    least_g, share_pct = context.procedure.minimum_portion_g, limits["coarsest_share"]
    if least_g is None:
        return None
    said = f"{_plain(share_pct)} % of portions from {_plain(least_g)} g"
    return least_g * share_pct / 100, said


def _tare_drift(context: Context, limits: Limits) -> Iterator[Seen]:
    usual = {pk: tares[-1] for pk, tares in context.tares.items() if tares}
    for each in context.standing:
        for row in context.at(Slot.FRACTION, each.position):
            last_g = usual.get(each.sieve.pk)
            if row.tare_g is None or last_g is None:
                continue
            if abs(row.tare_g - last_g) > limits["drift_g"]:
                yield _seen_drift(context, each, row.tare_g, usual)


def _seen_drift(
    context: Context, each: Standing, tare_g: Decimal, usual: dict[int, Decimal]
) -> Seen:
    last_g = usual[each.sieve.pk]
    others = [
        other
        for other in context.standing
        if other is not each and usual.get(other.sieve.pk) == tare_g
    ]
    whose = f" It is the tare of {others[0].sieve}." if others else ""
    return Seen(
        f"Tare of {each.sieve}: {_plain(tare_g)} g, last time {_plain(last_g)} g, a change of "
        f"{_plain(abs(tare_g - last_g))} g.{whose}",
        "Look whether the sieve is clean and dry and whether it is the right one; weigh it again.",
        each.place,
    )


def _claimed(context: Context, limits: Limits) -> Iterator[Seen]:
    for claim in context.claims:
        if claim.is_sieve:
            advice = "Take another, or wait until that run is handed over."
            yield Seen(claim.said, advice, field="sieves", at_least=Severity.STOP)
        elif claim.is_same_portion:
            said = f"Portion {context.portion} is being sieved in {claim.said}."
            advice = "Go on with that run, or have it made invalid first."
            yield Seen(said, advice, field="bench", at_least=Severity.STOP)
        else:
            said = f"Sample {context.portion.sample} is being sieved in {claim.said} too."
            advice = "Compare the labels on both trays before going on."
            yield Seen(said, advice, field="bench", at_most=Severity.NOTE)


def _of_policy(rule: str) -> Severity:
    return Severity.STOP if rule == OverdueRule.BLOCK else Severity.NOTE


def _by_overdue_sieve(laboratory: Laboratory, keeps_competence: bool) -> Severity:
    return _of_policy(laboratory.overdue_sieve)


def _by_balance(laboratory: Laboratory, keeps_competence: bool) -> Severity:
    return _of_policy(laboratory.balance_not_checked)


RULES = (
    Rule(
        number=1,
        code="equipment-unfit",
        title="Sieve or instrument held, overdue or unknown",
        looks_at=(
            "State, class and next check of each sieve and instrument when the run is opened; what "
            "went out of service before it is handed over. What is held, a master sieve, or a nest "
            "too heavy for its shaker always stops the opening."
        ),
        stages=frozenset({Stage.OPENING, Stage.HAND_OVER, Stage.REVIEW}),
        check=_unfit,
        severity=Severity.STOP,
        override=Role.EQUIPMENT_KEEPER,
        needs=frozenset({Part.TARES}),
        is_deviation=True,
        derived=_by_overdue_sieve,
        derived_words="As the laboratory's policy on overdue sieves was set.",
    ),
    Rule(
        number=9,
        code="balance-unfit",
        title="Balance not checked today, or too coarse",
        looks_at=(
            "Check-weights passed on the day of the run; readability and capacity against the "
            "portions of the procedure. Too coarse or too small always stops the opening."
        ),
        stages=frozenset({Stage.OPENING, Stage.HAND_OVER, Stage.REVIEW}),
        check=_balance,
        severity=Severity.NOTE,
        override=Role.EQUIPMENT_KEEPER,
        needs=frozenset({Part.UNCHECKED}),
        limits=(
            Limit(
                "coarsest_share",
                "Readability, at most, of the smallest portion",
                Decimal("0.1"),
                "%",
                "ASTM C136/C136M, from memory; a procedure's own figure takes its place",
            ),
        ),
        is_deviation=True,
        derived=_by_balance,
        derived_words="As the laboratory's policy on unchecked balances was set.",
    ),
    Rule(
        number=10,
        code="tare-drift",
        title="Tare changed since the last time",
        looks_at=(
            "The tare typed with a fraction against the last one of the same serial number, "
            "weighed alone or in the run before; whether it is another sieve's."
        ),
        stages=WORKING,
        check=_tare_drift,
        needs=frozenset({Part.TARES}),
        limits=(Limit("drift_g", "Change, at most", Decimal("0.5"), "g", "common practice"),),
    ),
    Rule(
        number=23,
        code="claimed-twice",
        title="Two benches claim the same sieve or sample",
        looks_at=(
            "Open runs in which one of the sieves stands, or that sieve the same portion. Another "
            "portion of the same sample on another bench is noted."
        ),
        stages=OPENING,
        check=_claimed,
        severity=Severity.STOP,
        override=None,
        needs=frozenset({Part.CLAIMS}),
        fixed_because="A sieve or a portion can only be in one place.",
    ),
)

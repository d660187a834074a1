"""Upkeep: items come on file, change with a reason, leave service and return; nests are built."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any

from django.db import transaction

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import (
    Bench,
    Check,
    Equipment,
    Nest,
    NestSieve,
    Procedure,
    Run,
    RunSieve,
    Sieve,
    Tare,
    User,
    VersionState,
)
from gradation.policy import Action, require
from gradation.queries.nests import frame_faults, order_faults, other_frames
from gradation.science.apertures import designation, sieve_sizes
from gradation.services import clock, ledger
from gradation.services.checking import (
    cleaned,
    cleaned_row,
    locked,
    needs_reason,
    registered,
    shortened,
)
from gradation.services.instruments import register_instrument
from gradation.services.outbox import announce_out_of_service

__all__ = [
    "add_bench",
    "build_nest",
    "change_equipment",
    "put_back_in_service",
    "register_instrument",
    "register_sieve",
    "retire_bench",
    "retire_nest",
    "set_check_rule",
    "take_out_of_service",
    "weigh_tare",
    "withdraw_equipment",
]


def add_bench(*, actor: User, bench: Bench) -> Bench:
    """Add a bench; equipment keepers may. Ledger: bench added."""
    require(actor, Action.KEEP_EQUIPMENT)
    with transaction.atomic():
        cleaned_row(bench)
        ledger.write(actor=actor, action="bench added", subject=bench)
    return bench


def retire_bench(*, actor: User, bench: Bench, reason: str) -> Bench:
    """Give a bench up, with a reason: no run is opened at it any more, its runs still name it.

    Equipment keepers may. Refuses (`Conflict`) a bench with an open run, with nests or with
    equipment that is not withdrawn, and one already given up. Ledger: bench retired.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    reason = needs_reason(reason, "give the bench up")
    with transaction.atomic():
        bench = locked(bench)
        _refuse_bench_in_use(bench)
        before = ledger.snapshot(bench)
        bench.is_active = False
        bench.save(update_fields=["is_active"])
        ledger.write(
            actor=actor, action="bench retired", subject=bench, before=before, reason=reason
        )
    return bench


def _refuse_bench_in_use(bench: Bench) -> None:
    if not bench.is_active:
        msg = f"{bench} is already given up."
        raise Conflict(msg)
    there = (
        ("open runs", bench.runs.filter(state=Run.State.OPEN).count()),
        ("nests", bench.nests.filter(is_active=True).count()),
        ("items", bench.equipment.exclude(state=Equipment.State.WITHDRAWN).count()),
    )
    found = [f"{count} {what}" for what, count in there if count]
    if found:
        msg = f"{bench} is in use: {', '.join(found)}. Move them or finish them first."
        raise Conflict(msg, code="bench-in-use")


def register_sieve(*, actor: User, sieve: Sieve) -> Sieve:
    """Register a test sieve under its serial number; equipment keepers may.

    Whether its size is one of the series is looked up in the table of sizes, and so is its other
    designation. Refuses (`Invalid`) a serial already given to any equipment. Ledger: sieve
    registered.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    with transaction.atomic():
        registered(_named(sieve), "serial")
        ledger.write(actor=actor, action="sieve registered", subject=sieve)
    return sieve


def _named(sieve: Sieve) -> Sieve:
    """Fill in what the table of sizes says of a sieve's aperture."""
    sieve.serial = sieve.serial.strip()
    sieve.kind = Equipment.Kind.SIEVE
    sizes = {size.aperture_um: size for size in sieve_sizes()}
    sieve.is_standard_size = sieve.aperture_um in sizes
    if not sieve.designation and sieve.aperture_um > 0:
        sieve.designation = designation(sieve.aperture_um)
    if not sieve.alternative and sieve.is_standard_size:
        both = (designation(sieve.aperture_um), designation(sieve.aperture_um, "astm"))
        sieve.alternative = next((name for name in both if name != sieve.designation), "")
    return sieve


#: What a keeper may change on a card; serial, state, counters and due dates have their own acts.
_OF_ANY = ("place", "bench", "keeper", "bought_on", "in_service_since", "note")
_CHANGEABLE = {
    "sieve": frozenset(
        (
            *_OF_ANY,
            *("aperture_um", "designation", "alternative", "standard", "edition", "medium"),
            *("shape", "grade", "frame_diameter_mm", "frame_height_mm", "maker_certificate"),
            "is_master",
        )
    ),
    "instrument": frozenset(
        (
            *_OF_ANY,
            *("model", "firmware", "motion", "frequency_hz", "taps_per_min"),
            "amplitude_min_mm",
            *("amplitude_max_mm", "greatest_nest_g", "capacity_g", "readability_g"),
            *("uncertainty_g", "set_temperature_c", "temperature_tolerance_c"),
            *("chute_width_mm", "limits_source"),
        )
    ),
    "equipment": frozenset(_OF_ANY),
}
_FIXED_ONCE_USED = ("aperture_um", "frame_diameter_mm")


def change_equipment(*, actor: User, item: Equipment, reason: str, **changes: Any) -> Equipment:
    """Change what stands on an item's card, with a reason; equipment keepers may.

    Refuses (`Invalid`) columns that have their own acts, or a sieve's aperture and frame once a run
    stood on it. Ledger: card changed, with the values before.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    reason = needs_reason(reason, "change the card")
    with transaction.atomic():
        item = locked(item)
        _refuse_fixed(item, changes)
        before = ledger.snapshot(item)
        if "aperture_um" in changes:
            changes = {"designation": "", "alternative": "", **changes}
        for name, value in changes.items():
            setattr(item, name, value)
        if isinstance(item, Sieve):
            _named(item)
        cleaned_row(item)
        ledger.write(actor=actor, action="card changed", subject=item, before=before, reason=reason)
    return item


def _refuse_fixed(item: Equipment, changes: dict[str, Any]) -> None:
    allowed = _CHANGEABLE[item._meta.model_name or "equipment"]
    faults = [
        Fault(name, f"{name.replace('_', ' ')} is not changed on the card.", "fixed")
        for name in changes
        if name not in allowed
    ]
    moved = [
        name
        for name in _FIXED_ONCE_USED
        if name in changes and changes[name] != getattr(item, name, None)
    ]
    if moved and RunSieve.objects.filter(sieve=item.pk).exists():
        faults += [
            Fault(name, f"{item} stood in runs already: register another serial.", "fixed")
            for name in moved
        ]
    if faults:
        raise Invalid(faults)


def set_check_rule(
    *, actor: User, equipment: Equipment, days: int | None, uses: int | None, reason: str
) -> Equipment:
    """Set after how many days and uses an item is checked, with a reason; equipment keepers may.

    The next check counts from the last one that passed. Refuses (`Invalid`) what is not above zero,
    (`Conflict`) a withdrawn item. Ledger: rule of checks changed, with the rule before.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    reason = needs_reason(reason, "change the rule of checks")
    faults = [
        Fault(name, "An interval is above zero; leave it empty for none.", "not-positive")
        for name, value in (("days", days), ("uses", uses))
        if value is not None and value <= 0
    ]
    if faults:
        raise Invalid(faults)
    with transaction.atomic():
        item = locked(equipment)
        _refuse_withdrawn(item)
        before = ledger.snapshot(item)
        item.check_interval_days, item.check_interval_uses = days, uses
        _count_anew(item)
        cleaned(item).save()
        ledger.write(
            actor=actor, action="rule of checks changed", subject=item, before=before, reason=reason
        )
    return item


def _count_anew(item: Equipment) -> None:
    last = (
        Check.objects.filter(equipment=item.pk, passed=True)
        .exclude(kind=Check.Kind.VISUAL)
        .order_by("-performed_on", "-id")
        .first()
    )
    if last is None:
        return
    days, uses = item.check_interval_days, item.check_interval_uses
    item.next_check_on = last.performed_on + timedelta(days=days) if days else None
    item.next_check_at_use = last.uses_at_check + uses if uses else None


def weigh_tare(*, actor: User, sieve: Sieve, tare_g: Decimal, note: str = "") -> Tare:
    """Keep the empty mass of a sieve; equipment keepers may.

    Refuses (`Invalid`) what is not above zero. Ledger: tare weighed.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    with transaction.atomic():
        tare = Tare(
            sieve=sieve,
            tare_g=tare_g,
            weighed_at=clock.now(),
            weighed_by=actor,
            note=note.strip(),
        )
        cleaned(tare).save(force_insert=True)
        ledger.write(actor=actor, action="tare weighed", subject=tare)
    return tare


def take_out_of_service(*, actor: User, item: Equipment, reason: str) -> Equipment:
    """Take an item out of service, with a reason; no run can use it.

    Ledger: out of service. Other systems, of a sieve: sieve.out_of_service.
    """
    reason = needs_reason(reason, "take it out of service")
    return _move(actor, item, Equipment.State.OUT_OF_SERVICE, reason)


def put_back_in_service(*, actor: User, item: Equipment, reason: str) -> Equipment:
    """Put an item back in service, saying on what evidence.

    Refuses (`Conflict`) an item that failed a kind of check and has not passed it since. Ledger: in
    service.
    """
    reason = needs_reason(reason, "put it back in service")
    return _move(actor, item, Equipment.State.IN_SERVICE, reason)


def withdraw_equipment(*, actor: User, item: Equipment, reason: str) -> Equipment:
    """Withdraw an item for good; its card and history stay. Ledger: withdrawn."""
    reason = needs_reason(reason, "withdraw it")
    return _move(actor, item, Equipment.State.WITHDRAWN, reason)


def _move(actor: User, item: Equipment, state: Equipment.State, reason: str) -> Equipment:
    require(actor, Action.KEEP_EQUIPMENT)
    with transaction.atomic():
        item = locked(item)
        if item.state == state or item.state == Equipment.State.WITHDRAWN:
            msg = f"{item} is already {item.state}."
            raise Conflict(msg)
        if state == Equipment.State.IN_SERVICE:
            _refuse_failed(item)
        before = ledger.snapshot(item)
        item.state, item.state_since = state, clock.today()
        item.state_reason = "" if state == Equipment.State.IN_SERVICE else shortened(reason, 240)
        item.save()
        ledger.write(actor=actor, action=state.value, subject=item, before=before, reason=reason)
        if state == Equipment.State.OUT_OF_SERVICE:
            announce_out_of_service(item)
    return item


def _refuse_failed(item: Equipment) -> None:
    latest: dict[str, Check] = {}
    for check in Check.objects.filter(equipment=item.pk).order_by("performed_on", "id"):
        latest[check.kind] = check
    for check in latest.values():
        if not check.passed:
            msg = (
                f"{item} failed its check ({check.kind}) on {check.performed_on:%d %b %Y}. It "
                "returns to service once a check of that kind is recorded that it passes."
            )
            raise Conflict(msg, code="failed-check")


def _refuse_withdrawn(item: Equipment) -> None:
    if item.state == Equipment.State.WITHDRAWN:
        msg = f"{item} is withdrawn. Its card stays as it is."
        raise Conflict(msg)


def build_nest(
    *,
    actor: User,
    name: str,
    procedure: Procedure,
    sieves: Sequence[Sieve],
    bench: Bench | None = None,
) -> Nest:
    """Build a nest of serial-numbered sieves, coarse to fine, for a procedure.

    Equipment keepers may. Refuses (`Invalid`, field `sieves`) sizes that do not descend, or are not
    those of the released procedure, frames that differ, withdrawn and master sieves. Ledger: nest
    built.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    with transaction.atomic():
        _refuse_no_nest(sieves, procedure)
        nest = cleaned_row(Nest(name=name, procedure=procedure, bench=bench))
        NestSieve.objects.bulk_create(
            NestSieve(nest=nest, position=position, sieve=sieve)
            for position, sieve in enumerate(sieves, start=1)
        )
        after = ledger.snapshot(nest, sieves=[sieve.serial for sieve in sieves])
        ledger.write(actor=actor, action="nest built", subject=nest, after=after)
    return nest


def _refuse_no_nest(sieves: Sequence[Sieve], procedure: Procedure) -> None:
    sizes = [sieve.aperture_um for sieve in sieves]
    if not sizes or any(coarse <= fine for coarse, fine in pairwise(sizes)):
        msg = "The sieves of a nest descend from the coarsest; each size stands once."
        raise Invalid.one("sieves", msg, code="nest-order")
    faults = frame_faults(sieves)
    faults += [
        f"{sieve} is withdrawn: it stands in no nest any more."
        for sieve in sieves
        if sieve.state == Equipment.State.WITHDRAWN
    ]
    faults += [
        f"{sieve} is a master sieve and stays out of routine use."
        for sieve in sieves
        if sieve.is_master
    ]
    for version in procedure.versions.filter(state=VersionState.RELEASED):
        faults += [*order_faults(sieves, version), *other_frames(sieves, version)]
    if faults:
        raise Invalid([Fault("sieves", fault, "nest-unfit") for fault in faults])


def retire_nest(*, actor: User, nest: Nest, reason: str) -> Nest:
    """Take a nest apart, with a reason: it is offered no more, its runs still name it.

    Equipment keepers may. Refuses (`Conflict`) one already retired. Ledger: nest retired.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    reason = needs_reason(reason, "retire the nest")
    with transaction.atomic():
        nest = locked(nest)
        if not nest.is_active:
            msg = f"Nest {nest} is already retired."
            raise Conflict(msg)
        before = ledger.snapshot(nest)
        nest.is_active = False
        nest.save(update_fields=["is_active"])
        ledger.write(actor=actor, action="nest retired", subject=nest, before=before, reason=reason)
    return nest

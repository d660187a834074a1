"""Preparation: test portions are divided from a sample or from one another, and put on record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import Division as Way
from gradation.models import Instrument, Laboratory, Run, Sample, TestPortion, User
from gradation.policy import Action, require
from gradation.queries.due import Unfit, unfit_reasons
from gradation.queries.halves import halves_drawn, halves_in
from gradation.queries.portion_mass import chute_note, portion_band
from gradation.queries.portions import portion_label
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, locked, needs_reason, refuse_in_doubt, shortened

__all__ = [
    "Division",
    "declare_as_received",
    "prepare_portion",
    "prepare_portions",
]

#: Ways of which every pass gives two halves, of which chance chooses one.
HALVED = frozenset({Way.RIFFLE.value, Way.QUARTERING.value})
#: Ways that need a divider of the equipment file.
WITH_DIVIDER = frozenset({Way.RIFFLE.value, Way.ROTARY.value})
MOST_PASSES, MOST_AT_ONCE = 20, 24


@dataclass(frozen=True)
class Division:
    """How test portions are made.

    `words` say how, where the way alone does not. `taken` has for each portion the halves that were
    kept in truth, such as 'L R L', or '' when they were kept as drawn. `first_label` is the label
    that the person was shown the halves for. `drying` notes what was done before it came in.
    """

    way: str
    words: str = ""
    divider: Instrument | None = None
    passes: int | None = None
    parent: TestPortion | None = None
    taken: Sequence[str] = ()
    reason: str = ""
    masses_g: Sequence[Decimal | None] = ()
    top_size_um: Decimal | None = None
    first_label: str = ""
    drying: str = ""


def prepare_portion(*, actor: User, sample: Sample, division: Division) -> TestPortion:
    """Make one test portion of a sample, labelled with the sample's number and a letter.

    As `prepare_portions`, for one.
    """
    require(actor, Action.PREPARE_PORTION)
    with transaction.atomic():
        return _prepare(actor, sample, division, 1)[0]


def prepare_portions(
    *, actor: User, sample: Sample, division: Division, count: int
) -> list[TestPortion]:
    """Make test portions of a sample in one go, one for each determination, each with its label.

    Technicians may, while the sample is logged, under test or reported. Which half is kept at each
    pass is drawn here; another half needs a reason. Refuses (`Invalid`) a divider out of service or
    overdue (by policy, else noted), fewer passes than the procedure asks for, masses not above
    zero; refuses (`Conflict`) when somebody else made a portion since the halves were shown. A mass
    outside the procedure's band is kept and said. Ledger: portion prepared, for each.
    """
    require(actor, Action.PREPARE_PORTION)
    with transaction.atomic():
        return _prepare(actor, sample, division, count)


def _prepare(actor: User, sample: Sample, division: Division, count: int) -> list[TestPortion]:
    sample = locked(sample, "procedure_version__procedure")
    _refuse_ended(sample)
    there = sample.portions.count()
    _refuse_other_label(sample, division, there)
    notes = _check(sample, division, count)
    portions = [_portion(actor, sample, division, (there, n, notes)) for n in range(count)]
    for portion in portions:
        cleaned(portion).save(force_insert=True)
        ledger.write(actor=actor, action="portion prepared", subject=portion)
    return portions


def _portion(
    actor: User, sample: Sample, division: Division, place: tuple[int, int, list[str]]
) -> TestPortion:
    """Build one portion; `place` says how many there were, which of the new it is, the notes."""
    there, n, notes = place
    drawn, taken = _halves(sample, division, there, n)
    mass_g = division.masses_g[n] if n < len(division.masses_g) else None
    portion = TestPortion(
        sample=sample,
        parent=division.parent,
        label=portion_label(sample, there + n),
        division_way=division.way,
        divider=division.divider if division.way in WITH_DIVIDER else None,
        divider_passes=division.passes if division.way in HALVED else None,
        halves_drawn=" ".join(drawn),
        halves_taken=" ".join(taken),
        halves_reason="" if drawn == taken else division.reason.strip(),
        moist_mass_g=mass_g,
        top_size_um=division.top_size_um,
        drying=division.drying,
        prepared_at=clock.now(),
        prepared_by=actor,
    )
    portion.divided_how = _told(portion, division)
    portion.division_notes = "\n".join([*notes, *_mass_notes(sample, portion)])
    return portion


def _halves(
    sample: Sample, division: Division, there: int, n: int
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Give the halves that were drawn for a portion and those that were taken."""
    if division.way not in HALVED:
        return (), ()
    drawn = halves_drawn(sample.number, there + n, division.passes or 0)
    typed = division.taken[n] if n < len(division.taken) else ""
    return drawn, (halves_in(typed) or ()) if typed.strip() else drawn


def _mass_notes(sample: Sample, portion: TestPortion) -> list[str]:
    if portion.moist_mass_g is None:
        return []
    band = portion_band(sample.procedure_version, portion.top_size_um)
    if band.is_open or not band.is_outside(portion.moist_mass_g):
        return []
    return [band.judged(portion.moist_mass_g)]


def _told(portion: TestPortion, division: Division) -> str:
    """Say in one line how a portion was made, as the certificate prints it."""
    said = [f"{division.way} {portion.divider.serial}" if portion.divider else division.way]
    if division.passes and division.way in HALVED:
        said.append(f"{division.passes} {'pass' if division.passes == 1 else 'passes'}")
        chance = "drawn by lot" if portion.halves_drawn == portion.halves_taken else "not as drawn"
        said.append(f"halves {chance}")
    if division.way == Way.OTHER:
        said = []
    if division.words.strip():
        said.append(division.words.strip())
    return shortened(", ".join(said), 160)


def _refuse_ended(sample: Sample) -> None:
    if sample.state in {Sample.State.CLOSED, Sample.State.CANCELLED}:
        msg = f"Sample {sample} is {sample.state}; nothing more is done with it."
        raise Conflict(msg)
    refuse_in_doubt(sample)


def _refuse_other_label(sample: Sample, division: Division, there: int) -> None:
    label = portion_label(sample, there)
    if division.first_label and division.first_label != label:
        msg = (
            f"The halves were drawn for {division.first_label}, and that portion was made "
            f"meanwhile. The next is {label}: look at its halves, then keep it."
        )
        raise Conflict(msg, code="other-portion-first")


def _check(sample: Sample, division: Division, count: int) -> list[str]:
    """Refuse what is no division; give what must be said of it."""
    faults = [
        *_count_faults(division, count),
        *_way_faults(sample, division),
        *_taken_faults(division),
        *_mass_faults(division),
    ]
    unfit = _divider_unfit(division)
    faults += [
        Fault("divider", f"{reason} Take another, or ask the equipment keeper.", reason.code)
        for reason in unfit
        if reason.blocks
    ]
    if faults:
        raise Invalid(faults)
    notes = [reason.text for reason in unfit]
    if division.way == Way.RIFFLE and division.divider is not None:
        notes.append(chute_note(division.divider, division.top_size_um))
    return [note for note in notes if note]


def _count_faults(division: Division, count: int) -> list[Fault]:
    if not 1 <= count <= MOST_AT_ONCE:
        msg = f"{count} portions cannot be made in one go; from 1 to {MOST_AT_ONCE} can."
        return [Fault("count", msg, "count")]
    if division.way == Way.WHOLE and count > 1:
        msg = f"The whole sample is one portion, not {count}. Choose how it was divided."
        return [Fault("count", msg, "count")]
    return []


def _way_faults(sample: Sample, division: Division) -> list[Fault]:
    faults: list[Fault] = []
    if division.way not in set(Way):
        return [Fault("way", "Say how it was divided.", "unknown-way")]
    if division.way == Way.OTHER and not division.words.strip():
        faults.append(Fault("words", "Say in words how it was divided.", "required"))
    if division.parent is not None and division.parent.sample_id != sample.pk:
        msg = f"{division.parent} is a portion of another sample."
        faults.append(Fault("parent", msg, "other-sample"))
    if division.way in WITH_DIVIDER and division.divider is None:
        faults.append(Fault("divider", "Say which divider was used.", "required"))
    return [*faults, *_pass_faults(sample, division)]


def _pass_faults(sample: Sample, division: Division) -> list[Fault]:
    if division.way not in HALVED:
        return []
    least = sample.procedure_version.divider_passes or 1
    passes = division.passes
    if passes is None or not 1 <= passes <= MOST_PASSES:
        msg = f"Say how many passes were made, from 1 to {MOST_PASSES}."
        return [Fault("passes", msg, "passes")]
    if passes < least:
        msg = (
            f"{sample.procedure_version} asks for {least} passes or more, not {passes}. Put all of "
            "it together and divide again."
        )
        return [Fault("passes", msg, "too-few-passes")]
    return []


def _taken_faults(division: Division) -> list[Fault]:
    if division.way not in HALVED:
        return []
    faults = []
    for n, typed in enumerate(division.taken):
        halves = halves_in(typed)
        if typed.strip() and (halves is None or len(halves) != division.passes):
            msg = f"Say one half for each of the {division.passes} passes: L or R for each."
            faults.append(Fault(f"taken_{n}", msg, "halves"))
    if any(typed.strip() for typed in division.taken) and not division.reason.strip():
        msg = "Say why another half was kept than the one drawn."
        faults.append(Fault("reason", msg, "reason-missing"))
    return faults


def _mass_faults(division: Division) -> list[Fault]:
    faults = [
        Fault(
            f"mass_{n}",
            f"The mass taken is {mass_g} g; it must be above zero. Weigh again, or leave it empty.",
            "mass-not-positive",
        )
        for n, mass_g in enumerate(division.masses_g)
        if mass_g is not None and mass_g <= 0
    ]
    if division.top_size_um is not None and division.top_size_um <= 0:
        faults.append(Fault("top_size_um", "A size must be above zero.", "size-not-positive"))
    return faults


def _divider_unfit(division: Division) -> Sequence[Unfit]:
    divider = division.divider
    if division.way not in WITH_DIVIDER or divider is None:
        return ()
    if divider.kind != Instrument.Kind.DIVIDER:
        return (Unfit(f"{divider} is no divider.", True, "no-divider"),)
    laboratory = Laboratory.objects.get()
    divider = Instrument.objects.get(pk=divider.pk)  # as it stands now, not when the page was made
    return unfit_reasons(divider, clock.today(laboratory), laboratory)


def declare_as_received(*, actor: User, portion: TestPortion, reason: str) -> TestPortion:
    """Put on record that a portion is tested as received, with its natural moisture, and why.

    Technicians may, with a word, before a run of it was handed over. Refuses (`Conflict`) a portion
    that is being dried or was dried. Ledger: portion tested as received.
    """
    require(actor, Action.PREPARE_PORTION)
    reason = shortened(needs_reason(reason, "test it as received"), 160)
    with transaction.atomic():
        portion = locked(portion, "sample")
        _refuse_ended(portion.sample)
        _refuse_dried(portion)
        before = ledger.snapshot(portion)
        portion.is_as_received, portion.drying = True, reason
        portion.save(update_fields=["is_as_received", "drying"])
        ledger.write(
            actor=actor,
            action="portion tested as received",
            subject=portion,
            before=before,
            reason=reason,
        )
    return portion


def _refuse_dried(portion: TestPortion) -> None:
    drying = portion.dryings.first()
    if drying is not None:
        msg = f"{portion} has a drying on record, begun {drying.began_at:%d %b %Y}."
        raise Conflict(msg)
    settled = portion.runs.filter(state__in=[Run.State.WEIGHED, Run.State.ACCEPTED]).first()
    if settled is not None:
        msg = f"Run {settled} of {portion} is {settled.state}. It can be said while a run is open."
        raise Conflict(msg)

"""What the tests of the demo scenario ask of it again and again."""

import itertools
from collections import Counter

from gradation.models import (
    Certificate,
    ChainHead,
    Check,
    LedgerEntry,
    Run,
    Sample,
    Sieve,
    Transcription,
    Weighing,
)
from gradation.queries.paper import paper_of, typists_of
from gradation.queries.readings import latest_of
from gradation.science.conformity import deviation_formulae_um
from gradation.services import ledger

CONTROL = "control material"


def customers_samples():
    return Sample.objects.exclude(material__trade=CONTROL)


def handed_over():
    return Run.objects.filter(results__isnull=False).distinct()


def warnings_of(run):
    return {each["code"] for each in run.results.first().values["warnings"]}


def actions_on(subject):
    entries = LedgerEntry.objects.filter(
        subject_type=subject._meta.model_name, subject_id=subject.pk
    )
    return list(entries.order_by("id").values_list("action", flat=True))


def broken_chains():
    """Yield the chains with a wrong link, and those whose head is not their last entry."""
    entries = LedgerEntry.objects.order_by("chain", "sequence")
    heads = dict(ChainHead.objects.values_list("chain", "digest"))
    for chain, links in itertools.groupby(entries, key=lambda entry: entry.chain):
        previous = ""
        for place, entry in enumerate(links, start=1):
            is_linked = entry.sequence == place and entry.previous_digest == previous
            if not is_linked or entry.digest != ledger.digest_of(entry):
                yield chain, place
            previous = entry.digest
        if heads.pop(chain, None) != previous:
            yield chain, "head"
    yield from heads.items()


def newest_masses_of(run):
    """Give the newest mass of each sieve, its increments together, from the top."""
    kept = Counter()
    for row in latest_of(run.weighings.all()):
        if row.slot == Weighing.Slot.FRACTION:
            kept[row.position] += row.mass_g
    return [kept[position] for position in sorted(kept)]


def before(correction):
    """Give the reading that a correction took the place of."""
    return Weighing.objects.get(
        run=correction.run,
        slot=correction.slot,
        position=correction.position,
        increment=correction.increment,
        revision=correction.revision - 1,
    )


def typed_from_paper():
    """Give the one run that was typed from paper, its paper, and the keys of who typed."""
    run = Transcription.objects.get().run
    return run, paper_of(run), typists_of(run)


def shares_of_e11_deviations():
    """Yield how much of the permitted deviation the mean and the largest opening take up."""
    checks = Check.objects.filter(
        passed=True,
        kind=Check.Kind.APERTURE,
        equipment__sieve__medium=Sieve.Medium.WOVEN_WIRE,
    )
    for check in checks.select_related("equipment__sieve"):
        nominal_um = float(check.equipment.sieve.aperture_um)
        mean_y_um, single_x_um = (float(each) for each in deviation_formulae_um(nominal_um))
        largest_um = float(check.readings["largest_aperture_um"])
        yield (
            (float(check.found_aperture_um) - nominal_um) / mean_y_um,
            (largest_um - nominal_um) / single_x_um,
        )


def conformity_on(lot):
    """Give what the certificate on a lot says of its conformity."""
    return Certificate.objects.get(sample__lot=lot).content["conformity"]

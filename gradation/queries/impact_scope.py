"""Which runs an impact assessment reaches, and what error is to be taken out of them."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from decimal import Decimal
from typing import NamedTuple

from django.db.models import Exists, OuterRef, Q, QuerySet

from gradation.models import (
    Drying,
    Equipment,
    ImpactAssessment,
    Run,
    RunInstrument,
    RunSieve,
    Sieve,
    Weighing,
)
from gradation.queries.days import laboratory_zone
from gradation.queries.impact_recomputed import BalanceFound, SieveFound
from gradation.queries.impact_rows import Method
from gradation.science.apertures import designation
from gradation.science.error_landing import BenchError, landing_sentence
from gradation.science.gradation import Basis

__all__ = ["Found", "touched_runs", "what_was_found"]


def touched_runs(assessment: ImpactAssessment) -> QuerySet[Run]:
    """List the runs made with the item, or by the person, within the period, both days included.

    A run opened before the period and weighed in it counts: it was at risk. One typed from paper
    counts by the day of the work. A sieve touches the runs it stood in and those washed over it;
    an oven also those whose portion was in it within the period, whenever they were sieved.
    """
    zone = laboratory_zone()
    first = datetime.combine(assessment.period_from, time(), zone)
    after = datetime.combine(assessment.period_to + timedelta(days=1), time(), zone)
    at_work = Q(
        Q(opened_at__gte=first) | Q(weighed_at__gte=first),
        opened_at__lt=after,
        transcription__isnull=True,
    )
    days = (assessment.period_from, assessment.period_to)
    on_paper = Q(transcription__performed_on__range=days)
    runs = Run.objects.filter(at_work | on_paper).order_by()
    if assessment.equipment is None:
        readings = Weighing.objects.filter(run=OuterRef("pk"), made_by=assessment.person_id)
        return runs.filter(Q(technician=assessment.person_id) | Exists(readings))
    if assessment.equipment.kind == Equipment.Kind.SIEVE:
        stood = RunSieve.objects.filter(sieve=assessment.equipment_id).values("run")
        return runs.filter(Q(pk__in=stood) | Q(guard_sieve=assessment.equipment_id))
    served = RunInstrument.objects.filter(instrument=assessment.equipment_id).values("run")
    stood_beside = (at_work | on_paper) & Q(pk__in=served)
    return Run.objects.filter(stood_beside | _dried_in(assessment, first, after)).order_by()


def _dried_in(assessment: ImpactAssessment, first: datetime, after: datetime) -> Q:
    """Ask for the runs that rest on a drying in the oven between two moments."""
    dryings = Drying.objects.filter(
        Q(ended_at__gte=first) | Q(ended_at__isnull=True),
        oven=assessment.equipment_id,
        began_at__lt=after,
    )
    before = dryings.filter(stage=Drying.Stage.BEFORE).values("portion")
    washed = dryings.filter(stage=Drying.Stage.AFTER_WASHING).values("run")
    return Q(portion__in=before) | Q(pk__in=washed)


_DRIFT = 50  # [%]; a balance off by half its reading was out of order and corrects nothing


class Found(NamedTuple):
    """The error to take out (None: nothing can be computed), how, and the sentence saying so."""

    error: SieveFound | BalanceFound | None
    method: Method
    sentence: str


def what_was_found(assessment: ImpactAssessment) -> Found:
    """Give the error that the assessment's runs are corrected for."""
    item = assessment.equipment
    if item is None:
        return _listed("A person's work is listed without recomputation: no figure corrects it.")
    if item.kind == Equipment.Kind.SIEVE:
        return _of_sieve(assessment, Sieve.objects.get(pk=item.pk))
    error_pct = assessment.found_error_pct
    if item.kind == Equipment.Kind.BALANCE and error_pct is not None and abs(error_pct) < _DRIFT:
        return _of_balance(error_pct)
    return _listed(
        f"Runs with {item} are listed without recomputation: what was found gives no figure by "
        "which a result could be corrected."
    )


def _listed(sentence: str) -> Found:
    return Found(None, Method.LISTED, sentence)


def _of_balance(error_pct: Decimal) -> Found:
    side = "much" if error_pct > 0 else "little"
    sentence = (
        f"The balance read {_plain(abs(error_pct))} % too {side}. Where all masses of a run came "
        "from it, fractions and total scale alike and no percentage moves; masses in grams do."
    )
    return Found(BalanceFound(float(error_pct)), Method.BALANCE, sentence)


def _of_sieve(assessment: ImpactAssessment, sieve: Sieve) -> Found:
    nominal, found = sieve.aperture_um, assessment.found_aperture_um
    if found is None:
        return _listed(
            f"Sieve {sieve} is listed without recomputation: no aperture was found for it. "
            "Measure it, or test it with reference material, and enter what was found."
        )
    error = BenchError.OVERSIZE_SIEVE if found > nominal else BenchError.UNDERSIZE_SIEVE
    neighbours = [float(nominal) * 2, float(nominal), float(nominal) / 2]
    lands = landing_sentence(error, neighbours, 1, Basis.INITIAL_DRY)
    words = f"Marked {designation(nominal)}, found {_plain(found)} µm. {lands}"
    return Found(SieveFound(float(nominal), float(found)), Method.APERTURE, words)


def _plain(number: Decimal) -> str:
    return f"{number.normalize():f}"

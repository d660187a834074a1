"""One run sieved while the network was down: written on paper, typed and compared later."""

from collections.abc import Sequence
from datetime import timedelta

from django.template.loader import render_to_string

from gradation.documents.pdf import render_pdf
from gradation.management.demo_scenario.bench_findings import hand_over, open_run
from gradation.management.demo_scenario.bench_work import (
    Job,
    Typed,
    Work,
    enter,
    fit_nest,
    sieving_of,
    typed_in,
)
from gradation.management.demo_scenario.cast import TECHNICIANS
from gradation.management.demo_scenario.instruments import check_balance
from gradation.management.demo_scenario.world import World
from gradation.models import Nest, Run, Weighing
from gradation.services import bench, transcribing

#: Working days between the sieving and the typing.
TYPED_AFTER = 1
TYPING = timedelta(minutes=30)
WHY = "Network down from 7 to 15 h; the bench wrote on paper, sheet kept in folder P."


def paper_story(world: World, job: Job) -> Work:
    """Let a run be sieved and written down, typed a day later, and compared by somebody else."""
    yield world.diary.take(job.bench, job.day, job.length)
    check_balance(world, job.bench, job.day)
    typed_on = world.days.later(job.day, TYPED_AFTER)
    at = world.diary.take(job.bench, typed_on, TYPING)
    yield at
    check_balance(world, job.bench, typed_on)
    nest = fit_nest(world, job.kind)
    readings = list(typed_in(job, sieving_of(world, job, nest)))
    run = _marked(world, job, nest, readings)
    for typed in readings:
        at += timedelta(minutes=1)
        yield at
        enter(world, job, run, typed)
    yield at + timedelta(minutes=2)
    minutes = run.procedure_version.shaking_minutes
    actor = world.people[job.technician]
    run = hand_over(actor, run, bench.HandOver(shaking_minutes=minutes))
    yield at + timedelta(minutes=9)
    second = next(name for name in TECHNICIANS if name != job.technician)
    transcribing.compare_with_paper(actor=world.people[second], run=run, agrees=True)
    return run


def _marked(world: World, job: Job, nest: Nest, readings: Sequence[Typed]) -> Run:
    """Open the run and say that its readings come from paper, with the sheet."""
    actor = world.people[job.technician]
    sieves = [place.sieve for place in nest.places.all()]
    setup = bench.Setup(bench=world.benches[job.bench], sieves=sieves, nest=nest)
    run = open_run(actor, job.portion, setup)
    transcribing.mark_transcribed(
        actor=actor,
        run=run,
        told=transcribing.OnPaper(performed_on=job.day, performed_by=actor, reason=WHY),
        scan=transcribing.ScanGiven(f"sheet_{job.portion.label}.pdf", _sheet(job, nest, readings)),
    )
    return Run.objects.get(pk=run.pk)


def _sheet(job: Job, nest: Nest, readings: Sequence[Typed]) -> bytes:
    """Draw the sheet as it was filled in at the bench."""
    rows = [(_place(nest, each.reading), _mass(each.reading)) for each in readings]
    told = {"portion": job.portion, "bench": job.bench, "day": job.day, "rows": rows}
    return render_pdf(render_to_string("documents/demo_paper_sheet.html", told))


def _place(nest: Nest, reading: bench.Reading) -> str:
    if reading.slot != Weighing.Slot.FRACTION:
        return str(reading.slot)
    sieve = nest.places.all()[reading.position - 1].sieve
    return f"{sieve.aperture_um.normalize():f} µm"


def _mass(reading: bench.Reading) -> str:
    return f"{reading.text}, tare {reading.tare_text}" if reading.tare_text else reading.text

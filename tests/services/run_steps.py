"""A run step by step, as a technician works it; shared by the tests of what a run consists of."""

from gradation.models import Weighing
from gradation.queries.runs import find_run, preview
from gradation.services import bench
from tests import factories
from tests.factories import reading

Slot = Weighing.Slot
SIZES = (4750, 2360, 600, 75)


def open_run(technician, sizes=SIZES, splits=(), optional=(), instruments=(), **procedure):
    version = factories.make_procedure(sizes, **procedure)
    for size in splits:
        version.apertures.filter(aperture_um=size).update(is_split=True)
    version.apertures.filter(aperture_um__in=optional).update(is_optional=True)
    material = factories.make_material(version)
    portion = factories.make_portion(technician, factories.make_sample(technician, material))
    kept = [size for size in sizes if size not in optional]
    setup = bench.Setup(
        bench=factories.make_bench(),
        sieves=factories.make_sieves(kept),
        instruments=instruments,
    )
    return bench.open_run(actor=technician, portion=portion, setup=setup)


def record(run, slot, text, position=0, **values):
    one = reading(slot, str(text), position, **values)
    return bench.record_weighing(actor=run.technician, run=run, reading=one)


def correct(run, slot, text, position=0, *, reason, **values):
    one = reading(slot, str(text), position, **values)
    return bench.correct_weighing(actor=run.technician, run=run, reading=one, reason=reason)


def computed(run):
    evaluation, fault = preview(find_run(run.technician, run.pk))
    assert not fault
    return evaluation


def passing(run):
    return {int(row.aperture_um): row.passing_pct for row in computed(run).rows}


def codes(run):
    return {warning.code for warning in computed(run).warnings}

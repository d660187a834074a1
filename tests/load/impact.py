"""How fast a bad sieve's runs are looked at again, on PostgreSQL.

    python -m tests.load.impact [--runs 20000] [--rounds 5]

A laboratory of its own with so many runs on one sieve - four specifications, half of the runs on
certificates - is written into a throw-away PostgreSQL that waits for the disk as a real one does.
Measured: time on the wall from the open assessment to every run recomputed, ranked and joined with
its certificates (below 2 s for 20 000 runs); the number of queries for a tenth of the runs and for
all (must be equal). Beside it the floor: the curves fetched by one bare query, parsed, and the one
point of each read at its nominal aperture, with nothing around it.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import time
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import numpy as np

from labsite.bootstrap import postgres, system

MOST_SECONDS = 2.0
AT_RUNS = 20_000
NEST_UM = (4750, 2360, 1180, 600, 300, 150)
BAD_UM, FOUND_UM = 600, Decimal("622.5")
SPECIFICATIONS = 4
AT_ONCE = 1000


def draw_curves(runs: int, chance: np.random.Generator) -> list[list[list[float]]]:
    """Give invented sands on the nest, passing in percent."""
    shares = chance.dirichlet((2, 13, 20, 25, 22, 12, 4), size=runs)
    passing = 100.0 * (1.0 - shares[:, :-1].cumsum(axis=1)).clip(0.0, 1.0)
    return [
        [[size, share] for size, share in zip(NEST_UM, row, strict=True)]
        for row in passing.tolist()
    ]


def fill(runs: int) -> Any:
    """Write the runs straight into the tables, as copies of some made through the services."""
    from gradation.models import Run
    from tests import factories

    procedure = factories.make_procedure(apertures_um=NEST_UM)
    sieves = factories.make_sieves(NEST_UM)
    patterns = []
    for low in range(SPECIFICATIONS):
        limits = [(4750, "85", "100"), (600, str(30 + 4 * low), "70"), (150, "0", "10")]
        specification = factories.make_specification(limits=limits)
        material = factories.make_material(procedure, specification)
        run = factories.make_run(sample=factories.make_sample(material=material), sieves=sieves)
        factories.weigh(run)
        patterns.append(_accepted(run))
    curves = draw_curves(runs, np.random.default_rng(2026))
    first = Run.objects.count()
    for start in range(0, runs, AT_ONCE):
        _write(patterns, curves[start : start + AT_ONCE], first + start)
    return sieves[NEST_UM.index(BAD_UM)]


def _accepted(run: Any) -> Any:
    from gradation.services import bench
    from tests import factories

    run = bench.submit_run(actor=run.technician, run=run)
    return factories.accept(run, factories.reviewer(), reason="Looked through.")


def _copy(row: Any, **changes: Any) -> Any:
    values = {field.attname: getattr(row, field.attname) for field in type(row)._meta.fields}
    return type(row)(**{**values, "id": None, **changes})


def _write(patterns: list[Any], curves: list[Any], start: int) -> None:
    """Write some runs with all that hangs on them: every other one is on a certificate."""
    from gradation.models import (
        Assessment,
        Certificate,
        Result,
        Run,
        RunSieve,
        Sample,
        TestPortion,
    )

    made = [patterns[n % len(patterns)] for n in range(len(curves))]
    numbers = [start + n for n in range(len(curves))]
    samples = Sample.objects.bulk_create(
        _copy(run.portion.sample, number=f"L-{n}") for run, n in zip(made, numbers, strict=True)
    )
    portions = TestPortion.objects.bulk_create(
        _copy(run.portion, sample_id=sample.pk, label=f"L-{n}")
        for run, sample, n in zip(made, samples, numbers, strict=True)
    )
    runs = Run.objects.bulk_create(
        _copy(run, portion_id=portion.pk) for run, portion in zip(made, portions, strict=True)
    )
    RunSieve.objects.bulk_create(
        _copy(place, run_id=run.pk, in_use=False)
        for pattern, run in zip(made, runs, strict=True)
        for place in pattern.places.all()
    )
    frozen = [pattern.results.get() for pattern in patterns]
    results = Result.objects.bulk_create(
        _copy(frozen[n % len(patterns)], run_id=run.pk, curve=curve)
        for n, (run, curve) in enumerate(zip(runs, curves, strict=True))
    )
    verdicts = [result.assessments.get() for result in frozen]
    Assessment.objects.bulk_create(
        _copy(verdicts[n % len(patterns)], result_id=result.pk) for n, result in enumerate(results)
    )
    people = patterns[0].technician
    certificates = Certificate.objects.bulk_create(
        Certificate(
            number=f"C-{numbers[n]}", sample=samples[n], state="issued", content={},
            pdf_sha256="0" * 64, drafted_at=runs[n].opened_at, drafted_by=people,
            issued_at=runs[n].opened_at, issued_by=people, verification_code=f"code-{numbers[n]}",
        )
        for n in range(0, len(runs), 2)
    )  # fmt: skip
    through = Certificate.runs.through
    through.objects.bulk_create(
        through(certificate_id=each.pk, run_id=runs[2 * n].pk)
        for n, each in enumerate(certificates)
    )


def floor(sieve_id: int) -> int:
    """Fetch the curves by one bare query and correct the one point of each."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT r.curve::text FROM gradation_result r JOIN gradation_runsieve p "
            "ON p.run_id = r.run_id WHERE p.sieve_id = %s",
            [sieve_id],
        )
        curves = [json.loads(curve) for (curve,) in cursor.fetchall()]
    passing = np.array([[share for _, share in curve] for curve in curves])
    place = NEST_UM.index(BAD_UM)
    along = np.log(float(FOUND_UM) / BAD_UM) / np.log(float(FOUND_UM) / NEST_UM[place + 1])
    corrected = passing[:, place] + along * (passing[:, place + 1] - passing[:, place])
    return int(corrected.size)


def seconds(work: Callable[[], object]) -> float:
    """Give the time on the wall that one call takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def queries_of(work: Callable[[], object]) -> int:
    """Count the queries of one call."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as captured:
        work()
    return len(captured)


def measure(runs: int, rounds: int) -> list[str]:
    """Fill the database twice, measure, and give the lines to print."""
    from django.db import connection

    from gradation.queries.impact import find_assessment, touched
    from tests import factories

    factories.make_laboratory()
    sieve = fill(runs)
    few, opened = _assess(fill(runs // 10)), _assess(sieve)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    few_queries = queries_of(lambda: touched(find_assessment(few.pk)))
    all_queries = queries_of(lambda: touched(find_assessment(opened.pk)))
    found = touched(find_assessment(opened.pk))
    times = [seconds(lambda: touched(find_assessment(opened.pk))) for _ in range(rounds)]
    bare = [seconds(lambda: floor(sieve.pk)) for _ in range(rounds)]
    ours, least = statistics.median(times), statistics.median(bare)
    allowed = MOST_SECONDS * max(1.0, runs / AT_RUNS)
    return [
        f"{found.run_count} runs on {connection.vendor}, {len(found.certificates)} certificates, "
        f"{found.flips} verdicts would flip",
        f"looked at again in {ours:.2f} s, worst {max(times):.2f} s (below {allowed:g} s) "
        f"{_verdict(ours < allowed)}; bare floor {least:.2f} s, {ours / least:.1f} times it",
        f"queries: {few_queries} for {touched(few).run_count} runs, {all_queries} for "
        f"{found.run_count} {_verdict(few_queries == all_queries)}",
    ]


def _assess(sieve: Any) -> Any:
    from gradation.services import impact
    from tests import factories

    return impact.open_assessment(
        actor=factories.make_person(factories.Role.QUALITY_MANAGER),
        equipment=sieve,
        found_aperture_um=FOUND_UM,
        reason="Found oversize.",
    )


def _verdict(is_met: bool) -> str:
    return "- met" if is_met else "- MISSED"


def main() -> None:
    """Print what was measured."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=AT_RUNS)
    parser.add_argument("--rounds", type=int, default=5)
    chosen = parser.parse_args()
    system.provide_libraries()
    with postgres.throwaway_cluster(durable=True) as cluster:
        os.environ["TEST_DATABASE_URL"] = cluster.url
        os.environ["DJANGO_SETTINGS_MODULE"] = "labsite.settings.test"
        import django
        from django.core.management import call_command
        from django.db import connections

        django.setup()
        call_command("migrate", verbosity=0)
        print("\n".join(measure(chosen.runs, chosen.rounds)))
        connections.close_all()


if __name__ == "__main__":
    main()

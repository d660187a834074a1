"""Minimal valid things for tests, one function a noun; state is reached through the services."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from uuid import uuid4

from gradation.models import (
    BalanceLink,
    BalanceReading,
    Bench,
    BlendRecord,
    Certificate,
    Competence,
    Customer,
    Division,
    Drying,
    Instrument,
    Laboratory,
    Material,
    Nest,
    Procedure,
    ProcedureVersion,
    Run,
    RunImport,
    Sample,
    SampleHold,
    Scope,
    Shaking,
    SheetForm,
    Sieve,
    Source,
    Specification,
    SpecificationLine,
    SpecificationVersion,
    Study,
    TestPortion,
    User,
    Weighing,
)
from gradation.policy import Role as Role
from gradation.queries.blends import BlendAsked, PileAsked
from gradation.queries.curve_picks import Pick, PickKind
from gradation.queries.studies.asked import Head, RoundAsked, StudyAsked
from gradation.services import (
    balance_links,
    balance_readings,
    bench,
    blends,
    certify,
    clock,
    competence,
    dryings,
    intake,
    laboratory,
    methods,
    parties,
    people,
    preparation,
    retention,
    run_import,
    shakings,
    specifications,
    studies,
    tokens,
    upkeep,
)
from gradation.services.order_sheet_rows import guess_columns as order_columns
from gradation.services.procedure_reading import nest_of
from gradation.services.run_sheet_rows import guess_columns
from tests.bench_steps import answer_findings as answer_findings
from tests.bench_steps import hand_over
from tests.review_steps import accept as accept
from tests.sheets import ORDER_HEADINGS as ORDER_HEADINGS
from tests.sheets import RUN_HEADINGS as RUN_HEADINGS
from tests.sheets import orders_table as orders_table
from tests.sheets import runs_table as runs_table
from tests.staff import PASSWORD as PASSWORD
from tests.staff import approver as approver
from tests.staff import keeper as keeper
from tests.staff import make_person as make_person
from tests.staff import quality_manager as quality_manager
from tests.staff import reviewer as reviewer
from tests.staff import signatory as signatory
from tests.staff import technician as technician

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
APERTURES_UM = (4750, 2360, 1180, 600, 300, 150)
#: On the six sieves and the pan; with a dry mass of 500 g they add up without loss.
MASSES_G = ("10", "75", "100", "125", "110", "60", "20")

_number = itertools.count(1)


def make_laboratory(**values: Any) -> Laboratory:
    """Set up the laboratory, once."""
    known = Laboratory.objects.first()
    if known is not None:
        return known
    filled = {
        "name": "Norrhaven Materials Laboratory",
        "address": "Kiln Lane 4\nNorrhaven",
        "work_place": "Norrhaven, sieve room",
        **values,
    }
    return laboratory.set_up_laboratory(
        actor=people.system_account(), laboratory=Laboratory(**filled)
    )


def make_customer(**values: Any) -> Customer:
    """Add a customer."""
    filled = {
        "name": f"Tarnholt Quarry {next(_number)}",
        "contact_name": "I. Fjeldstad, quality",
        **values,
    }
    return parties.add_customer(actor=people.system_account(), customer=Customer(**filled))


def make_source(customer: Customer | None = None, **values: Any) -> Source:
    """Add a pit of a customer."""
    filled = {"name": f"East face {next(_number)}", "kind": "pit", **values}
    source = Source(customer=customer or make_customer(), **filled)
    return parties.add_source(actor=people.system_account(), source=source)


def make_procedure(
    apertures_um: Sequence[int | Decimal] = APERTURES_UM, **values: Any
) -> ProcedureVersion:
    """Add a procedure and release its first version."""
    n = next(_number)
    actor = people.system_account()
    procedure = methods.add_procedure(
        actor=actor, procedure=Procedure(code=f"GP-{n:02d}", title="Dry sieving of aggregate")
    )
    filled = {
        "standard_reference": "ASTM C136/C136M",
        "edition": "2014",
        "basis": "initial_dry",
        "loss_limit_pct": Decimal("0.3"),
        **values,
    }
    places = nest_of(*apertures_um)
    for place in places:
        place.is_confirmed_size = True  # published examples have sizes of their own
    version = methods.draft_procedure_version(
        actor=actor, version=ProcedureVersion(procedure=procedure, **filled), places=places
    )
    return release_procedure(version)


def release_procedure(version: ProcedureVersion, **told: Any) -> ProcedureVersion:
    """Propose a drafted version and let a second person release it."""
    proposed = methods.propose_procedure_version(actor=people.system_account(), version=version)
    return methods.approve_procedure_version(actor=approver(), version=proposed, **told)


def make_specification(
    limits: Sequence[tuple[int, str, str]] = ((4750, "95", "100"), (300, "5", "30")),
    **values: Any,
) -> SpecificationVersion:
    """Add a specification of passing limits and release its first version."""
    n = next(_number)
    actor = people.system_account()
    specification = specifications.add_specification(
        actor=actor,
        specification=Specification(code=f"GS-{n:02d}", title="Fine aggregate for concrete"),
    )
    version = specifications.draft_specification_version(
        actor=actor,
        version=SpecificationVersion(
            specification=specification, **{"effective_from": date(2020, 1, 1), **values}
        ),
        lines=[
            SpecificationLine(
                aperture_um=Decimal(size), minimum=Decimal(low), maximum=Decimal(high)
            )
            for size, low, high in limits
        ],
    )
    return release_specification(version)


def release_specification(version: SpecificationVersion, **told: Any) -> SpecificationVersion:
    """Propose a drafted version and let a second person approve it."""
    proposed = specifications.propose_specification_version(
        actor=people.system_account(), version=version
    )
    return specifications.approve_specification_version(
        actor=quality_manager(), version=proposed, **told
    )


def make_material(
    procedure: ProcedureVersion | None = None,
    specification: SpecificationVersion | None = None,
    **values: Any,
) -> Material:
    """Add a material with a released procedure."""
    procedure = procedure or make_procedure()
    filled = {
        "name": f"Washed sand {next(_number)}",
        "default_procedure": procedure.procedure,
        "default_specification": specification.specification if specification else None,
        **values,
    }
    return parties.add_material(actor=people.system_account(), material=Material(**filled))


def make_sample(
    actor: User | None = None, material: Material | None = None, **values: Any
) -> Sample:
    """Log a sample."""
    make_laboratory()
    filled = {
        "customer": values.pop("customer", None) or make_customer(),
        "material": material or make_material(),
        "condition": "dry, bag sealed",
        **values,
    }
    return intake.log_sample(actor=actor or technician(), delivery=intake.Delivery(**filled))


def make_hold(sample: Sample | None = None, **values: Any) -> SampleHold:
    """Hold what is left of a sample."""
    filled = {"cause": SampleHold.Cause.DISPUTE.value, "reason": "The customer asks.", **values}
    sample = sample or make_sample()
    return retention.hold_sample(actor=technician(), sample=sample, **filled)


def dispose(sample: Sample, actor: User, **values: Any) -> Sample:
    """Throw away what is left of a sample."""
    scanned = {"at_shelf": sample.number, "at_container": sample.number, "how": "tipped", **values}
    return retention.dispose_sample(
        actor=actor,
        sample=sample,
        disposal=retention.Disposal(**scanned),
        reason="Its time is over.",
    )


def make_portion(actor: User | None = None, sample: Sample | None = None) -> TestPortion:
    """Prepare a test portion."""
    actor = actor or technician()
    return preparation.prepare_portion(
        actor=actor,
        sample=sample or make_sample(actor),
        division=preparation.Division(Division.OTHER, "riffle, 3 passes, left half"),
    )


def make_drying(portion: TestPortion | None = None) -> Drying:
    """Put a portion into an oven."""
    portion = portion or make_portion()
    oven = dryings.Oven(
        oven=make_instrument("oven", set_temperature_c=Decimal(110)),
        limit_pct=None if portion.sample.procedure_version.constant_mass_pct else Decimal("0.1"),
        limit_source="EN 933-1",
    )
    return dryings.begin_drying(actor=portion.prepared_by, portion=portion, oven=oven)


def make_drying_with_mass(actor: User | None = None) -> Drying:
    """Put a portion into an oven and weigh it once."""
    drying = make_drying()
    mass = dryings.MassReading(number=1, text="512.3", key=uuid4())
    dryings.record_drying_mass(actor=actor or technician(), drying=drying, reading=mass)
    return drying


def make_sieve(aperture_um: int | Decimal = 600, **values: Any) -> Sieve:
    """Register a sieve."""
    filled = {
        "serial": f"S-{next(_number):04d}",
        "aperture_um": Decimal(aperture_um),
        "designation": f"{aperture_um} µm",
        "frame_diameter_mm": Decimal(200),
        **values,
    }
    return upkeep.register_sieve(actor=keeper(), sieve=Sieve(**filled))


def make_sieves(apertures_um: Sequence[int | Decimal] = APERTURES_UM) -> list[Sieve]:
    """Register a set of sieves, coarse to fine."""
    return [make_sieve(size) for size in apertures_um]


def make_instrument(kind: str, **values: Any) -> Instrument:
    """Register an instrument."""
    filled = {"serial": f"I-{next(_number):04d}", "kind": kind, **values}
    return upkeep.register_instrument(actor=keeper(), instrument=Instrument(**filled))


def make_competence(person: User, **values: Any) -> Competence:
    """Record that somebody was found able to work a procedure."""
    filled = {"valid_from": clock.today(), "evidence": "Three observed runs.", **values}
    procedure = filled.pop("procedure", None) or make_procedure().procedure
    return competence.grant_competence(
        actor=people.system_account(),
        competence=Competence(person=person, procedure=procedure, **filled),
    )


def make_bench(**values: Any) -> Bench:
    """Add a bench."""
    actor = keeper()
    return upkeep.add_bench(
        actor=actor, bench=Bench(**{"name": f"Bench {next(_number)}", **values})
    )


def make_balance_link(
    balance: Instrument | None = None, bench: Bench | None = None, **values: Any
) -> BalanceLink:
    """Connect a balance to a bench; it sends lines such as `12.34 g` at a key press."""
    make_laboratory()
    filled = {
        "balance": balance or make_instrument("balance"),
        "bench": bench or make_bench(),
        "form": "number_unit",
        **values,
    }
    return balance_links.connect_balance(actor=keeper(), link=BalanceLink(**filled))


def send_line(
    link: BalanceLink, line: str, actor: User | None = None, **values: Any
) -> BalanceReading:
    """Let a balance send one line to its bench."""
    filled = {"bench": link.bench, "balance": link.balance.serial, "key": uuid4(), **values}
    sent = balance_readings.BalanceLine(line=line, **filled)
    return balance_readings.take_balance_reading(actor=actor or technician(), sent=sent)


def make_token(owner: User | None = None, **values: Any) -> tokens.MadeToken:
    """Make a token for a gateway, with its secret."""
    filled = {
        "name": "gateway in the sieve room",
        "owner": owner or technician(),
        "scopes": [Scope.WRITE_BENCH_READINGS, Scope.READ_BENCH_READINGS],
        "valid_days": 30,
        **values,
    }
    return tokens.create_token(actor=quality_manager(), wanted=tokens.Wanted(**filled))


def make_nest(procedure: ProcedureVersion, sieves: Sequence[Sieve] | None = None) -> Nest:
    """Build a nest for a procedure."""
    sizes = [place.aperture_um for place in procedure.apertures.all()]
    return upkeep.build_nest(
        actor=keeper(),
        name=f"Nest {next(_number)}",
        procedure=procedure.procedure,
        sieves=sieves or make_sieves(sizes),
    )


def reading(slot: str, text: str, position: int = 0, **values: Any) -> bench.Reading:
    """Make a reading with a fresh key."""
    return bench.Reading(slot=slot, text=text, position=position, key=uuid4(), **values)


def make_run(actor: User | None = None, sample: Sample | None = None, **values: Any) -> Run:
    """Open a run on fresh sieves of the procedure's sizes."""
    actor = actor or technician()
    portion = values.pop("portion", None) or make_portion(actor, sample)
    apertures = portion.sample.procedure_version.apertures.all()
    setup = bench.Setup(
        bench=values.pop("bench", None) or make_bench(),
        sieves=values.pop("sieves", None) or make_sieves([row.aperture_um for row in apertures]),
    )
    return bench.open_run(actor=actor, portion=portion, setup=setup)


def weigh(
    run: Run,
    *,
    dry_mass_g: str = "500",
    masses_g: Sequence[str] = MASSES_G,
    washed_dry_mass_g: str = "",
) -> None:
    """Record every reading of a run, pan last, as its technician."""
    slots = Weighing.Slot
    readings = [reading(slots.DRY_MASS, dry_mass_g)]
    if washed_dry_mass_g:
        readings.append(reading(slots.WASHED_DRY_MASS, washed_dry_mass_g))
    readings += [
        reading(slots.FRACTION, mass, position)
        for position, mass in enumerate(masses_g[:-1], start=1)
    ]
    readings.append(reading(slots.PAN, masses_g[-1]))
    for one in readings:
        bench.record_weighing(actor=run.technician, run=run, reading=one)


def make_weighed_run(actor: User | None = None, sample: Sample | None = None, **masses: Any) -> Run:
    """Make a run and hand it over for review."""
    run = make_run(actor, sample)
    weigh(run, **masses)
    return hand_over(run)


def make_accepted_run(
    actor: User | None = None, sample: Sample | None = None, **masses: Any
) -> Run:
    """Make a run that a reviewer has accepted."""
    run = make_weighed_run(actor, sample, **masses)
    return accept(run, reviewer(), reason="Looked through.")


def make_certificate(sample: Sample | None = None, **values: Any) -> Certificate:
    """Issue a certificate on one accepted run."""
    run = make_accepted_run(sample=sample)
    actor = values.pop("actor", None) or signatory()
    draft = certify.draft_certificate(
        actor=actor, sample=run.portion.sample, drafting=certify.Drafting(runs=[run])
    )
    return certify.issue_certificate(actor=actor, certificate=draft, password=PASSWORD)


def make_sheet_form(actor: User | None = None, **values: Any) -> SheetForm:
    """Describe tables of runs on three sieves."""
    make_laboratory()
    procedure = make_procedure(apertures_um=(4000, 1000, 250))
    filled = {
        "name": f"Old workbook {next(_number)}",
        "customer": make_customer(),
        "material": make_material(procedure),
        "bench": make_bench(),
        "nest": make_nest(procedure),
        "columns": guess_columns(RUN_HEADINGS),
        **values,
    }
    return run_import.change_sheet_form(actor=actor or technician(), form=SheetForm(**filled))


def make_order_form(actor: User | None = None, **values: Any) -> SheetForm:
    """Describe tables of orders whose columns say everything."""
    make_laboratory()
    filled = {
        "kind": SheetForm.Kind.ORDERS,
        "name": f"Order office {next(_number)}",
        "unit": SheetForm.Unit.KILOGRAM,
        "columns": order_columns(ORDER_HEADINGS),
        **values,
    }
    return run_import.change_sheet_form(actor=actor or technician(), form=SheetForm(**filled))


def make_run_import(actor: User | None = None) -> RunImport:
    """Take a table of one run in."""
    actor = actor or technician()
    file = runs_table(f"T-{next(_number)};2026-02-03;I. Orre;500;50;150;200;100;")
    job = run_import.add_table(
        actor=actor, form=make_sheet_form(actor), file=file, name="tarnholt.csv"
    )
    job = run_import.look_through(actor=actor, job=job)
    return run_import.take_in(actor=actor, job=job, way=RunImport.Way.ALL)


def make_blend(sample: Sample | None = None, **values: Any) -> BlendRecord:
    """Keep a blend of a sample and of one of its runs, as two stockpiles."""
    run = sample.portions.first().runs.get() if sample else make_accepted_run()
    keys = (
        Pick(PickKind.SAMPLE, run.portion.sample.number),
        Pick(PickKind.RUN, str(run.pk)),
    )
    asked = BlendAsked(tuple(PileAsked(key) for key in keys), make_specification().pk)
    filled = {"title": "Trial mix", **values}
    return blends.save_blend(actor=reviewer(), asked=asked, **filled)


def make_study(asked: StudyAsked | None = None, **values: Any) -> Study:
    """Keep a study; unless told otherwise a round whose score must be answered."""
    make_laboratory()
    actor = reviewer()
    round_asked = RoundAsked(
        own=Decimal("52.0"), u_own=Decimal("0.4"), assigned=Decimal("50.0"),
        deviation=Decimal("0.8"), u_assigned=Decimal("0.1"),
    )  # fmt: skip
    head = Head(**{"title": "Round 7", "figure": "passing_600", **values})
    study = studies.begin_study(actor=actor, head=head, asked=asked or round_asked)
    return studies.keep_study(actor=actor, study=study)


def at(moment: datetime = NOW) -> Any:
    """Let the laboratory's clock stand."""
    return clock.at(moment)


def make_shaking(run: Run | None = None, **values: Any) -> Shaking:
    """Record a shaking of a run."""
    run = run or make_run(technician())
    shaken = shakings.Shaken(**{"key": uuid4(), "minutes": Decimal(10), **values})
    return shakings.record_shaking(actor=run.technician, run=run, shaken=shaken)

"""Procedures: drafts open to change, proposed, released by a second person, frozen from then on."""

from decimal import Decimal

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import LedgerEntry, Procedure, ProcedureAperture, ProcedureVersion
from gradation.science.procedure_library import library_procedure, procedures
from gradation.science.worksheet import Fraction, Worksheet, evaluate
from gradation.services import laboratory as laboratories
from gradation.services import methods
from gradation.services.procedure_reading import from_library, nest_of
from tests import factories


@pytest.fixture
def manager(laboratory):
    """Give a quality manager."""
    return factories.quality_manager()


@pytest.fixture
def draft(manager):
    """Give a maker of drafts, of one procedure or each of its own."""

    def make(procedure=None, sizes=(600, 300), places=None, **values):
        filled = {
            "standard_reference": "ASTM C136/C136M",
            "edition": "2019",
            "basis": "initial_dry",
            "loss_limit_pct": Decimal("0.3"),
            **values,
        }
        return methods.draft_procedure_version(
            actor=manager,
            version=ProcedureVersion(
                procedure=procedure or factories.make_procedure().procedure, **filled
            ),
            places=nest_of(*sizes) if places is None else places,
        )

    return make


def refused(draft, **values):
    """Give the faults of a draft that is refused, by field."""
    with pytest.raises(Invalid) as refusal:
        draft(**values)
    return {fault.field: fault.message for fault in refusal.value.faults}


def test_order_in_which_sizes_are_entered_does_not_matter(manager):
    version = factories.make_procedure((300, 4750, 600))

    assert [row.aperture_um for row in version.apertures.all()] == [4750, 600, 300]


@pytest.mark.parametrize(
    ("values", "field", "words"),
    [
        ({"sizes": ()}, "apertures", "at least one sieve size"),
        ({"sizes": (600, 300, 600)}, "apertures/2/aperture_um", "stands twice"),
        ({"sizes": (600, 333)}, "apertures/1/is_confirmed_size", "no standard series"),
        ({"loss_limit_pct": Decimal(0)}, "loss_limit_pct", "above zero"),
        (
            {"minimum_portion_g": Decimal(500), "maximum_portion_g": Decimal(400)},
            "maximum_portion_g",
            "400 g, is below the smallest, 500 g",
        ),
        ({"drying_interval_minutes": 60}, "constant_mass_pct", "by how much"),
        ({"guard_aperture_um": Decimal(1180)}, "guard_aperture_um", "Tick washing"),
        (
            {"wash": True, "guard_aperture_um": Decimal(300)},
            "guard_aperture_um",
            "not coarser",
        ),
        ({"loading_rule": "of_my_own"}, "loading_rule", "No rule is kept here"),
        ({"loss_rule": "en_933_1_loss"}, "loss_limit_pct", "allows 1 %"),
        (
            {"end_point_form": "an extra minute by hand"},
            "end_point_limit_pct",
            "enter the limit",
        ),
        ({"end_point_limit_pct": Decimal(1)}, "end_point_form", "no way to show it"),
        (
            {
                "end_point_form": "an extra minute by hand",
                "end_point_rule": "astm_c136_end",
                "end_point_limit_pct": Decimal(1),
            },
            "end_point_limit_pct",
            "0.5 % of the total",
        ),
        ({"fine_decimals": 1}, "fine_aperture_um", "at which sieve"),
        ({"fine_aperture_um": Decimal(300)}, "fine_decimals", "how many decimals"),
        (
            {"fine_aperture_um": Decimal(75), "fine_decimals": 1},
            "fine_aperture_um",
            "not in the nest",
        ),
        ({"determinations": 2, "determinations_most": 1}, "determinations_most", "2 are asked"),
        ({"outlier_rule": "grubbs"}, "determinations_most", "needs three"),
        ({"repeatability_of": "colour"}, "repeatability_of", "No value is worked out"),
        (
            {"shaking_minutes": Decimal(1), "shaking_interval_s": 90},
            "shaking_interval_s",
            "never comes",
        ),
        ({"shaking_tolerance_pct": Decimal(100)}, "shaking_tolerance_pct", "below 100 %"),
    ],
)
def test_what_cannot_be_worked_by_is_refused_beside_its_field(draft, values, field, words):
    faults = refused(draft, **values)

    assert words in faults[field]
    assert ProcedureVersion.objects.filter(state="draft").count() == 0


def test_amplitude_frequency_and_acceleration_must_agree(draft):
    """1 mm peak to peak at 50 Hz is (2π50)²·0.5 mm = 49.35 m/s² = 5.03 g."""
    motion = {"shaking_amplitude_mm": Decimal(1), "shaking_frequency_hz": Decimal(50)}

    faults = refused(draft, shaking_acceleration_g=Decimal(4), **motion)
    kept = draft(shaking_acceleration_g=Decimal(5), **motion)

    assert "5.03 g" in faults["shaking_acceleration_g"]
    assert kept.state == "draft"


def test_the_portion_is_reduced_neither_at_the_finest_size_nor_at_an_optional_one(draft):
    places = [
        ProcedureAperture(aperture_um=Decimal(600), is_split=True, is_optional=True),
        ProcedureAperture(aperture_um=Decimal(300), is_split=True),
    ]

    faults = refused(draft, places=places)

    assert "cannot do without" in faults["apertures/0/is_optional"]
    assert "finest size" in faults["apertures/1/is_split"]


def test_an_odd_size_that_is_meant_so_is_kept(draft):
    places = [*nest_of(600), ProcedureAperture(aperture_um=Decimal(333), is_confirmed_size=True)]

    assert draft(places=places).apertures.count() == 2


def test_a_draft_is_changed_as_a_whole_and_the_ledger_says_what_was(draft, manager):
    version = draft(minimum_portion_g=Decimal(300))

    methods.change_procedure_draft(
        actor=manager, version=version, places=nest_of(1180), minimum_portion_g=Decimal(400)
    )

    version.refresh_from_db()
    assert version.minimum_portion_g == 400
    assert [place.aperture_um for place in version.apertures.all()] == [1180]
    entry = LedgerEntry.objects.filter(action="procedure draft changed").get()
    assert entry.before["apertures"] == ["600 µm", "300 µm"]
    assert entry.after["apertures"] == ["1.18 mm"]
    assert (entry.before["minimum_portion_g"], entry.after["minimum_portion_g"]) == (
        "300.0000",
        "400",
    )


def test_r27_what_is_proposed_or_released_is_not_changed_any_more(draft, manager):
    version = methods.propose_procedure_version(actor=manager, version=draft())
    with pytest.raises(Conflict, match="only what is draft can be changed"):
        methods.change_procedure_draft(actor=manager, version=version, places=nest_of(600))

    methods.approve_procedure_version(actor=factories.signatory(), version=version)
    with pytest.raises(Conflict, match="is released"):
        methods.change_procedure_draft(actor=manager, version=version, places=nest_of(600))
    with pytest.raises(Conflict, match="only what is draft can be proposed"):
        methods.propose_procedure_version(actor=manager, version=version)


def test_who_proposed_does_not_release_unless_the_laboratory_allows_it(draft, manager):
    version = methods.propose_procedure_version(actor=manager, version=draft())
    with pytest.raises(NotAllowed, match="somebody else"):
        methods.approve_procedure_version(actor=manager, version=version)

    laboratories.change_laboratory(
        actor=manager, reason="Two people in the house.", approver_must_differ=False
    )
    released = methods.approve_procedure_version(actor=manager, version=version)

    assert released.is_released
    entry = LedgerEntry.objects.filter(action="procedure version released").last()
    assert "one person" in entry.reason


def test_technicians_neither_draft_nor_release(draft):
    technician = factories.technician()
    with pytest.raises(NotAllowed):
        methods.approve_procedure_version(actor=technician, version=draft())
    with pytest.raises(NotAllowed):
        methods.propose_procedure_version(actor=technician, version=draft())


def test_a_returned_version_is_a_draft_again_with_a_reason(draft, manager):
    version = methods.propose_procedure_version(actor=manager, version=draft())

    returned = methods.return_procedure_version(
        actor=factories.signatory(), version=version, reason="The guard sieve is missing."
    )

    assert (returned.state, returned.proposed_by) == ("draft", None)
    entry = LedgerEntry.objects.get(action="procedure version returned")
    assert entry.reason == "The guard sieve is missing."


def test_release_retires_the_version_before(draft):
    first = factories.make_procedure()

    factories.release_procedure(draft(first.procedure))

    states = first.procedure.versions.order_by("version").values_list("version", "state")
    assert list(states) == [(1, "retired"), (2, "released")]


def test_rules_from_memory_are_confirmed_before_they_pass_or_fail_a_run(draft):
    version = draft(
        standard_reference="EN 933-1",
        edition="2012",
        loss_limit_pct=Decimal(1),
        loss_rule="en_933_1_loss",
    )
    with pytest.raises(Invalid, match="kept from memory") as refusal:
        factories.release_procedure(version)
    assert refusal.value.field == "confirmation"
    version.refresh_from_db()

    released = methods.approve_procedure_version(
        actor=factories.signatory(),
        version=version,
        confirmation="EN 933-1:2012, copy 2 on the shelf",
    )

    assert released.confirmation == "EN 933-1:2012, copy 2 on the shelf"


def from_the_library(manager, key, **changes):
    read = from_library(library_procedure(key))
    procedure = Procedure(code=f"L-{key}"[:40], title=read.named["title"])
    version = methods.draft_procedure_version(
        actor=manager,
        version=ProcedureVersion(procedure=procedure, **{**read.fields, **changes}),
        places=read.places,
    )
    return ProcedureVersion.objects.get(pk=version.pk)


@pytest.mark.parametrize("key", [kept.key for kept in procedures()])
def test_every_procedure_of_the_library_makes_a_draft_that_computes(manager, key):
    version = from_the_library(manager, key)
    sizes = [place.aperture_um for place in version.apertures.all()]

    worksheet = Worksheet(
        tuple(Fraction(size, (Decimal(10),)) for size in sizes),
        (Decimal(10),),
        dry_mass_g=Decimal(10 * (len(sizes) + 1)),
        loss_rule=version.loss_rule,
    )
    found = evaluate(worksheet)

    assert version.state == "draft"
    assert found.is_complete
    shares = [float(share) for share in found.gradation.passing]
    expected = [1 - (n + 1) / (len(sizes) + 1) for n in range(len(sizes))]
    assert shares == pytest.approx(expected)


def test_a_figure_of_the_library_from_memory_is_confirmed_before_release(manager):
    version = from_the_library(manager, "astm_b214")

    with pytest.raises(Invalid, match="loss at most"):
        factories.release_procedure(version)


def test_a_figure_that_the_laboratory_made_its_own_is_no_longer_from_memory(manager):
    kept = from_the_library(manager, "astm_b214", loss_limit_pct=Decimal("0.8"))

    with pytest.raises(Invalid) as refusal:
        factories.release_procedure(kept)

    assert "loss at most" not in str(refusal.value)
    assert "portion at least" in str(refusal.value)

"""Intake: numbers, defaults from the material, and what cannot be."""

from datetime import timedelta
from decimal import Decimal

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import Sample
from gradation.services import clock, intake
from tests import factories


def delivery_of(**values):
    material = values.pop("material", None) or factories.make_material()
    customer = values.pop("customer", None) or factories.make_customer()
    return intake.Delivery(
        **{"customer": customer, "material": material, "condition": "dry", **values}
    )


def test_r79_samples_are_numbered_by_year_without_gap(technician):
    with factories.at():
        numbers = [factories.make_sample(technician).number for _ in range(3)]

    assert numbers == ["26-0001", "26-0002", "26-0003"]


def test_refused_sample_uses_up_no_number(technician):
    with factories.at():
        with pytest.raises(Invalid):
            intake.log_sample(actor=technician, delivery=delivery_of(condition=""))
        sample = factories.make_sample(technician)

    assert sample.number == "26-0001"


def test_procedure_and_specification_come_from_the_material(technician):
    procedure, specification = factories.make_procedure(), factories.make_specification()
    material = factories.make_material(procedure, specification)

    sample = factories.make_sample(technician, material)

    assert sample.procedure_version == procedure
    assert sample.specification_version == specification


def test_r78_material_without_released_procedure_is_refused(technician):
    material = factories.make_material(default_procedure=None)

    with pytest.raises(Invalid, match="no released procedure") as refusal:
        intake.log_sample(actor=technician, delivery=delivery_of(material=material))

    assert refusal.value.field == "procedure_version"


@pytest.mark.parametrize(
    ("field", "value", "code"),
    [
        ("received_at", timedelta(hours=1), "in-future"),
        ("sampled_at", timedelta(hours=1), "in-future"),
    ],
)
def test_date_in_the_future_is_refused_beside_its_field(technician, field, value, code):
    delivery = delivery_of(**{field: clock.now() + value})

    with pytest.raises(Invalid) as refusal:
        intake.log_sample(actor=technician, delivery=delivery)

    assert [(fault.field, fault.code) for fault in refusal.value.faults] == [(field, code)]


def test_sampling_after_receipt_is_refused(technician):
    now = clock.now()
    delivery = delivery_of(received_at=now - timedelta(days=2), sampled_at=now - timedelta(days=1))

    with pytest.raises(Invalid, match="after it was received"):
        intake.log_sample(actor=technician, delivery=delivery)


def test_lot_of_ten_thousand_characters_is_refused_beside_its_field(technician):
    with pytest.raises(Invalid) as refusal:
        intake.log_sample(actor=technician, delivery=delivery_of(lot="L" * 10_000))

    assert refusal.value.field == "lot"
    assert Sample.objects.count() == 0


@pytest.mark.parametrize("lot", ["🪨 gravel", "حصى ناعم", "Größe 0/4 µm"])
def test_lot_is_kept_in_any_script(technician, lot):
    sample = factories.make_sample(technician, lot=lot)

    assert Sample.objects.get(pk=sample.pk).lot == lot


def test_mass_must_be_positive(technician):
    with pytest.raises(Invalid):
        intake.log_sample(actor=technician, delivery=delivery_of(mass_received_g=Decimal(-1)))


def test_reviewer_may_not_log_a_sample(reviewer):
    with pytest.raises(NotAllowed):
        intake.log_sample(actor=reviewer, delivery=delivery_of())


def test_f04_second_change_from_an_old_page_is_refused(technician):
    sample = factories.make_sample(technician)
    changed = delivery_of(customer=sample.customer, material=sample.material, lot="A")
    intake.change_sample(
        actor=technician, sample=sample, delivery=changed, reason="label read again", version=1
    )

    with pytest.raises(Conflict, match="changed by somebody else"):
        intake.change_sample(
            actor=technician, sample=sample, delivery=changed, reason="again", version=1
        )


def test_r79_portions_are_lettered_without_look_alikes(technician):
    sample = factories.make_sample(technician)

    labels = [factories.make_portion(technician, sample).label for _ in range(10)]

    assert [label.rsplit("-", 1)[1] for label in labels] == list("ABCDEFGHJK")


def test_cancelled_sample_takes_no_further_work(technician):
    sample = factories.make_sample(technician)

    sample = intake.cancel_sample(actor=technician, sample=sample, reason="delivered twice")

    assert sample.state == Sample.State.CANCELLED
    with pytest.raises(Conflict):
        factories.make_portion(technician, sample)


def test_cancelling_needs_a_reason(technician):
    sample = factories.make_sample(technician)

    with pytest.raises(Invalid, match="Say why"):
        intake.cancel_sample(actor=technician, sample=sample, reason="  ")


def test_left_over_is_kept_until_its_retention_date(technician):
    with factories.at():
        sample = factories.make_sample(technician)
        intake.cancel_sample(actor=technician, sample=sample, reason="delivered twice")
        with pytest.raises(Conflict, match="kept until"):
            factories.dispose(sample, technician)
    with factories.at(factories.NOW + timedelta(days=366)):
        disposed = factories.dispose(sample, technician)

    assert disposed.disposed_at == factories.NOW + timedelta(days=366)

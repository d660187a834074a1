"""Upkeep: one serial for ever, cards that change with a reason, nests, what stays on file."""

from datetime import date
from decimal import Decimal

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import Attachment, Equipment, LedgerEntry, Sieve, Tare
from gradation.services import attachments, checks, clock, upkeep
from gradation.services.checking import shortened
from tests import factories


def fresh(item):
    return type(item).objects.get(pk=item.pk)


def measure(keeper, sieve, performed_on):
    readings = (sieve.aperture_um, sieve.aperture_um)
    return checks.record_check(
        actor=keeper,
        equipment=sieve,
        evidence=checks.ApertureEvidence(readings, readings),
        performed_on=performed_on,
    )


def test_serial_is_given_once_whatever_the_kind(keeper):
    sieve = factories.make_sieve()

    with pytest.raises(Invalid):
        factories.make_sieve(serial=sieve.serial)
    with pytest.raises(Invalid):
        factories.make_instrument("balance", serial=sieve.serial)


def test_size_of_the_series_is_known_by_both_names(keeper):
    """No. 200 is 75 µm (ASTM E11)."""
    sieve = factories.make_sieve(75, designation="")

    assert (sieve.designation, sieve.alternative, sieve.is_standard_size) == (
        "75 µm",
        "No. 200",
        True,
    )


def test_free_size_is_marked(keeper):
    sieve = factories.make_sieve(77, designation="")

    assert (sieve.designation, sieve.alternative, sieve.is_standard_size) == ("77 µm", "", False)


def test_rule_of_checks_counts_from_the_last_that_passed(keeper):
    sieve = factories.make_sieve(600, use_count=10)
    measure(keeper, sieve, date(2026, 1, 1))

    upkeep.set_check_rule(actor=keeper, equipment=sieve, days=90, uses=50, reason="Worn sooner.")

    assert fresh(sieve).next_check_on == date(2026, 4, 1)
    assert fresh(sieve).next_check_at_use == 60
    entry = LedgerEntry.objects.filter(action="rule of checks changed").get()
    assert entry.reason == "Worn sooner."
    assert entry.before["check_interval_days"] is None


@pytest.mark.parametrize(("days", "uses"), [(0, None), (None, -1)])
def test_rule_of_checks_is_above_zero(keeper, days, uses):
    with pytest.raises(Invalid):
        upkeep.set_check_rule(
            actor=keeper, equipment=factories.make_sieve(), days=days, uses=uses, reason="x"
        )


def test_card_changes_with_a_reason_and_keeps_what_it_said(keeper):
    sieve = factories.make_sieve(place="Rack A")

    upkeep.change_equipment(actor=keeper, item=sieve, reason="Moved.", place="Rack B")

    assert fresh(sieve).place == "Rack B"
    entry = LedgerEntry.objects.get(action="card changed")
    assert (entry.before["place"], entry.after["place"]) == ("Rack A", "Rack B")


@pytest.mark.parametrize("change", [{"serial": "X"}, {"state": "withdrawn"}, {"use_count": 0}])
def test_card_has_columns_with_acts_of_their_own(keeper, change):
    sieve = factories.make_sieve()

    with pytest.raises(Invalid, match="not changed on the card"):
        upkeep.change_equipment(actor=keeper, item=sieve, reason="tidy", **change)

    assert fresh(sieve).serial == sieve.serial


def test_aperture_is_fixed_once_a_run_stood_on_it(keeper, technician):
    unused = factories.make_sieve(600)
    upkeep.change_equipment(actor=keeper, item=unused, reason="Typed wrong.", aperture_um=500)
    run = factories.make_run(technician)
    used = run.places.first().sieve

    with pytest.raises(Invalid, match="register another serial"):
        upkeep.change_equipment(actor=keeper, item=used, reason="x", aperture_um=Decimal(500))

    assert fresh(unused).designation == "500 µm"


def test_tare_is_kept_beside_the_earlier_one(keeper):
    sieve = factories.make_sieve()

    for tare_g in ("412.10", "411.90"):
        upkeep.weigh_tare(actor=keeper, sieve=sieve, tare_g=Decimal(tare_g), note="dry, brushed")

    assert sorted(Tare.objects.values_list("tare_g", flat=True)) == [
        Decimal("411.9"),
        Decimal("412.1"),
    ]
    with pytest.raises(Invalid):
        upkeep.weigh_tare(actor=keeper, sieve=sieve, tare_g=Decimal(0))


def test_sieve_returns_to_service_with_a_reason(keeper):
    sieve = factories.make_sieve()
    upkeep.take_out_of_service(actor=keeper, item=sieve, reason="blinded")

    with pytest.raises(Invalid, match="Say why"):
        upkeep.put_back_in_service(actor=keeper, item=sieve, reason="")
    upkeep.put_back_in_service(actor=keeper, item=sieve, reason="cleaned, checked")

    assert fresh(sieve).state == Sieve.State.IN_SERVICE
    assert fresh(sieve).state_reason == ""


def test_withdrawn_sieve_stays_on_file_with_its_whole_history(keeper):
    sieve = factories.make_sieve(600)
    measure(keeper, sieve, clock.today())
    upkeep.weigh_tare(actor=keeper, sieve=sieve, tare_g=Decimal(412))
    upkeep.withdraw_equipment(actor=keeper, item=sieve, reason="worn out")

    with pytest.raises(Conflict):
        upkeep.put_back_in_service(actor=keeper, item=sieve, reason="needed")

    kept = fresh(sieve)
    assert kept.state == Equipment.State.WITHDRAWN
    assert (kept.checks.count(), kept.tares.count()) == (1, 1)
    assert LedgerEntry.objects.filter(chain=f"equipment/{sieve.serial}").count() >= 4


def test_nest_descends(keeper):
    sieves = factories.make_sieves((600, 300))
    procedure = factories.make_procedure((600, 300)).procedure

    with pytest.raises(Invalid, match="descend"):
        upkeep.build_nest(actor=keeper, name="N", procedure=procedure, sieves=sieves[::-1])


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"frame_diameter_mm": Decimal("203.2")}, "frames differ"),
        ({"is_master": True}, "master sieve"),
        ({"aperture_um": Decimal(250)}, "no such size"),
    ],
)
def test_nest_is_of_one_frame_of_the_procedures_sizes_and_no_master(keeper, values, words):
    fine = factories.make_sieve(**{"aperture_um": 300, **values})
    procedure = factories.make_procedure((600, 300)).procedure

    with pytest.raises(Invalid, match=words):
        upkeep.build_nest(
            actor=keeper, name="N", procedure=procedure, sieves=[factories.make_sieve(600), fine]
        )


def test_retired_nest_stays_on_file(keeper):
    nest = factories.make_nest(factories.make_procedure())

    upkeep.retire_nest(actor=keeper, nest=nest, reason="One sieve worn.")

    assert not fresh(nest).is_active
    assert fresh(nest).places.count() == 6


def test_bench_in_use_is_not_given_up_and_an_idle_one_stays_on_file(keeper):
    used, idle = factories.make_bench(), factories.make_bench()
    sieve = factories.make_sieve(bench=used)

    with pytest.raises(Conflict, match="1 items"):
        upkeep.retire_bench(actor=keeper, bench=used, reason="Room is rebuilt.")
    upkeep.withdraw_equipment(actor=keeper, item=sieve, reason="Torn.")
    for bench in (used, idle):
        upkeep.retire_bench(actor=keeper, bench=bench, reason="Room is rebuilt.")

    assert not fresh(used).is_active
    with pytest.raises(Conflict, match="already given up"):
        upkeep.retire_bench(actor=keeper, bench=idle, reason="Again.")


def test_no_run_is_opened_at_a_bench_given_up(keeper):
    bench = factories.make_bench()
    upkeep.retire_bench(actor=keeper, bench=bench, reason="Room is rebuilt.")

    with pytest.raises(Invalid, match="was given up"):
        factories.make_run(bench=fresh(bench))


@pytest.mark.parametrize("most", [60, 240])
def test_a_long_reason_is_kept_whole_sentence_by_sentence(keeper, most):
    sentence = "The cloth came loose at the rim after the ultrasonic bath."
    text = shortened(f"{sentence} {'It was 12.5 mm long. ' * 20}", most)

    assert len(text) <= most
    assert text.endswith((".", "…"))
    assert not text.endswith("12.")


def test_a_text_without_sentences_is_shortened_after_a_word():
    assert shortened("loose wire " * 30, 40) == "loose wire loose wire loose wire loose …"


def test_technician_may_not_keep_equipment(technician):
    with pytest.raises(NotAllowed):
        upkeep.take_out_of_service(
            actor=technician, item=factories.make_sieve(), reason="looks torn"
        )


PNG = b"\x89PNG\r\n\x1a\n" + b"\x00" * 20


def test_file_is_kept_as_it_came_under_its_own_name(keeper):
    sieve = factories.make_sieve()

    attachments.attach_file(
        actor=keeper, equipment=sieve, name="..\\photos/rim\x07.png", content=PNG
    )

    kept = Attachment.objects.get()
    assert (kept.name, kept.media_type, bytes(kept.file)) == ("rim.png", "image/png", PNG)


def test_kind_of_file_is_told_by_its_content(keeper):
    sieve = factories.make_sieve()

    for content in (b"", b"MZ\x90\x00\x03", b"PK\x03\x04\x00\x00"):
        with pytest.raises(Invalid):
            attachments.attach_file(
                actor=keeper, equipment=sieve, name="certificate.pdf", content=content
            )

    assert not Attachment.objects.exists()


def test_same_file_twice_and_a_check_of_another_item_are_refused(keeper):
    sieve, other = factories.make_sieve(600), factories.make_sieve(600)
    attachments.attach_file(actor=keeper, equipment=sieve, name="a.png", content=PNG)
    check = measure(keeper, other, clock.today())

    with pytest.raises(Conflict, match=r"a\.png"):
        attachments.attach_file(actor=keeper, equipment=sieve, name="b.png", content=PNG)
    with pytest.raises(Invalid, match="not one of"):
        attachments.attach_file(
            actor=keeper, equipment=sieve, name="c.png", content=PNG + b"1", check=check
        )

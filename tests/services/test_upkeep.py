"""Upkeep: one serial for ever, checks that set the next, failures that stop use."""

from datetime import date, timedelta

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import Check, LedgerEntry, Sieve
from gradation.services import clock, upkeep
from tests import factories


def check_of(sieve, **values):
    filled = {
        "kind": "visual",
        "performed_on": clock.today(),
        "passed": True,
        "sentence": "In order.",
        **values,
    }
    return Check(equipment=sieve, **filled)


def test_serial_is_given_once(keeper):
    sieve = factories.make_sieve()

    with pytest.raises(Invalid):
        factories.make_sieve(serial=sieve.serial)


def test_passed_check_sets_the_next_by_the_interval(keeper):
    sieve = factories.make_sieve(check_interval_days=180)

    upkeep.record_check(actor=keeper, check=check_of(sieve, performed_on=date(2026, 1, 1)))

    assert Sieve.objects.get(pk=sieve.pk).next_check_on == date(2026, 6, 30)


def test_failed_check_takes_the_sieve_out_of_service_with_it(keeper):
    sieve = factories.make_sieve()

    upkeep.record_check(actor=keeper, check=check_of(sieve, passed=False, note="torn cloth"))

    sieve = Sieve.objects.get(pk=sieve.pk)
    assert sieve.state == Sieve.State.OUT_OF_SERVICE
    actions = LedgerEntry.objects.filter(chain=f"equipment/{sieve.serial}").values_list(
        "action", flat=True
    )
    assert list(actions) == ["sieve registered", "check recorded", "out of service"]


def test_check_in_the_future_is_refused(keeper):
    check = check_of(factories.make_sieve(), performed_on=clock.today() + timedelta(days=1))

    with pytest.raises(Invalid, match="future"):
        upkeep.record_check(actor=keeper, check=check)


def test_sieve_returns_to_service_with_a_reason(keeper):
    sieve = factories.make_sieve()
    upkeep.take_out_of_service(actor=keeper, item=sieve, reason="blinded")

    with pytest.raises(Invalid, match="Say why"):
        upkeep.put_back_in_service(actor=keeper, item=sieve, reason="")
    upkeep.put_back_in_service(actor=keeper, item=sieve, reason="cleaned, checked")

    sieve = Sieve.objects.get(pk=sieve.pk)
    assert sieve.state == Sieve.State.IN_SERVICE
    assert sieve.state_reason == ""


def test_withdrawn_sieve_stays_on_file_and_withdrawn(keeper):
    sieve = factories.make_sieve()
    upkeep.withdraw_equipment(actor=keeper, item=sieve, reason="worn out")

    with pytest.raises(Conflict):
        upkeep.put_back_in_service(actor=keeper, item=sieve, reason="needed")

    assert Sieve.objects.filter(pk=sieve.pk).exists()


def test_nest_descends(keeper):
    sieves = factories.make_sieves((600, 300))
    procedure = factories.make_procedure((600, 300)).procedure

    with pytest.raises(Invalid, match="descend"):
        upkeep.build_nest(actor=keeper, name="N", procedure=procedure, sieves=sieves[::-1])


def test_technician_may_not_keep_equipment(technician):
    with pytest.raises(NotAllowed):
        upkeep.take_out_of_service(
            actor=technician, item=factories.make_sieve(), reason="looks torn"
        )

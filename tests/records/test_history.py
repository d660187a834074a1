"""A history tells all that happened, the same on screen, on paper and in files."""

import csv
import io
import json

import pytest
from django.urls import reverse

from gradation.errors import Conflict, Invalid
from gradation.models import LedgerEntry
from gradation.policy import Role
from gradation.queries.history import HistoryFilter, entries_of_sample, narrowed, story_of_sample
from gradation.services import bench, history_export, intake, retention
from gradation.services.history_export import HistoryForm, HistoryOf
from tests import factories
from tests.documents import reading


@pytest.fixture
def sample(db):
    factories.make_laboratory()
    material = factories.make_material(specification=factories.make_specification())
    return factories.make_certificate(factories.make_sample(material=material)).sample


def history_of(sample):
    return HistoryOf(f"sample {sample}", "Sand", entries_of_sample(sample), sample)


def exported(sample, form):
    actor = factories.make_person(Role.AUDITOR)
    return history_export.export_history(actor=actor, wanted=history_of(sample), form=form)


def test_r55_every_act_on_a_sample_is_told_in_its_order(sample):
    """Counted by hand: delivery, portion, run opened, under test, 8 readings, handed over,
    looked through, accepted, drafted, signed, issued, reported."""
    told = story_of_sample(sample)

    acts = [event.action for event in told]
    assert acts[0] == "sample logged"
    assert acts.count("reading recorded") == 8
    assert acts[-2:] == ["certificate issued", "sample reported"]
    assert [event.sequence for event in told] == list(range(1, len(told) + 1))
    assert len(told) == 19


def test_r56_screen_and_files_carry_the_same_events_and_the_export_is_one_more(client, sample):
    for form in HistoryForm:
        events = LedgerEntry.objects.filter(chain=f"sample/{sample.number}").count()
        file = exported(sample, form)
        if form is HistoryForm.CSV:
            rows = list(csv.DictReader(io.StringIO(file.content.decode("utf-8-sig"))))
            found = [row["digest"] for row in rows]
        elif form is HistoryForm.JSON:
            found = [entry["digest"] for entry in json.loads(file.content)["entries"]]
        else:
            said = reading.text(file.content)
            found = [
                event.digest for event in story_of_sample(sample)[:events] if event.digest in said
            ]
        chain = LedgerEntry.objects.filter(chain=f"sample/{sample.number}").order_by("sequence")
        assert found == [entry.digest for entry in chain[:events]], form
        assert chain.count() == events + 1
        last = chain.last()
        assert (last.action, last.after["form"]) == ("history exported", form.value)
    client.force_login(factories.make_person(Role.AUDITOR))
    shown = client.get(reverse("intake:sample-history", args=[sample.number]))
    told = [event for day in shown.context["days"] for entry in day.entries
            for event in (entry.more or (entry.event,))]  # fmt: skip
    assert len(told) == events + 1


def test_a_change_is_told_in_words_of_the_trade_with_old_and_new_value(technician):
    run = factories.make_run(technician)
    first = factories.reading("pan", "20.1")
    bench.record_weighing(actor=technician, run=run, reading=first)
    bench.correct_weighing(
        actor=technician, run=run, reading=factories.reading("pan", "21.0"), reason="read wrongly"
    )

    event = story_of_sample(run.portion.sample)[-1]

    assert event.reason == "read wrongly"
    (mass,) = [change for change in event.changes if change.name == "mass"]
    assert (mass.before, mass.after) == ("20.1 g", "21.0 g")


def test_no_column_name_is_shown(sample):
    for event in story_of_sample(sample):
        for change in event.changes:
            assert "_" not in change.name, (event.action, change)


def test_equipment_is_told_as_it_stood_when_the_run_was_opened(sample):
    (opened,) = [event for event in story_of_sample(sample) if event.action == "run opened"]

    run = sample.portions.get().runs.get()
    assert len(opened.equipment) == run.places.count()
    assert opened.equipment[0].startswith(run.places.first().sieve.serial)
    assert opened.bench == run.bench.name


def test_a_history_is_narrowed_by_kind_person_bench_and_day(sample):
    run = sample.portions.get().runs.get()
    entries = entries_of_sample(sample)

    def count(**values):
        return narrowed(entries, HistoryFilter(**values)).count()

    assert count(kind="readings") == 8
    assert count(kind="certificates") == 3
    assert count(person=run.reviewer_id) == 2
    assert count(bench=run.bench_id) == 8 + 3
    assert count(bench=factories.make_bench().pk) == 0
    today = run.opened_at.date()
    assert count(first=today, last=today) == entries.count()
    assert count(last=today.replace(year=today.year - 1)) == 0


def test_f16_r95_pages_of_a_long_history_follow_by_key(client, sample):
    client.force_login(factories.make_person(Role.AUDITOR))

    for name, keys in (
        ("records:entry-list", ()),
        ("records:person-show", (sample.received_by_id,)),
        ("equipment:item-history", (sample.portions.get().runs.get().places.first().sieve.serial,)),
    ):
        page = client.get(reverse(name, args=keys))
        assert page.status_code == 200
        assert page.context["days"]


def test_a_history_page_costs_the_same_for_one_run_as_for_three(
    client, sample, django_assert_max_num_queries
):
    client.force_login(factories.make_person(Role.AUDITOR))
    for _ in range(2):
        factories.make_weighed_run(sample=factories.make_sample())

    with django_assert_max_num_queries(20):
        client.get(reverse("records:entry-list"))


def test_customer_gets_the_history_of_their_own_sample_only(client, sample):
    own = factories.make_person(Role.CUSTOMER, customer=sample.customer)
    other = factories.make_person(Role.CUSTOMER, customer=factories.make_customer())
    address = reverse("intake:sample-history-file", args=[sample.number, "json"])

    client.force_login(own)
    assert client.get(address).status_code == 200
    client.force_login(other)
    assert client.get(address).status_code == 404


def test_unknown_form_of_a_history_is_no_page(client, sample):
    client.force_login(factories.make_person(Role.AUDITOR))

    address = reverse("intake:sample-history-file", args=[sample.number, "exe"])
    assert client.get(address).status_code == 404


def test_what_is_held_is_not_thrown_away(technician):
    with factories.at():
        sample = factories.make_sample(technician)
        hold = factories.make_hold(sample)
        intake.cancel_sample(actor=technician, sample=sample, reason="delivered twice")
    with factories.at(factories.NOW.replace(year=2028)):
        with pytest.raises(Conflict, match="is held by"):
            factories.dispose(sample, technician)
        retention.lift_hold(actor=technician, hold=hold, reason="The customer has his answer.")
        with pytest.raises(Conflict, match="lifted already"):
            retention.lift_hold(actor=technician, hold=hold, reason="again")
        with pytest.raises(Invalid, match="not the label"):
            factories.dispose(sample, technician, at_container="26-9999")
        gone = factories.dispose(sample, technician)

    assert (gone.disposed_by, gone.disposed_how) == (technician, "tipped")
    acts = [event.action for event in story_of_sample(sample)]
    assert acts[-2:] == ["hold lifted", "sample disposed"]


def test_time_of_keeping_is_changed_with_a_reason_and_due_list_shows_it(client, technician):
    sample = factories.make_sample(technician)
    intake.cancel_sample(actor=technician, sample=sample, reason="delivered twice")
    keeping = retention.Keeping(sample.received_at.date(), "shelf 4", "dust")
    with pytest.raises(Invalid, match="Say why"):
        retention.keep_sample(actor=technician, sample=sample, keeping=keeping, reason="")
    retention.keep_sample(actor=technician, sample=sample, keeping=keeping, reason="Agreed.")
    client.force_login(technician)

    page = client.get(reverse("intake:retention-list"))

    assert sample.number in page.content.decode()
    assert "shelf 4" in page.content.decode()

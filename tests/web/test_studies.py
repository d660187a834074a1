"""Studies on screen: entry with faults beside their fields, acts, files, lists."""

import pytest
from django.urls import reverse

from gradation.models import Study, StudyFollowUp
from gradation.policy import Role
from tests import factories
from tests.counting import count_queries

pytestmark = pytest.mark.django_db

TABLE = """participant; level; 1; 2
North; sand; 41.2; 41.6
South; sand; 42.0; 42.4
Skerry; sand; 41.8; 41.4
Dune; sand; 47.0; 47.4"""
PRECISION = {
    "title": "Four laboratories",
    "figure": "passing",
    "aperture_um": "600",
    "participants_are": "laboratories",
    "table": TABLE,
}
ROUND = {
    "title": "Round 7",
    "figure": "loss",
    "own": "52.0",
    "estimate": "stated",
    "assigned": "50",
    "deviation": "0.8",
}


@pytest.fixture
def person(client):
    factories.make_laboratory()
    client.force_login(factories.make_person(Role.QUALITY_MANAGER))
    return client


def begin(person, kind, sent):
    return person.post(reverse("studies:study-begin", args=[kind]), sent)


def act(person, name, study, **sent):
    return person.post(reverse(f"studies:{name}", args=[study.number]), sent)


def test_each_kind_offers_its_form(person):
    for kind in ("precision", "benches", "round", "methods"):
        answer = person.get(reverse("studies:study-begin", args=[kind]))
        assert answer.status_code == 200, kind

    assert person.get(reverse("studies:study-begin", args=["weather"])).status_code == 404


def test_wrong_entries_stand_beside_their_field_and_nothing_is_kept(person):
    methods = {"title": "Dry and wet", "figure": "loss", "variance_ratio": "1",
               "valid_for": "Sand", "first_method": "dry", "second_method": "wet"}  # fmt: skip
    wrong = [
        ("precision", PRECISION | {"table": TABLE.replace("41.8", "about")}, "table",
         "is not a number"),
        ("precision", PRECISION | {"table": "North; sand; 1; 2\nSouth; sand; 1; 3"}, "table",
         "3 or more"),
        ("precision", PRECISION | {"table": TABLE + "; 47.2"}, "allows_unequal", "2 to 3"),
        ("precision", PRECISION | {"table": ""}, "table", "not both"),
        ("precision", PRECISION | {"aperture_um": ""}, "aperture_um", "at which sieve"),
        ("precision", PRECISION | {"table": "", "samples": "26-0001"}, "participants_are",
         "bench or technician"),
        ("round", ROUND | {"deviation": ""}, "deviation", "standard deviation of the round"),
        ("round", ROUND | {"own": "about 52"}, "own", "is not a number"),
        ("round", ROUND | {"results": "L1; x"}, "results", "is not a number"),
        ("methods", methods | {"pairs": "1;2;3\n2;3;4\n3;4;6"}, "pairs", "3 pairs are too few"),
        ("benches", {"title": "Two", "first_runs": "26-9999", "second_runs": "26-9998"},
         "first_runs", "There is no run"),
        ("benches", {"title": "Two", "first_runs": "26-9999"}, "second_runs", "not both"),
        ("benches", {"title": "Two", "first_runs": "26-9999", "typed": "600; 101"}, "typed",
         "between 0 and 100"),
    ]  # fmt: skip

    for kind, sent, field, words in wrong:
        answer = begin(person, kind, sent)

        assert answer.status_code == 422, (kind, sent)
        form = answer.context["form"]
        assert words in str(form.errors[field]), (kind, field, form.errors)
        assert f'id="id_{field}_error"' in answer.content.decode(), (kind, field)
    assert not Study.objects.exists()


def test_precision_from_the_table_to_the_kept_record_and_its_files(person):
    begin(person, "precision", PRECISION)
    study = Study.objects.get()
    address = reverse("studies:study-show", args=[study.number])

    page = person.get(address).content.decode()
    assert "Mandel&#x27;s h, between" in page
    assert "Grubbs, one mean" in page
    assert "Keep this study" in page
    choices = (
        person.get(reverse("studies:cell-leave-out", args=[study.number]))
        .context["form"]
        .fields["cell"]
        .choices
    )
    dune = next(key for key, words in choices if words == "Dune at sand")
    assert act(person, "cell-leave-out", study, cell=dune, reason="").status_code == 422
    act(person, "cell-leave-out", study, cell=dune, reason="Torn sieve.")
    assert "left out: Torn sieve." in person.get(address).content.decode()
    act(person, "cell-take-back", study, cell="0", reason="It was whole.")
    assert "left out:" not in person.get(address).content.decode()

    act(person, "study-keep", study)

    page = person.get(address).content.decode()
    assert "Keep this study" not in page
    assert person.get(reverse("studies:study-pdf", args=[study.number])).content[:4] == b"%PDF"
    table = person.get(reverse("studies:study-csv", args=[study.number])).content.decode()
    assert "sand,Dune,47.0; 47.4" in table
    assert act(person, "study-keep", study).status_code == 409


def test_draft_is_entered_anew_with_what_was_typed(person):
    begin(person, "precision", PRECISION)
    study = Study.objects.get()

    form = person.get(reverse("studies:study-change", args=[study.number])).content.decode()
    assert "Skerry; sand; 41.8; 41.4" in form
    act(person, "study-change", study, **(PRECISION | {"title": "Four, again"}))
    assert Study.objects.get().title == "Four, again"
    assert act(person, "study-give-up", study, reason="").status_code == 422
    act(person, "study-give-up", study, reason="Wrong bottles.")
    assert "Four, again" not in person.get(reverse("studies:study-list")).content.decode()


def test_bad_score_is_listed_until_it_is_answered(person):
    begin(person, "round", ROUND)
    study = Study.objects.get()
    act(person, "study-keep", study)

    for name in ("studies:study-list", "charts:chart-list"):
        assert "z is +2.50 (questionable)" in person.get(reverse(name)).content.decode(), name
    assert act(person, "follow-up-answer", study, cause="", done="").status_code == 422
    act(person, "follow-up-answer", study, cause="Worn sieve.", done="Replaced.")
    for name in ("studies:study-list", "charts:chart-list"):
        assert "Scores to answer" not in person.get(reverse(name)).content.decode(), name
    assert (
        "Worn sieve."
        in person.get(reverse("studies:study-show", args=[study.number])).content.decode()
    )
    assert not StudyFollowUp.objects.get().is_open


def test_auditor_reads_without_acts(client):
    study = factories.make_study()
    client.force_login(factories.make_person(Role.AUDITOR))

    page = client.get(reverse("studies:study-show", args=[study.number])).content.decode()

    assert "Our scores" in page
    assert "Answer</a>" not in page
    assert client.get(reverse("studies:study-show", args=["S26-9999"])).status_code == 404


def test_long_list_costs_no_more_queries_than_a_short_one(person):
    def counted(name):
        return count_queries(lambda: look(name))

    def look(name):
        assert person.get(reverse(name)).status_code == 200

    names = ("studies:study-list", "charts:chart-list")
    factories.make_study()
    [counted(name) for name in names]
    few = [counted(name) for name in names]
    for n in range(3):
        factories.make_study(title=f"Round {n}")

    assert [counted(name) for name in names] == few

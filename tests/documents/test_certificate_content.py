"""Content as data: exact round trip, refusals, gaps before issue, computed changes."""

import dataclasses
import json

import pytest

from gradation.documents.certificate_content import (
    AS_RECEIVED,
    CORRECTED,
    DEFERENCE,
    EXTERNAL,
    INTERPOLATED,
    NOT_IN_PART,
    RELATES_ONLY,
    SUPPLIED_BY_CUSTOMER,
    Amendment,
    CertificateContent,
    Change,
    Characteristic,
    Omission,
    standard_statements,
)
from gradation.documents.certificate_gaps import missing_items
from gradation.documents.content_changes import changes_between
from gradation.documents.content_json import ContentFault
from tests.documents.example_certificate import SAMPLE, make_content


def with_row(content, position, **changes):
    table = content.results[0]
    rows = list(table.rows)
    rows[position] = dataclasses.replace(rows[position], **changes)
    table = dataclasses.replace(table, rows=tuple(rows))
    return dataclasses.replace(content, results=(table, *content.results[1:]))


def test_content_comes_back_from_json_as_it_went():
    content = make_content(
        amendment=Amendment("N-1", "2026-11-01", "lot", (Change("a", "b", "c"),))
    )

    again = CertificateContent.from_json(content.to_json())

    assert again == content
    assert again.to_json() == content.to_json()


def test_equal_content_gives_equal_text_whatever_the_order_of_keys():
    text = make_content().to_json()
    shuffled = json.dumps(dict(reversed(json.loads(text).items())))

    assert CertificateContent.from_json(shuffled).to_json() == text


def test_figures_keep_the_digits_they_were_reported_with():
    content = with_row(make_content(), 3, passing_pct="71.0", retained_g="640.30")

    row = CertificateContent.from_json(content.to_json()).results[0].rows[3]

    assert (row.passing_pct, row.retained_g) == ("71.0", "640.30")


@pytest.mark.parametrize(
    ("spoil", "where"),
    [
        (lambda it: it.pop("title"), "title"),
        (lambda it: it.update(colour="red"), "colour"),
        (lambda it: it.update(version="1"), "CertificateContent.version"),
        (lambda it: it.update(draft=0), "CertificateContent.draft"),
        (lambda it: it["results"][0]["rows"][2].pop("passing_pct"), r"rows\[2\]"),
        (lambda it: it["results"][0]["rows"][2].update(verdict="good"), r"rows\[2\].verdict"),
        (lambda it: it["results"][0].update(rows={}), "rows"),
        (lambda it: it.update(laboratory=[]), "laboratory"),
        (lambda it: it["customer"].update(name=None), "customer.name"),
    ],
)
def test_spoilt_content_is_refused_with_the_place_of_the_fault(spoil, where):
    data = json.loads(make_content().to_json())
    spoil(data)

    with pytest.raises(ContentFault, match=where):
        CertificateContent.from_json(json.dumps(data))


def test_text_that_is_not_json_is_refused():
    with pytest.raises(ContentFault, match="not JSON"):
        CertificateContent.from_json("{")


def test_content_cannot_be_changed_after_it_is_made():
    with pytest.raises(dataclasses.FrozenInstanceError):
        make_content().number = "other"  # type: ignore[misc]


def test_a_complete_certificate_lacks_nothing():
    assert missing_items(make_content()) == ()


def changed(part, **changes):
    return {part: dataclasses.replace(getattr(make_content(), part), **changes)}


# One case for each item of ISO/IEC 17025:2017, 7.8.2.1 a) to o) that content can lack
@pytest.mark.parametrize(
    ("changes", "gap"),
    [
        ({"title": " "}, "title"),
        (changed("laboratory", name=""), "laboratory name"),
        (changed("laboratory", address=()), "laboratory address"),
        (changed("laboratory", place_of_work=""), "place of work"),
        ({"number": ""}, "certificate number"),
        (changed("customer", name=""), "customer name"),
        (changed("customer", contact=""), "customer contact"),
        (changed("method", reference=""), "method"),
        (changed("method", edition=""), "edition of the method"),
        (changed("sample", number=""), "sample number"),
        (changed("sample", description=""), "sample description"),
        (changed("sample", condition_on_receipt=""), "condition on receipt"),
        (changed("sample", received_on=""), "date of receipt"),
        (changed("sample", sampled_on=""), "date of sampling, or that it is not known"),
        (changed("sample", sampled_by=""), "who took the sample"),
        (changed("sample", sampling_method=""), "sampling plan and method"),
        ({"tested_first": ""}, "first day of testing"),
        ({"tested_last": ""}, "last day of testing"),
        ({"issued_at": ""}, "date of issue"),
        ({"statements": ()}, "statement that results relate only to the items tested"),
        ({"signatures": ()}, "signature"),
        ({"amendment": Amendment("N-1", "2026-11-01", "", ())}, "reason for the amendment"),
        (
            {"conformity": (dataclasses.replace(make_content().conformity[0], decision_rule=""),)},
            "decision rule",
        ),
        (
            {"conformity": (dataclasses.replace(make_content().conformity[0], clause=""),)},
            "clause of the specification",
        ),
    ],
)
def test_a_missing_item_is_named_alone(changes, gap):
    assert missing_items(make_content(**changes)) == (gap,)


def test_a_certificate_without_results_lacks_results_and_conditions():
    assert missing_items(make_content(results=())) == ("results", "test conditions")


def test_a_run_without_its_sieves_is_not_complete():
    content = make_content()
    run = dataclasses.replace(content.results[0].conditions[0], sieves=())
    table = dataclasses.replace(content.results[0], conditions=(run,))

    assert missing_items(make_content(results=(table,))) == (
        "serial numbers of the sieves, 26-0148-A",
    )


def test_r24_sampling_by_the_laboratory_asks_for_all_that_is_to_be_stated():
    sample = dataclasses.replace(SAMPLE, sampled_by_laboratory=True)

    assert missing_items(make_content(sample=sample)) == (
        "item sampled",
        "place of sampling",
        "conditions during sampling",
        "what is needed to judge the uncertainty of the sampling",
    )


def test_an_item_may_be_left_out_on_a_signatorys_authority():
    sample = dataclasses.replace(SAMPLE, sampling_method="")
    omission = Omission("sampling plan and method", "Dr M. Solheim", "not known to the customer")

    assert missing_items(make_content(sample=sample, omissions=(omission,))) == ()


def test_statements_follow_from_what_the_certificate_says():
    assert standard_statements(make_content()) == (
        RELATES_ONLY,
        AS_RECEIVED,
        SUPPLIED_BY_CUSTOMER,
        CORRECTED,
        NOT_IN_PART,
        DEFERENCE,
    )


def test_marked_results_bring_their_statements():
    content = with_row(make_content(), 1, external=True, interpolated=True)

    assert {EXTERNAL, INTERPOLATED} <= set(standard_statements(content))


def test_an_external_characteristic_brings_its_statement():
    content = make_content(characteristics=(Characteristic("x", "1", "mm", "f", external=True),))

    assert EXTERNAL in content.statements


def test_a_sample_taken_by_the_laboratory_is_not_called_as_received():
    sample = dataclasses.replace(SAMPLE, sampled_by_laboratory=True)

    assert AS_RECEIVED not in make_content(sample=sample).statements


def test_the_same_content_has_no_changes():
    assert changes_between(make_content(), make_content()) == ()


def test_number_date_and_signatures_are_no_change_of_content():
    old = make_content()
    new = make_content(number="NML-2026-00218", version=2, issued_at="2026-12-01", signatures=())

    assert changes_between(old, new) == ()


def test_changes_are_listed_exactly():
    old = make_content()
    new = with_row(
        make_content(sample=dataclasses.replace(SAMPLE, lot="2026-W47-4")), 6, passing_pct="42"
    )

    assert changes_between(old, new) == (
        Change("sample · lot", "2026-W47-3", "2026-W47-4"),
        Change("results · Determination 1 · rows · 5.6 mm · passing, %", "43", "42"),
    )


def test_a_row_added_on_top_is_the_only_change():
    old = make_content()
    table = old.results[0]
    added = dataclasses.replace(table.rows[0], designation="63 mm", aperture_mm="63")
    new = make_content(results=(dataclasses.replace(table, rows=(added, *table.rows)),))

    changes = changes_between(old, new)

    assert {it.where.split(" · ")[3] for it in changes} == {"63 mm"}
    assert {it.was for it in changes} == {"(absent)"}


def test_a_row_removed_is_told_as_absent_now():
    old = make_content()
    table = dataclasses.replace(old.results[0], rows=old.results[0].rows[1:])

    changes = changes_between(old, make_content(results=(table,)))

    assert {it.where.split(" · ")[3] for it in changes} == {"45 mm"}
    assert {it.now for it in changes} == {"(absent)"}


def test_changes_backwards_are_the_same_places_with_was_and_now_exchanged():
    old = make_content()
    new = with_row(make_content(deviations=("Shaken 12 min.",)), 2, retained_g="611.9")

    forwards, backwards = changes_between(old, new), changes_between(new, old)

    assert {(it.where, it.was, it.now) for it in forwards} == {
        (it.where, it.now, it.was) for it in backwards
    }


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        ("63.1", "µm", "µm"),
        ("1.76", "", "1"),
        ("0,01", "", "1"),
        ("< 45 µm", "", ""),
        ("n.d.", "", ""),
    ],
)
def test_unit_one_stands_beside_bare_numbers_alone(value, unit, shown):
    assert Characteristic("d10", value, unit, "f").shown_unit == shown

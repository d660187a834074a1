"""What is due, on the page, in a calendar and on labels; inventories; assessments on their page."""

import base64
import html
import io
import re
from datetime import timedelta

import pytest
from django.core import signing
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from gradation.models import ImpactDecision, Sieve
from gradation.policy import Role
from gradation.services import checks, clock
from gradation.web.views.equipment_due import calendar_password
from tests import factories

NOT_FOUND, REFUSED = 404, 422


@pytest.fixture
def as_role(client, db):
    """Sign in with a role and give the person."""

    def sign_in(role):
        factories.make_laboratory()
        person = factories.make_person(role)
        client.force_login(person)
        return person

    return sign_in


def text_of(answer):
    return html.unescape(answer.content.decode())


def address(name, *args):
    return reverse(f"equipment:{name}", args=args)


def due_sieve(days, **values):
    day = timezone.now().date() + timedelta(days=days)
    return factories.make_sieve(next_check_on=day, **values)


def test_the_list_narrows_to_a_bench_and_a_keeper(client, as_role):
    as_role(Role.AUDITOR)
    bench, keeper = factories.make_bench(), factories.make_person(Role.EQUIPMENT_KEEPER)
    here, his, other = due_sieve(5, bench=bench), due_sieve(5, keeper=keeper), due_sieve(5)

    at_bench = text_of(client.get(address("due-list"), {"bench": bench.pk}))
    of_keeper = text_of(client.get(address("due-list"), {"keeper": keeper.pk}))

    assert here.serial in at_bench
    assert his.serial not in at_bench
    assert his.serial in of_keeper
    assert other.serial not in of_keeper


@pytest.mark.parametrize(
    ("days", "uses", "words"),
    [
        (-1, None, "overdue since"),
        (5, None, "due "),
        (300, None, "in date to"),
        (300, 0, "overdue by uses"),
        (300, 3, "due in 3 uses"),
    ],
)
def test_a_tag_says_the_day_or_the_uses_whichever_comes_first(client, as_role, days, uses, words):
    as_role(Role.AUDITOR)
    due_sieve(days, next_check_at_use=uses, check_interval_uses=100 if uses is not None else None)

    assert words in text_of(client.get(address("sieve-list")))


@pytest.mark.parametrize("query", ["?bench=x", "?bench=999999", "?keeper=-1", "?due=nonsense"])
def test_a_strange_filter_is_no_fault(client, as_role, query):
    as_role(Role.AUDITOR)
    due_sieve(5)

    assert client.get(address("due-list") + query).status_code == 200


def token_of(person):
    """Make the key of an address as the version before this one handed it out."""
    digest = person.get_session_auth_hash()[:16]
    return signing.dumps([person.pk, digest], salt="gradation.due-feed", compress=True)


def subscribed(client, name, password):
    pair = base64.b64encode(f"{name}:{password}".encode()).decode()
    return client.get(address("due-subscribe"), headers={"authorization": f"Basic {pair}"})


def shown_password(client):
    shown = text_of(client.get(address("due-list")))
    return re.search(r"Calendar password</dt><dd[^>]*>([^<]+)</dd>", shown)[1]


def test_s31_a_calendar_program_reads_by_name_and_password_and_no_address_holds_a_key(
    client, as_role
):
    person = as_role(Role.TECHNICIAN)
    sieve = due_sieve(5)
    password = shown_password(client)
    assert not re.search(r"feed/[^/]+/due\.ics", text_of(client.get(address("due-list"))))
    client.logout()

    asked = client.get(address("due-subscribe"))
    assert (asked.status_code, asked["WWW-Authenticate"].split()[0]) == (401, "Basic")
    read = subscribed(client, person.username, password)
    assert read["Content-Type"] == "text/calendar; charset=utf-8"
    assert sieve.serial in read.content.decode().replace("\r\n ", "")
    assert client.get(address("due-feed", password)).status_code == NOT_FOUND
    assert "sessionid" not in client.cookies  # it opens the calendar, and no session


def test_s31_a_calendar_password_is_one_persons_and_ends_with_their_password(client, as_role):
    person = as_role(Role.TECHNICIAN)
    due_sieve(5)
    password = shown_password(client)
    other = factories.make_person(Role.TECHNICIAN)

    wrong = [(other.username, password), ("", password), ("nobody", password),
             (person.username, ""), (person.username, factories.PASSWORD),
             (person.username, password[:-1]), (person.username, f"x:{password}")]  # fmt: skip
    assert {subscribed(client, *pair).status_code for pair in wrong} == {401}
    person.set_password("another-long-password")
    person.save()
    assert subscribed(client, person.username, password).status_code == 401


@pytest.mark.parametrize("sent", ["Basic", "Basic !!", "Basic /w==", "Bearer x", "Basic eDp5IA=="])
def test_a_header_that_names_nobody_is_asked_again(client, db, sent):
    factories.make_laboratory()

    answer = client.get(address("due-subscribe"), headers={"authorization": sent})

    assert answer.status_code == 401


def test_a_closed_account_or_a_customer_reads_no_calendar(client, as_role):
    customer = as_role(Role.CUSTOMER)
    assert subscribed(client, customer.username, calendar_password(customer)).status_code == 401
    person = as_role(Role.TECHNICIAN)
    person.is_active = False
    person.save()
    assert subscribed(client, person.username, calendar_password(person)).status_code == 401


def test_a_feed_is_read_without_signing_in_and_ends_with_a_new_password(client, as_role):
    person = as_role(Role.TECHNICIAN)
    sieve = due_sieve(5)
    token = token_of(person)
    client.logout()

    before = client.get(address("due-feed", token))
    person.set_password("another-long-password")
    person.save()
    after = client.get(address("due-feed", token))

    assert before["Content-Type"] == "text/calendar; charset=utf-8"
    assert sieve.serial in before.content.decode().replace("\r\n ", "")
    assert after.status_code == NOT_FOUND


def test_a_feed_ends_when_the_account_is_closed(client, as_role):
    person = as_role(Role.TECHNICIAN)
    due_sieve(5)
    token = token_of(person)
    person.is_active = False
    person.save()

    assert client.get(address("due-feed", token)).status_code == NOT_FOUND


@pytest.mark.parametrize("token", ["x", "WzEsIngiXQ:1abc:forged", "a" * 500])
def test_a_forged_address_finds_nothing(client, db, token):
    factories.make_laboratory()

    assert client.get(address("due-feed", token)).status_code == NOT_FOUND


def test_a_customer_gets_no_feed_of_the_laboratorys_equipment(client, as_role):
    person = as_role(Role.CUSTOMER)

    assert client.get(address("due-feed", token_of(person))).status_code == NOT_FOUND


@pytest.mark.parametrize("stock", ["sheet", "roll", "wide-roll"])
def test_labels_of_sieves_and_instruments_are_printed(client, as_role, pdf_libraries, stock):
    as_role(Role.TECHNICIAN)
    sieve = factories.make_sieve()
    balance = factories.make_instrument("balance", capacity_g=6000)

    answer = client.get(address("label-sheet"), {"what": "all", "stock": stock})

    said = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages)
    assert answer["Content-Type"] == "application/pdf"
    assert sieve.serial in said
    assert balance.serial in said
    assert len(PdfReader(io.BytesIO(answer.content)).pages) == (1 if stock == "sheet" else 2)


def test_labels_already_gone_from_a_sheet_push_the_rest_to_the_next(client, as_role, pdf_libraries):
    as_role(Role.TECHNICIAN)
    for _ in range(2):
        factories.make_sieve()

    asked = {"what": "sieve", "stock": "sheet", "used": "23"}
    answer = client.get(address("label-sheet"), asked)
    roll = client.get(address("label-sheet"), {**asked, "stock": "roll"})

    assert len(PdfReader(io.BytesIO(answer.content)).pages) == 2  # one of 24 left, two labels
    assert roll.status_code == REFUSED


def test_a_sample_has_a_label_and_one_for_each_portion(client, as_role, pdf_libraries):
    as_role(Role.TECHNICIAN)
    portion = factories.make_portion()

    answer = client.get(reverse("intake:label-print", args=[portion.sample.number]))

    pages = [page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages]
    assert [portion.sample.number in page for page in pages] == [True, True]
    assert portion.label in pages[1]


def inventory(*rows):
    head = "serial;aperture;standard;frame_diameter_mm"
    return SimpleUploadedFile("sieves.csv", "\n".join([head, *rows]).encode())


def test_an_inventory_is_looked_through_first_and_changes_nothing(client, as_role):
    as_role(Role.EQUIPMENT_KEEPER)

    answer = client.post(address("sieve-import"), {"file": inventory("A-1;600 µm;ISO 3310-1;200")})

    assert "1 sieve can be taken in. Nothing was changed yet" in text_of(answer)
    assert not Sieve.objects.exists()


def test_every_fault_of_an_inventory_is_named_and_even_when_asked_nothing_is_taken(client, as_role):
    as_role(Role.EQUIPMENT_KEEPER)
    file = inventory("A-1;600 µm;ISO 3310-1;200", "A-1;;ISO 3310-1;200", "A-3;wide;x;y")

    answer = client.post(address("sieve-import"), {"file": file, "act": "import"})

    faults = {(fault.row, fault.column) for fault in answer.context["report"].faults}
    assert answer.status_code == REFUSED
    assert {(3, "serial"), (3, "aperture"), (4, "aperture"), (4, "frame_diameter_mm")} <= faults
    assert not Sieve.objects.exists()


def test_a_sound_inventory_is_taken_in_when_asked(client, as_role):
    as_role(Role.EQUIPMENT_KEEPER)
    file = inventory("A-1;600 µm;ISO 3310-1;200", "A-2;No. 200;ASTM E11;200")

    answer = client.post(address("sieve-import"), {"file": file, "act": "import"})

    assert answer["Location"] == address("sieve-list")
    assert set(Sieve.objects.values_list("serial", flat=True)) == {"A-1", "A-2"}


@pytest.mark.parametrize("content", [b"", b"\x00\x01", b"PK\x03\x04broken", b"serial\n"])
def test_a_file_that_is_no_inventory_is_answered(client, as_role, content):
    as_role(Role.EQUIPMENT_KEEPER)

    answer = client.post(address("sieve-import"), {"file": SimpleUploadedFile("s.xlsx", content)})

    assert answer.status_code == REFUSED
    assert not Sieve.objects.exists()


@pytest.fixture
def assessment(db):
    """Give an assessment opened by a failed check of a sieve that one certificate rests on."""
    factories.make_laboratory()
    certificate = factories.make_certificate()
    sieve = certificate.runs.get().places.first().sieve
    check = checks.record_check(
        actor=factories.keeper(),
        equipment=sieve,
        evidence=checks.VisualEvidence({"no tear, no hole": False}),
        performed_on=clock.today(),
    )
    return check.impacts.get(), certificate


def test_an_assessment_is_decided_and_closed_on_its_page(client, as_role, assessment):
    opened, certificate = assessment
    as_role(Role.QUALITY_MANAGER)
    page = address("impact-show", opened.pk)

    early = client.post(address("impact-close", opened.pk), {"conclusion": "No effect."})
    client.post(
        address("impact-decide", opened.pk, certificate.pk),
        {"verdict": "retest", "reason": "The margin is small."},
    )
    decided = text_of(client.get(page))
    client.post(address("impact-close", opened.pk), {"conclusion": "Retested, told, replaced."})

    opened.refresh_from_db()
    assert early.status_code == REFUSED
    assert ImpactDecision.objects.get().verdict == "retest"
    assert "The margin is small." in decided
    assert opened.state == "closed"
    assert "Retested, told, replaced." in text_of(client.get(page))


def test_an_assessment_is_taken_along_as_pdf_and_csv(client, as_role, assessment, pdf_libraries):
    opened, certificate = assessment
    as_role(Role.AUDITOR)

    pdf = client.get(address("impact-pdf", opened.pk))
    rows = client.get(address("impact-csv", opened.pk, "certificates"))
    strange = client.get(address("impact-csv", opened.pk, "secrets"))

    said = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf.content)).pages)
    assert certificate.number in said
    assert certificate.number in rows.content.decode()
    assert strange.status_code == NOT_FOUND


@pytest.mark.parametrize("both", [True, False])
def test_an_assessment_is_about_one_thing(client, as_role, both):
    person = as_role(Role.QUALITY_MANAGER)
    sieve = factories.make_sieve()
    about = {"equipment": sieve.pk, "person": person.pk} if both else {}

    answer = client.post(address("impact-open"), {**about, "reason": "Bent."})

    assert answer.status_code == REFUSED
    assert answer.context["form"].errors.keys() == {"equipment"}

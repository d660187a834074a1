"""Figures, health, the self-test of the connection, faults of the disk and of locks, time zones."""

import re
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core import mail
from django.db import OperationalError
from django.db import connection as database
from django.test import Client, RequestFactory
from django.urls import reverse

from gradation import checks
from gradation.models import Incident, LedgerEntry, Maintenance, Sample
from gradation.policy import Role
from gradation.queries.operations import review_sheet, span_of
from gradation.services import clock, maintenance
from gradation.services.people import system_account
from labsite import connection, faults, metrics, start, steady_clock
from tests import factories

pytestmark = pytest.mark.django_db


def test_figures_are_given_to_this_machine_and_count_by_route(client):
    client.get("/sign-in/")

    answer = client.get("/metrics")

    text = answer.content.decode()
    assert answer.status_code == 200
    assert 'gradation_requests_total{method="GET",route="web:sign-in",status="200"}' in text
    assert "gradation_request_seconds_bucket" in text


@pytest.mark.parametrize(
    "headers", [{"REMOTE_ADDR": "192.0.2.7"}, {"HTTP_X_FORWARDED_FOR": "127.0.0.1"}]
)
def test_figures_are_given_to_nobody_else(client, headers):
    assert client.get("/metrics", **headers).status_code == 403


def test_figures_are_given_for_the_token(client, settings):
    settings.METRICS_TOKEN = "t" * 40

    assert client.get("/metrics").status_code == 403
    sent = {"HTTP_AUTHORIZATION": "Bearer " + "t" * 40, "REMOTE_ADDR": "192.0.2.7"}
    assert client.get("/metrics", **sent).status_code == 200


def test_an_address_that_does_not_exist_makes_no_figure_of_its_own(client):
    client.get("/nowhere/one/")

    assert "nowhere" not in metrics.generate_latest(metrics.REGISTRY).decode()


WRONG_PROXY = [
    ({"HTTP_HOST": "inner:8000"}, "Host"),
    ({"HTTP_X_FORWARDED_PROTO": None}, "X-Forwarded-Proto"),
    ({"REMOTE_ADDR": "192.0.2.9"}, "X-Forwarded-For"),
    ({"HTTP_X_FORWARDED_FOR": None}, "X-Forwarded-For"),
    ({"HTTP_ORIGIN": "https://old-name.example"}, "Origin"),
]
GOOD_PROXY = {
    "HTTP_HOST": "lab.example.org", "HTTP_X_FORWARDED_PROTO": "https", "REMOTE_ADDR": "10.0.0.2",
    "HTTP_X_FORWARDED_FOR": "203.0.113.9", "HTTP_ORIGIN": "https://lab.example.org",
}  # fmt: skip


def through_proxy(settings, changed):
    settings.BASE_URL, settings.TRUSTED_PROXIES = "https://lab.example.org", ["10.0.0.2"]
    sent = {name: value for name, value in (GOOD_PROXY | changed).items() if value is not None}
    if sent.get("HTTP_X_FORWARDED_PROTO") == "https":  # what gunicorn makes of it
        sent["wsgi.url_scheme"] = "https"
    return list(connection.looked_at(RequestFactory().get("/", **sent), sent["REMOTE_ADDR"]))


def test_f12_a_proxy_that_is_set_up_well_is_found_well(settings):
    assert all(seen.is_good for seen in through_proxy(settings, {}))


@pytest.mark.parametrize(("changed", "named"), WRONG_PROXY)
def test_f12_the_wrong_header_is_named_with_what_to_do(settings, changed, named):
    wrong = [seen for seen in through_proxy(settings, changed) if not seen.is_good]

    assert named in [seen.what for seen in wrong]
    assert all(seen.words.count(".") >= 1 for seen in wrong)


def test_f12_the_self_test_is_reached_without_signing_in(client, settings):
    answer = client.get("/health/connection", headers={"host": "wrong.example"})

    assert answer.status_code == 409
    assert "WRONG  Host" in answer.content.decode()


def locked_for_long():
    error = OperationalError("canceling statement due to lock timeout")
    error.__cause__ = type("LockNotAvailable", (Exception,), {"sqlstate": "55P03"})()
    return error


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (OperationalError("database is locked"), 503),
        (locked_for_long(), 503),
        (OperationalError("database or disk is full"), 507),
        (OSError(28, "No space left on device"), 507),
    ],
)
@pytest.mark.parametrize("address", ["web", "api"])
def test_f23_f26_a_full_disk_or_a_long_lock_says_when_to_try_again(
    client, monkeypatch, error, status, address
):
    factories.make_laboratory()
    client.force_login(factories.technician())

    def refuse(*_, **__):
        raise error

    monkeypatch.setattr("gradation.web.views.intake.sample_page", refuse)
    monkeypatch.setattr("gradation.api.samples.samples_visible_to", refuse)
    answer = client.get(reverse("intake:sample-list") if address == "web" else "/api/v1/samples")

    assert answer.status_code == status
    assert int(answer["Retry-After"]) > 0
    assert "Nothing was written" in answer.content.decode()
    assert not Incident.objects.exists()


def test_f23_a_disk_that_fills_up_leaves_no_half_of_a_write_and_works_again_after(
    client, monkeypatch
):
    factories.make_laboratory()
    client.force_login(factories.technician())
    sample = factories.make_sample()
    entries = LedgerEntry.objects.count()
    real = LedgerEntry.save

    def full(*_, **__):
        raise OperationalError("database or disk is full")

    cancel = {"reason": "sent twice"}
    address = reverse("intake:sample-cancel", args=[sample.number])
    monkeypatch.setattr(LedgerEntry, "save", full)
    assert client.post(address, cancel).status_code == 507
    assert Sample.objects.get(pk=sample.pk).state == sample.state
    monkeypatch.setattr(LedgerEntry, "save", real)
    assert LedgerEntry.objects.count() == entries

    assert client.post(address, cancel).status_code == 302
    assert Sample.objects.get(pk=sample.pk).state == Sample.State.CANCELLED


def test_any_other_fault_of_the_database_is_an_incident():
    assert faults.storage_trouble(OperationalError("no such table: x")) is None


def test_f10_the_start_is_refused_while_changes_of_tables_are_due(monkeypatch):
    assert start.pending_migrations() == []
    monkeypatch.setattr(start, "pending_migrations", lambda: ["gradation.0099_more"])

    with pytest.raises(SystemExit, match=r"gradation\.0099_more\. Run: python manage\.py upgrade"):
        start.refuse_pending_migrations()


def test_the_start_is_refused_while_a_guard_of_the_records_is_missing(db):
    on = "" if database.vendor == "sqlite" else " ON gradation_result"
    with database.cursor() as cursor:
        cursor.execute("DROP TRIGGER gradation_result_no_delete" + on)

    assert start.missing_guards(database) == ["gradation_result_no_delete"]
    with pytest.raises(SystemExit, match=r"gradation_result_no_delete\. Run: python manage\.py"):
        start.refuse_unguarded(start.missing_guards(database))


@pytest.mark.postgres_only
def test_f15_the_start_is_refused_when_the_system_sorts_letters_otherwise(db):
    assert checks.stale_collation(database) == ""
    with database.cursor() as cursor:
        cursor.execute(
            "UPDATE pg_database SET datcollversion = '1.0' WHERE datname = current_database()"
        )

    change = checks.stale_collation(database)
    assert change.startswith("1.0 to ")
    with pytest.raises(SystemExit, match=r"REINDEX DATABASE .* REFRESH COLLATION VERSION"):
        start.refuse_stale_collation(change)


@pytest.mark.parametrize(
    ("moved_s", "said"), [(3600, "moved forward by 3600.0 s"), (-2.5, "moved back by 2.5 s")]
)
def test_f27_a_step_of_the_clock_is_an_incident_and_an_event(client, monkeypatch, moved_s, said):
    factories.make_laboratory()
    client.get("/health/live")  # builds the middleware, which looks at the clock
    client.get("/sign-in/")
    assert not Incident.objects.exists()
    real = steady_clock.time.time

    monkeypatch.setattr(steady_clock.time, "time", lambda: real() + moved_s)
    client.get("/sign-in/")
    client.get("/sign-in/")

    incident = Incident.objects.get()
    assert (incident.kind, said in incident.trace) == ("ClockStepped", True)
    assert LedgerEntry.objects.filter(action="incident met", subject_id=incident.pk).count() == 1


def test_f27_a_small_correction_of_the_clock_is_no_alarm(client, monkeypatch):
    factories.make_laboratory()
    client.get("/sign-in/")
    real = steady_clock.time.time

    monkeypatch.setattr(steady_clock.time, "time", lambda: real() + 1.5)
    client.get("/sign-in/")

    assert not Incident.objects.exists()


ZONES = [
    "Pacific/Kiritimati", "Asia/Kathmandu", "Europe/Oslo", "UTC", "America/New_York",
    "Pacific/Pago_Pago",
]  # fmt: skip
#: Instants on both sides of the two changes of the clock in Europe and in America in 2026, and
#: the hour that comes twice (25 October, 01:30 in Oslo is 23:30 and 00:30 UTC).
MOMENTS = [
    datetime(2026, 3, 8, 6, 59, tzinfo=UTC), datetime(2026, 3, 8, 7, 1, tzinfo=UTC),
    datetime(2026, 3, 29, 0, 59, tzinfo=UTC), datetime(2026, 3, 29, 1, 1, tzinfo=UTC),
    datetime(2026, 10, 25, 0, 30, tzinfo=UTC), datetime(2026, 10, 25, 1, 30, tzinfo=UTC),
    datetime(2026, 11, 1, 5, 30, tzinfo=UTC), datetime(2026, 11, 1, 6, 30, tzinfo=UTC),
]  # fmt: skip


@pytest.mark.parametrize("zone", ZONES)
def test_f06_an_instant_is_the_same_after_ten_savings_in_any_zone(zone):
    laboratory = factories.make_laboratory()
    laboratory.time_zone = zone
    laboratory.save()
    sample = factories.make_sample()

    for moment in MOMENTS:
        for _ in range(10):
            row = Sample.objects.get(pk=sample.pk)
            row.received_at = moment.astimezone(ZoneInfo(zone))
            row.save()
        kept = Sample.objects.get(pk=sample.pk).received_at
        assert kept == moment
        assert kept.utcoffset() == timedelta(0)


@pytest.mark.parametrize("zone", ZONES)
def test_f06_a_day_is_the_laboratorys_own_on_both_sides_of_midnight(zone):
    laboratory = factories.make_laboratory()
    laboratory.time_zone = zone
    for hours in (0, 23):
        local = datetime(2026, 3, 29, hours, 30, tzinfo=ZoneInfo(zone))
        with clock.at(local.astimezone(UTC)):
            assert clock.today(laboratory) == date(2026, 3, 29)


MOMENT_FIELD = re.compile(r'<input type="datetime-local" name="(\w+)"(?: value="([^"]*)")?')


def test_f06_a_form_that_is_opened_and_sent_unchanged_moves_no_time(client):
    laboratory = factories.make_laboratory()
    laboratory.time_zone = "Europe/Oslo"
    laboratory.save()
    sample = factories.make_sample()
    # 24 October 14:05 in Oslo is summer time, the day before the clock changes: 12:05 UTC.
    moment = datetime(2026, 10, 24, 12, 5, tzinfo=UTC)
    Sample.objects.filter(pk=sample.pk).update(received_at=moment)
    client.force_login(factories.technician())
    address = reverse("intake:sample-change", args=[sample.number])

    for _ in range(10):
        page = client.get(address)
        form = page.context["form"]
        given = {name: form[name].value() or "" for name in form.fields}
        # Moments as the browser has them, in the laboratory's zone.
        given |= dict(MOMENT_FIELD.findall(page.content.decode()))
        assert given["received_at"] == "2026-10-24T14:05"
        assert client.post(address, {**given, "reason": "looked at"}).status_code == 302

    assert Sample.objects.get(pk=sample.pk).received_at == moment


def test_r94_the_review_sheet_counts_what_the_database_has(client):
    factories.make_laboratory()
    manager = factories.make_person(Role.QUALITY_MANAGER)
    for number in range(3):
        client.post(reverse("web:sign-in"), {"username": f"x{number}", "password": "y"})
    done = Maintenance(kind=Maintenance.Kind.BACKUP.value, archive="kept.zip", rows=7)
    maintenance.note_maintenance(actor=system_account(), done=done)
    today = clock.now().date()
    sheet = review_sheet(*span_of(today - timedelta(days=1), today, clock.now()))

    assert dict(sheet.refused)["sign-in refused"] == 3
    assert sheet.last_backup == done
    assert sheet.entries == LedgerEntry.objects.count()
    added = LedgerEntry.objects.filter(action="person added").count()
    assert len([entry for entry in sheet.right_changes if entry.action == "person added"]) == added
    client.force_login(manager)
    assert client.get(reverse("settings:review-show")).status_code == 200
    wrong = client.get(reverse("settings:review-show") + "?first=2026-02-02&last=2026-01-01")
    assert wrong.status_code == 422


def test_the_mail_is_tried_to_ones_own_address():
    factories.make_laboratory()
    manager = factories.make_person(Role.QUALITY_MANAGER, email="quality@example.org")

    assert maintenance.try_mail(actor=manager) == "quality@example.org"
    assert [message.to for message in mail.outbox] == [["quality@example.org"]]


def test_a_mail_server_that_does_not_answer_is_told_on_the_page(monkeypatch):
    factories.make_laboratory()
    client = Client()
    client.force_login(factories.make_person(Role.QUALITY_MANAGER, email="quality@example.org"))

    def refuse(*_, **__):
        raise ConnectionRefusedError("connection refused")

    monkeypatch.setattr("gradation.services.maintenance.send_mail", refuse)
    answer = client.post(reverse("settings:mail-try"))

    assert answer.status_code == 409
    assert "connection refused" in answer.content.decode()

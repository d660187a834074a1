"""Every address of the site against every role, in one table.

A page not named here fails `test_every_address_stands_in_the_table`.
"""

import re

from django.urls import Resolver404, get_resolver, resolve, reverse

from gradation.policy import Role
from tests import factories
from tests.web.things import things as things

STAFF = {role for role in Role if role is not Role.CUSTOMER}
EVERYBODY = set(Role)
TECHNICIAN, REVIEWER, SIGNATORY = {Role.TECHNICIAN}, {Role.REVIEWER}, {Role.SIGNATORY}
KEEPER, MANAGER = {Role.EQUIPMENT_KEEPER}, {Role.QUALITY_MANAGER}
AUDITOR = {Role.AUDITOR}
PARTIES = TECHNICIAN | MANAGER
DRAFTERS = REVIEWER | SIGNATORY
LOOKERS = KEEPER | MANAGER
SENDERS = TECHNICIAN | KEEPER
EXPORTERS = MANAGER | {Role.AUDITOR}
APPROVERS = MANAGER | SIGNATORY
HOLDERS = TECHNICIAN | REVIEWER | SIGNATORY | MANAGER
EXPORTERS = MANAGER | {Role.AUDITOR}

#: Address, what it is asked with, who may come in; the others are refused.
GET = [
    ("web:home", (), EVERYBODY),
    ("web:find", (), EVERYBODY),
    ("web:session-show", (), EVERYBODY),
    ("web:session-stay", (), EVERYBODY),
    ("account:account-show", (), EVERYBODY),
    ("account:samples-show", (), EVERYBODY),
    ("account:identity-confirm", (), EVERYBODY),
    ("account:password-set", (), EVERYBODY),
    ("account:email-set", (), EVERYBODY),
    ("account:factor-set-up", (), EVERYBODY),
    ("account:factor-drop", (), EVERYBODY),
    ("intake:sample-list", (), EVERYBODY),
    ("intake:sample-log", (), PARTIES),
    ("intake:sample-show", ("number",), EVERYBODY),
    ("intake:sample-change", ("number",), PARTIES),
    ("intake:sample-history", ("number",), EVERYBODY),
    ("intake:external-add", ("number",), PARTIES),
    ("intake:sampling-add", ("number",), PARTIES),
    ("intake:sample-history-file", ("number", "form"), EVERYBODY),
    ("intake:retention-list", (), STAFF),
    ("intake:sample-keep", ("number",), PARTIES),
    ("intake:sample-hold", ("number",), HOLDERS),
    ("intake:hold-lift", ("hold",), HOLDERS),
    ("intake:label-print", ("number",), STAFF),
    ("intake:determination-list", ("number",), EVERYBODY),
    ("intake:portion-prepare", ("number",), TECHNICIAN),
    ("intake:sample-cancel", ("number",), PARTIES),
    ("intake:sample-close", ("number",), PARTIES),
    ("intake:sample-dispose", ("number",), PARTIES),
    ("intake:customer-list", (), STAFF),
    ("intake:customer-add", (), PARTIES),
    ("intake:source-add", (), PARTIES),
    ("intake:material-add", (), PARTIES),
    ("intake:customer-change", ("party",), PARTIES),
    ("intake:source-change", ("source",), PARTIES),
    ("intake:material-change", ("material",), PARTIES),
    ("bench:run-queue", (), STAFF),
    ("bench:bench-pick", (), STAFF),
    ("bench:portion-show", ("label",), EVERYBODY),
    ("bench:portion-divide", ("label",), TECHNICIAN),
    ("bench:portion-as-received", ("label",), TECHNICIAN),
    ("bench:drying-begin", ("label",), TECHNICIAN),
    ("bench:drying-again", ("run",), TECHNICIAN),
    ("bench:drying-list", (), STAFF),
    ("bench:drying-show", ("drying",), EVERYBODY),
    ("bench:drying-correct", ("drying", "weighing"), TECHNICIAN),
    ("bench:drying-end", ("drying",), TECHNICIAN),
    ("bench:drying-container", ("drying",), TECHNICIAN),
    ("bench:drying-changes", ("drying",), EVERYBODY),
    ("bench:dry-mass-take", ("drying", "run"), TECHNICIAN),
    ("bench:balance-waiting", ("bench",), STAFF),
    ("bench:waiting-set-aside", ("waiting",), TECHNICIAN),
    ("bench:run-open", ("label",), TECHNICIAN),
    ("bench:run-weigh", ("run",), EVERYBODY),
    ("bench:run-figure", ("run",), EVERYBODY),
    ("bench:run-changes", ("run",), EVERYBODY),
    ("bench:person-show", (), EVERYBODY),
    ("bench:code-find", (), STAFF),
    ("bench:reading-correct", ("run", "slot", "position"), TECHNICIAN),
    ("bench:reading-again", ("run", "slot", "position", "increment"), TECHNICIAN),
    ("bench:increment-add", ("run", "slot", "position", "increment"), TECHNICIAN),
    ("bench:shaking-record", ("run",), TECHNICIAN),
    ("bench:shaking-correct", ("shaken_run", "shaking"), TECHNICIAN),
    ("bench:handling-record", ("run",), TECHNICIAN),
    ("bench:split-add", ("run",), TECHNICIAN),
    ("bench:split-remove", ("run", "first_position"), TECHNICIAN),
    ("bench:relief-add", ("run",), TECHNICIAN),
    ("bench:paper-mark", ("run",), TECHNICIAN),
    ("bench:paper-compare", ("paper_run",), TECHNICIAN | REVIEWER),
    ("bench:scan-add", ("run",), TECHNICIAN),
    ("bench:scan-show", ("paper_run", "scan"), STAFF),
    ("bench:scan-picture", ("paper_run", "scan"), STAFF),
    ("bench:import-list", (), STAFF),
    ("bench:import-give", (), PARTIES),
    ("bench:sheet-form-add", (), PARTIES),
    ("bench:order-form-add", (), PARTIES),
    ("bench:sheet-form-change", ("sheet_form",), PARTIES),
    ("bench:import-show", ("run_import",), STAFF),
    ("bench:import-progress", ("run_import",), STAFF),
    ("bench:finding-list", ("run",), STAFF),
    ("review:run-queue", (), STAFF),
    ("review:run-review", ("run",), REVIEWER),
    ("review:runs-accept", (), REVIEWER),
    ("review:trail-look", ("run",), REVIEWER),
    ("review:determination-set-aside", ("run",), REVIEWER),
    ("review:determination-count", ("run",), REVIEWER),
    ("certificates:certificate-list", (), EVERYBODY),
    ("certificates:certificate-draft", ("number",), DRAFTERS),
    ("certificates:certificate-show", ("certificate",), EVERYBODY),
    ("certificates:certificate-preview", ("certificate",), EVERYBODY),
    ("certificates:certificate-pdf", ("certificate",), EVERYBODY),
    ("certificates:certificate-record", ("certificate",), EVERYBODY),
    ("certificates:omission-add", ("certificate",), SIGNATORY),
    ("certificates:opinion-add", ("certificate",), SIGNATORY),
    ("certificates:form-list", (), STAFF),
    ("certificates:form-add", (), APPROVERS),
    ("certificates:form-preview", (), APPROVERS),
    ("certificates:form-change", ("report_form",), APPROVERS),
    ("certificates:form-give-up", ("report_form",), APPROVERS),
    ("certificates:certificate-issue", ("certificate",), SIGNATORY),
    ("certificates:certificate-amend", ("certificate",), DRAFTERS),
    ("certificates:certificate-withdraw", ("certificate",), SIGNATORY),
    ("certificates:signature-give-up", ("certificate",), SIGNATORY),
    ("certificates:draft-discard", ("certificate",), DRAFTERS),
    ("certificates:certificate-send", ("certificate",), DRAFTERS),
    ("certificates:certificates-issue", (), SIGNATORY),
    ("certificates:batch-show", ("issue_batch",), SIGNATORY),
    ("certificates:batch-progress", ("issue_batch",), SIGNATORY),
    ("certificates:policy-set", (), MANAGER),
    ("certificates:policy-accept", (), SIGNATORY),
    ("equipment:due-list", (), STAFF),
    ("equipment:due-calendar", (), STAFF),
    ("equipment:label-sheet", (), STAFF),
    ("equipment:sieve-list", (), STAFF),
    ("equipment:sieve-register", (), KEEPER),
    ("equipment:sieve-import", (), KEEPER),
    ("equipment:import-template", (), KEEPER),
    ("equipment:wear-list", (), STAFF),
    ("equipment:suspect-list", (), STAFF),
    ("equipment:sieve-show", ("serial",), STAFF),
    ("equipment:instrument-list", (), STAFF),
    ("equipment:instrument-register", ("kind",), KEEPER),
    ("equipment:instrument-show", ("instrument",), STAFF),
    ("equipment:lot-list", (), STAFF),
    ("equipment:lot-register", (), KEEPER),
    ("equipment:lot-retire", ("lot",), KEEPER),
    ("equipment:nest-list", (), STAFF),
    ("equipment:nest-build", (), KEEPER),
    ("equipment:nest-retire", ("nest",), KEEPER),
    ("equipment:bench-add", (), KEEPER),
    ("equipment:bench-retire", ("bench",), KEEPER),
    ("equipment:item-show", ("serial",), STAFF),
    ("equipment:item-history", ("serial",), STAFF),
    ("equipment:item-history-file", ("serial", "form"), STAFF),
    ("equipment:item-change", ("serial",), KEEPER),
    ("equipment:rule-set", ("serial",), KEEPER),
    ("equipment:item-take-out", ("serial",), KEEPER),
    ("equipment:item-put-back", ("serial",), KEEPER),
    ("equipment:item-withdraw", ("serial",), KEEPER),
    ("equipment:tare-weigh", ("serial",), KEEPER),
    ("equipment:item-label", ("serial",), STAFF),
    ("equipment:balance-connect", ("instrument",), KEEPER),
    ("equipment:balance-disconnect", ("instrument",), KEEPER),
    ("equipment:balance-lines", ("instrument",), STAFF),
    ("equipment:file-add", ("serial",), KEEPER),
    ("equipment:file-show", ("instrument", "file"), STAFF),
    ("equipment:check-begin", ("serial",), KEEPER),
    ("equipment:check-record", ("serial", "check_kind"), KEEPER),
    ("equipment:check-show", ("instrument", "check"), STAFF),
    ("equipment:impact-list", (), STAFF),
    ("equipment:impact-open", (), LOOKERS),
    ("equipment:impact-show", ("impact",), STAFF),
    ("equipment:impact-decide", ("impact", "certificate"), MANAGER),
    ("equipment:impact-close", ("impact",), MANAGER),
    ("equipment:impact-pdf", ("impact",), STAFF),
    ("equipment:impact-csv", ("impact", "rows"), STAFF),
    ("charts:chart-list", (), STAFF),
    ("charts:chart-open", (), MANAGER),
    ("charts:chart-show", ("chart",), STAFF),
    ("charts:chart-print", ("chart",), STAFF),
    ("charts:chart-csv", ("chart",), STAFF),
    ("charts:limits-freeze", ("chart",), MANAGER),
    ("charts:limits-release", ("chart",), MANAGER),
    ("charts:chart-give-up", ("chart",), MANAGER),
    ("charts:note-answer", ("chart_note",), REVIEWER | MANAGER),
    ("procedures:procedure-list", (), STAFF),
    ("procedures:procedure-add", (), MANAGER),
    ("procedures:version-draft", ("procedure",), MANAGER),
    ("procedures:version-show", ("procedure_version",), STAFF),
    ("procedures:version-pdf", ("procedure_version",), STAFF),
    ("procedures:version-compare", ("procedure_version",), STAFF),
    ("procedures:version-edit", ("procedure_version",), MANAGER),
    ("procedures:version-approve", ("procedure_version",), APPROVERS),
    ("procedures:version-return", ("procedure_version",), APPROVERS),
    ("procedures:order-list", ("procedure_version",), STAFF),
    ("procedures:order-decide", ("procedure_version", "number"), MANAGER),
    ("procedures:library-list", (), STAFF),
    ("procedures:library-show", ("kept_procedure",), STAFF),
    ("specifications:specification-list", (), STAFF),
    ("specifications:specification-add", (), MANAGER),
    ("specifications:version-draft", ("specification",), MANAGER),
    ("specifications:version-show", ("specification_version",), STAFF),
    ("specifications:version-end", ("specification_version",), MANAGER),
    ("specifications:library-list", (), STAFF),
    ("specifications:library-show", ("library",), STAFF),
    ("specifications:version-edit", ("specification_version",), MANAGER),
    ("specifications:version-approve", ("specification_version",), APPROVERS),
    ("specifications:version-return", ("specification_version",), APPROVERS),
    ("specifications:version-export", ("specification_version", "file_kind"), STAFF),
    ("verdicts:run-show", ("run",), STAFF),
    ("records:entry-list", (), STAFF),
    ("records:entry-file", ("form",), STAFF),
    ("records:person-show", ("person",), STAFF),
    ("records:person-file", ("person", "form"), STAFF),
    ("records:seal-list", (), STAFF),
    ("certificates:certificate-pack", ("certificate",), EXPORTERS),
    ("compare:comparison-show", (), STAFF),
    ("compare:comparison-file", ("form",), STAFF),
    ("blend:record-list", (), STAFF),
    ("blend:record-work", (), STAFF),
    ("blend:record-show", ("blend",), STAFF),
    ("blend:record-pdf", ("blend",), STAFF),
    ("blend:record-csv", ("blend",), STAFF),
    ("studies:study-list", (), STAFF),
    ("studies:study-begin", ("study_kind",), REVIEWER | MANAGER),
    ("studies:study-show", ("study",), STAFF),
    ("studies:study-change", ("study",), REVIEWER | MANAGER),
    ("studies:study-give-up", ("study",), REVIEWER | MANAGER),
    ("studies:cell-leave-out", ("study",), REVIEWER | MANAGER),
    ("studies:cell-take-back", ("study",), REVIEWER | MANAGER),
    ("studies:follow-up-answer", ("study",), REVIEWER | MANAGER),
    ("studies:study-pdf", ("study",), STAFF),
    ("studies:study-csv", ("study",), STAFF),
    ("settings:laboratory-show", (), STAFF),
    ("settings:laboratory-change", (), MANAGER),
    ("settings:check-list", (), STAFF),
    ("settings:check-set", ("check_code",), MANAGER),
    ("settings:competence-list", (), STAFF),
    ("settings:competence-grant", (), MANAGER),
    ("settings:competence-withdraw", ("competence",), MANAGER),
    ("settings:token-list", (), MANAGER),
    ("settings:token-make", (), MANAGER),
    ("settings:token-revoke", ("token",), MANAGER),
    ("records:export-take", (), EXPORTERS),
    ("records:export-columns", (), EXPORTERS),
    ("settings:webhook-list", (), MANAGER),
    ("settings:webhook-add", (), MANAGER),
    ("settings:webhook-show", ("webhook",), MANAGER),
    ("settings:webhook-change", ("webhook",), MANAGER),
    ("settings:webhook-pause", ("webhook",), MANAGER),
    ("settings:webhook-renew", ("webhook",), MANAGER),
    ("settings:person-add", (), MANAGER),
    ("settings:roles-set", ("person",), MANAGER),
    ("settings:person-deactivate", ("person",), MANAGER),
    ("settings:password-open", ("person",), MANAGER),
    ("settings:factor-revoke", ("person",), MANAGER),
    ("settings:session-list", (), MANAGER),
    ("settings:operations-show", (), MANAGER | AUDITOR),
    ("settings:incident-list", (), MANAGER | AUDITOR),
    ("settings:incident-show", ("incident",), MANAGER | AUDITOR),
    ("settings:incident-close", ("incident",), MANAGER),
    ("settings:review-show", (), MANAGER | AUDITOR),
]
POST = [
    ("certificates:certificate-finish", ("certificate",), SIGNATORY),
    ("certificates:mail-retry", ("certificate_mail",), DRAFTERS),
    ("certificates:batch-stop", ("issue_batch",), SIGNATORY),
    ("certificates:batch-resume", ("issue_batch",), SIGNATORY),
    ("account:recovery-renew", (), EVERYBODY),
    ("account:session-end", ("session",), EVERYBODY),
    ("settings:session-end", ("session",), MANAGER),
    ("settings:mail-try", (), MANAGER | AUDITOR),
    ("settings:delivery-replay", ("webhook", "delivery"), MANAGER),
    ("bench:reading-record", ("run",), TECHNICIAN),
    ("bench:drying-weigh", ("drying",), TECHNICIAN),
    ("bench:drying-reading", ("drying",), TECHNICIAN),
    ("bench:place-name", ("bench",), TECHNICIAN),
    ("bench:balance-line", ("bench",), SENDERS),
    ("bench:waiting-take", ("waiting",), TECHNICIAN),
    ("bench:run-submit", ("run",), TECHNICIAN),
    ("bench:finding-answer", ("run", "finding"), STAFF),
    ("bench:import-look", ("run_import",), PARTIES),
    ("bench:import-take-in", ("run_import",), PARTIES),
    ("bench:import-stop", ("run_import",), PARTIES),
    ("studies:study-keep", ("study",), REVIEWER | MANAGER),
    ("equipment:balance-try", ("instrument",), KEEPER),
    ("procedures:version-propose", ("procedure_version",), MANAGER),
    ("procedures:motion-preview", (), MANAGER),
    ("procedures:library-show", ("kept_procedure",), MANAGER),
    ("specifications:version-propose", ("specification_version",), MANAGER),
    ("specifications:limits-preview", (), MANAGER),
    ("specifications:library-show", ("library",), MANAGER),
]
#: A script is told that nobody is signed in: the bench's keeps what was entered.
TOLD_AS_JSON = {
    "web:session-show",
    "web:session-stay",
    "bench:place-name",
    "bench:balance-line",
    "bench:waiting-take",
    "bench:reading-record",
    "bench:run-changes",
    "bench:drying-reading",
    "bench:drying-changes",
    "bench:person-show",
    "bench:code-find",
}
#: A calendar is let in by its own password or address: tests/web/test_equipment_due.py has it.
OPEN_TO_ALL = {"web:sign-in", "web:sign-out", "equipment:due-feed", "equipment:due-subscribe"} | {
    # The steps beside signing in: tests/security has them.
    "web:code-give",
    "web:reset-ask",
    "web:reset-finish",
    "web:laboratory-begin",
    # Beside a PDF browsers ask for the icon: tests/security/test_threshold.py has it.
    "web:icon-show",
    # Whoever holds a certificate may ask: tests/web/test_verification.py has it.
    "verify:certificate-ask",
    "verify:certificate-verify",
}
REFUSED = 403


def person_with(role, things):
    customer = things["customer"] if role is Role.CUSTOMER else None
    return factories.make_person(role, customer=customer)


def asked(client, method, name, keys, things):
    return getattr(client, method)(reverse(name, args=[things[key] for key in keys]))


def refused_links(answer, role):
    """List the pages that an answer offers to somebody who would be refused there."""
    allowed = {name: roles for name, _, roles in GET}
    for address in set(re.findall(r'<a\b[^>]* href="(/[^"?#]*)', answer.content.decode())):
        try:
            page = resolve(address).view_name
        except Resolver404:
            continue
        if role not in allowed.get(page, EVERYBODY):
            yield page


def test_each_page_lets_in_its_roles_and_refuses_the_others(client, things):
    people = {role: person_with(role, things) for role in Role}
    wrong, offered_in_vain = [], []

    for role, person in people.items():
        client.force_login(person)
        for name, keys, allowed in GET:
            answer = asked(client, "get", name, keys, things)
            status = answer.status_code
            if (status in {200, 302}) != (role in allowed) or status not in {200, 302, REFUSED}:
                wrong.append((role.value, name, status))
            if status == 200 and answer["Content-Type"].startswith("text/html"):
                found = refused_links(answer, role)
                offered_in_vain += [(role.value, name, page) for page in found]

    assert wrong == []
    assert offered_in_vain == []


def test_each_act_refuses_those_without_its_role(client, things):
    people = {role: person_with(role, things) for role in Role}
    wrong = []

    for role, person in people.items():
        client.force_login(person)
        for name, keys, allowed in POST:
            status = asked(client, "post", name, keys, things).status_code
            if (status == REFUSED) != (role not in allowed):
                wrong.append((role.value, name, status))

    assert wrong == []


def test_nobody_comes_in_without_signing_in(client, things):
    wrong = []

    for method, rows in (("get", GET), ("post", POST)):
        for name, keys, _ in rows:
            answer = asked(client, method, name, keys, things)
            if name in TOLD_AS_JSON:
                sent_away = answer.status_code == 401 and answer.json()["kind"] == "sign-in"
            else:
                sent_away = answer.status_code == 302 and "/sign-in/" in answer["Location"]
            if not sent_away:
                wrong.append((name, answer.status_code))

    assert wrong == []


def test_another_customers_things_are_not_found(client, things):
    stranger = factories.make_person(Role.CUSTOMER, customer=factories.make_customer())
    client.force_login(stranger)

    for name, keys, allowed in GET:
        if allowed == EVERYBODY and keys:
            assert asked(client, "get", name, keys, things).status_code == 404, name


def test_every_address_stands_in_the_table():
    named = {
        f"{space}:{name}"
        for space, (_, resolver) in get_resolver("gradation.web.urls").namespace_dict.items()
        for name in resolver.reverse_dict
        if isinstance(name, str)
    }

    assert named == {name for name, _, _ in [*GET, *POST]} | OPEN_TO_ALL

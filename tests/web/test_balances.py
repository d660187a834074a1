"""Pages of balances and tokens: connected by form, tried on lines, answered for at the bench."""

from uuid import uuid4

import pytest
from django.urls import reverse

from gradation.models import ApiToken, BalanceLink, BalanceReading, BenchPlace, Weighing
from gradation.policy import Role
from gradation.services import balance_readings
from gradation.services.balance_readings import Field
from tests import factories
from tests.counting import count_queries

pytestmark = pytest.mark.django_db
LINK = {
    "form": "number_unit", "default_unit": "g", "sends": "all the time", "baud": "2400",
    "data_bits": "7", "parity": "even", "stop_bits": "1",
}  # fmt: skip


@pytest.fixture
def keeper(client):
    factories.make_laboratory()
    client.force_login(factories.keeper())
    return client


@pytest.fixture
def balance(db):
    return factories.make_instrument("balance", serial="B/7")


def at(name, *args):
    return reverse(f"equipment:{name}", args=args)


def test_a_balance_is_connected_changed_and_disconnected_on_its_card(keeper, balance):
    bench = factories.make_bench()
    connect = at("balance-connect", balance.serial)
    assert "Try it" in keeper.get(connect).content.decode()

    assert keeper.post(connect, {**LINK, "bench": bench.pk}).status_code == 302
    link = BalanceLink.objects.get()
    assert (link.balance, link.bench, link.baud, link.sends) == (
        balance, bench, 2400, "all the time",
    )  # fmt: skip
    card = keeper.get(at("instrument-show", balance.serial)).content.decode()
    assert "2400 baud, 7 bits, parity even" in card

    assert keeper.post(connect, {**LINK, "bench": bench.pk, "baud": "9600"}).status_code == 422
    changed = {**LINK, "bench": bench.pk, "baud": "9600", "reason": "New cable."}
    assert keeper.post(connect, changed).status_code == 302
    keeper.post(at("balance-disconnect", balance.serial), {"reason": "Sent for repair."})
    link.refresh_from_db()
    assert (link.baud, link.is_active) == (9600, False)


def test_a_faulty_own_line_is_answered_beside_its_field(keeper, balance):
    own = {**LINK, "form": "own", "pattern": "N 12", "bench": factories.make_bench().pk}

    answer = keeper.post(at("balance-connect", balance.serial), own)

    assert answer.status_code == 422
    assert "needs {number} exactly once" in answer.content.decode()


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"lines": "12.34 g\n12.3\nOL\nST 1"}, ["12.34 g", "unstable", "overloaded", "unreadable"]),
        ({"form": "own", "pattern": "W{number}{unit}", "lines": "W0.1234kg"}, ["123.4 g"]),
        ({"form": "own", "pattern": "", "lines": "x"}, ["Write the line as the balance sends it"]),
        ({"form": "fax", "lines": "x"}, ["Choose what a line looks like"]),
        ({"lines": ""}, ["Paste a line first"]),
        ({"lines": "<b>\x01</b>"}, ["&lt;b&gt;"]),
    ],
)
def test_pasted_lines_are_read_before_a_form_is_kept(keeper, balance, given, says):
    answer = keeper.post(at("balance-try", balance.serial), {"form": "number_unit", **given})

    shown = answer.content.decode()
    assert answer.status_code == 200
    assert [word for word in says if word not in shown] == []
    assert not BalanceLink.objects.exists()


def test_only_balances_have_a_connection(keeper):
    shaker = factories.make_instrument("shaker")

    assert keeper.get(at("balance-connect", shaker.serial)).status_code == 404
    assert keeper.get(at("balance-lines", factories.make_sieve(600).serial)).status_code == 404


def test_everything_that_came_is_listed_with_what_became_of_it(keeper):
    link = factories.make_balance_link()
    for line in ("12.34 g", "12.3", "<script>"):
        factories.send_line(link, line, factories.keeper())

    shown = keeper.get(at("balance-lines", link.balance.serial)).content.decode()

    assert "waiting" in shown
    assert "has not settled" in shown
    assert "&lt;script&gt;" in shown


@pytest.fixture
def link(db):
    return factories.make_balance_link(factories.make_instrument("balance", serial="B-7"))


@pytest.fixture
def run(link):
    return factories.make_run(bench=link.bench)


@pytest.fixture
def technician(client, run):
    client.force_login(run.technician)
    return client


def place(run, position=1, **more):
    return {"run": run.pk, "slot": "fraction", "position": position, "increment": 1, **more}


def send(client, link, line="12.34 g"):
    sent = {"balance": "B-7", "line": line, "key": str(uuid4()), "observed_at": "bad"}
    return client.post(reverse("bench:balance-line", args=[link.bench.pk]), sent)


def test_the_page_names_its_field_and_a_line_lands_in_it(technician, link, run):
    named = technician.post(reverse("bench:place-name", args=[link.bench.pk]), place(run, 3))
    assert named.status_code == 204

    told = send(technician, link).json()

    assert told == {"kind": "line", "outcome": "placed", "mass_g": "12.34", "reason": ""}
    assert Weighing.objects.get().position == 3


def test_a_field_or_line_of_another_form_is_refused_by_name(technician, link, run):
    url = reverse("bench:place-name", args=[link.bench.pk])
    assert technician.post(url, {"run": "x"}).status_code == 400
    assert technician.post(url, place(run, slot="x" * 30)).status_code == 400
    assert technician.post(url, {**place(run), "run": 10**15}).status_code == 404
    assert technician.post(url, place(run) | {"slot": "supper"}).status_code == 422
    line = reverse("bench:balance-line", args=[link.bench.pk])
    assert technician.post(line, {"balance": "B-7", "line": "1 g"}).status_code == 400


def test_a_waiting_reading_is_shown_taken_and_set_aside(technician, link, run):
    send(technician, link, "12.34 g")
    send(technician, link, "56.78 g")
    page = technician.get(reverse("bench:run-weigh", args=[run.pk])).content.decode()
    assert "2 readings of this bench found no field" in page
    first, second = BalanceReading.objects.order_by("id")

    took = technician.post(reverse("bench:waiting-take", args=[first.pk]), place(run, 2))
    assert took.json()["outcome"] == "placed"
    clash = technician.post(reverse("bench:waiting-take", args=[second.pk]), place(run, 2))
    assert (clash.status_code, clash.json()["code"]) == (409, "reading-clash")

    aside = reverse("bench:waiting-set-aside", args=[second.pk]) + f"?run={run.pk}"
    assert "It waits because" in technician.get(aside).content.decode()
    answer = technician.post(aside, {"reason": "A colleague's cup."})
    assert answer["Location"] == reverse("bench:run-weigh", args=[run.pk])
    shown = technician.get(reverse("bench:balance-waiting", args=[link.bench.pk]))
    assert shown.content.decode().strip() == ""


def test_signing_out_leaves_the_bench(technician, link, run):
    technician.post(reverse("bench:place-name", args=[link.bench.pk]), place(run))
    assert BenchPlace.objects.get().person == run.technician

    technician.post(reverse("web:sign-out"))

    assert BenchPlace.objects.get().run is None


def test_pages_may_ask_for_a_serial_port_and_for_nothing_else(technician, run):
    answer = technician.get(reverse("bench:run-weigh", args=[run.pk]))

    assert answer["Permissions-Policy"].startswith("serial=(self), camera=()")


def test_a_token_is_shown_once_and_listed_without_its_secret(client):
    factories.make_laboratory()
    client.force_login(factories.make_person(Role.QUALITY_MANAGER))
    owner = factories.technician()
    wanted = {
        "name": "gateway", "owner": owner.pk, "scopes": ["write bench readings"],
        "valid_days": "90",
    }  # fmt: skip

    made = client.post(reverse("settings:token-make"), wanted).content.decode()

    token = ApiToken.objects.get()
    secret = made.split(f"{token.public_id}.")[1].split('"')[0]
    assert len(secret) >= 40
    listed = client.get(reverse("settings:token-list")).content.decode()
    assert token.public_id in listed
    assert secret not in listed

    refused = client.post(reverse("settings:token-make"), {**wanted, "valid_days": "5000"})
    assert refused.status_code == 422
    client.post(reverse("settings:token-revoke", args=[token.pk]), {"reason": "Lost."})
    assert "revoked" in client.get(reverse("settings:token-list")).content.decode()


def test_the_list_of_what_waits_costs_no_more_for_many(technician, link, run):
    url = reverse("bench:balance-waiting", args=[link.bench.pk])
    send(technician, link, "1.1 g")
    few = counted(technician, url)
    for number in range(12):
        send(technician, link, f"{number}.5 g")

    assert counted(technician, url) == few


def test_the_named_field_is_of_the_bench_not_of_the_browser(technician, link, run):
    other = factories.make_person(Role.TECHNICIAN)
    field = Field(run, "fraction", 2)
    balance_readings.name_place(actor=other, bench=link.bench, field=field)

    send(technician, link)

    assert Weighing.objects.get().made_by == other


def counted(client, url):
    return count_queries(lambda: answered(client, url))


def answered(client, url):
    assert client.get(url).status_code == 200


def test_lists_of_lines_and_tokens_cost_the_same_however_long(client):
    link = factories.make_balance_link()
    person = factories.make_person(Role.QUALITY_MANAGER, Role.EQUIPMENT_KEEPER)
    client.force_login(person)
    urls = [at("balance-lines", link.balance.serial), reverse("settings:token-list")]

    def more(count):
        for number in range(count):
            factories.send_line(link, f"{number}.{count:02d} g", person)
            factories.make_token(person)

    more(2)
    few = [counted(client, url) for url in urls]
    more(15)

    assert [counted(client, url) for url in urls] == few

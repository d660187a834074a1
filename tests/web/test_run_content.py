"""What the page of a run shows and takes beside one mass a sieve."""

import html
import re
from decimal import Decimal
from uuid import uuid4

import pytest
from django.urls import reverse

from gradation.models import RunSieve, Shaking, Weighing
from gradation.queries.end_points import shaken_again
from tests import factories
from tests.counting import count_queries
from tests.services.run_steps import Slot, correct, open_run, record

PLAN = {
    "shaking_motion": "Vertical throw",
    "shaking_minutes": Decimal(10),
    "shaking_amplitude_mm": Decimal("1.5"),
    "shaking_frequency_hz": Decimal(50),
}


@pytest.fixture
def technician(client, db):
    person = factories.technician()
    client.force_login(person)
    return person


def page_of(client, run, **query):
    answer = client.get(reverse("bench:run-weigh", args=[run.pk]), query)
    assert answer.status_code == 200
    return html.unescape(answer.content.decode())


def fields(page):
    """List the reading fields of a page: slot, position, increment."""
    tags = re.findall(r"<input[^>]*data-reading[^>]*>", page)
    wanted = ("slot", "position", "increment", "key")
    found = [tuple(re.search(f'data-{name}="([^"]*)"', tag)[1] for name in wanted) for tag in tags]
    assert all(key for *_, key in found)
    return [place for *place, _ in found]


def post(client, name, args, **data):
    return client.post(reverse(f"bench:{name}", args=args), data)


def test_split_shows_its_masses_under_the_sieve_and_each_stage(client, technician):
    run = open_run(technician, splits=[4750])
    record(run, Slot.DRY_MASS, 1000)
    record(run, Slot.FRACTION, 400, 1)

    assert fields(page_of(client, run))[:2] == [
        ["passing at split", "1", "1"],
        ["reduced at split", "1", "1"],
    ]

    record(run, Slot.SPLIT_PASSING, "599.0", 1)
    record(run, Slot.SPLIT_REDUCED, 100, 1)
    page = page_of(client, run)

    assert "The reduced part below 4.75 mm" in page
    stages = page[page.index('id="stages"') :]
    # 1000 g shaken, 400 + 599 g found, 1 g missing: 0.10 %; the reduced part is not weighed yet.
    assert re.findall(r'<td class="num">([^<]*)</td>', stages)[:5] == [
        "1000", "999.0", "1.0", "0.10", "100",
    ]  # fmt: skip


def test_each_increment_is_corrected_at_its_own_address(client, technician):
    run = open_run(technician)
    record(run, Slot.FRACTION, "100.0", 1)
    record(run, Slot.FRACTION, "50.0", 1, increment=2)

    page = page_of(client, run)

    assert "2 increments, together 150.0 g" in page
    at = reverse("bench:reading-correct", args=[run.pk, "fraction", 1, 2])
    assert at in page
    answer = client.post(at, {"key": uuid4(), "text": "52.0", "reason": "digit"})
    assert answer.status_code == 302
    assert Weighing.objects.get(increment=2, revision=2).mass_as_entered == Decimal("52.0")


def test_another_increment_is_offered_as_a_row_and_as_a_page(client, technician):
    run = open_run(technician)
    record(run, Slot.FRACTION, "100.0", 1)
    at = reverse("bench:increment-add", args=[run.pk, "fraction", 1, 2])
    assert at in page_of(client, run)

    row = client.get(at, headers={"X-Asks-For": "row"}).content.decode()
    assert fields(row) == [["fraction", "1", "2"]]
    assert row.strip().startswith("<tr")

    client.post(at, {"key": uuid4(), "text": "50.0"})
    assert run.weighings.get(increment=2).mass_as_entered == Decimal("50.0")


def test_remedies_are_put_forward_before_a_sieve_is_overloaded(client, technician):
    run = open_run(technician, loading_rule="astm_c136")
    # ASTM C136: 7 kg/m2; 200 mm frame less 12.7 mm: 192.9 g, of which 155 g are 80.4 %.
    record(run, Slot.FRACTION, "154", 2)
    assert "of its load limit" not in page_of(client, run)

    correct(run, Slot.FRACTION, "155", 2, reason="digit")
    page = page_of(client, run)

    assert "80 % of its load limit" in page
    assert "Sieve it in several increments, put a relief sieve above it" in page
    assert f"{reverse('bench:split-add', args=[run.pk])}?position=1" in page


def test_split_is_made_and_taken_back_from_the_page(client, technician):
    run = open_run(technician)
    post(client, "split-add", [run.pk], position=1, reason="600 µm heaped")
    assert RunSieve.objects.get(run=run, position=1).is_split

    assert reverse("bench:split-remove", args=[run.pk, 1]) in page_of(client, run)
    post(client, "split-remove", [run.pk, 1], reason="little passes")
    assert not RunSieve.objects.get(run=run, position=1).is_split


def test_relief_sieve_is_scanned_in_and_stands_by_its_size(client, technician):
    run = open_run(technician)
    sieve = factories.make_sieve(3350)

    post(client, "relief-add", [run.pk], sieve=sieve.serial, reason="2.36 mm heaped")

    page = page_of(client, run)
    order = [place for slot, place, _ in fields(page) if slot == "fraction"]
    assert order == ["1", "5", "2", "3", "4"]
    assert "relief sieve" in page


def test_unknown_relief_sieve_is_named_beside_its_field(client, technician):
    answer = post(client, "relief-add", [open_run(technician).pk], sieve="S-none", reason="load")

    assert answer.status_code == 422
    assert "S-none" in answer.content.decode()


def test_one_confirmation_records_the_shaking_as_planned(client, technician):
    run = open_run(technician, **PLAN)
    page = page_of(client, run)
    assert 'data-minutes="10"' in page
    key = re.search(r'name="key" value="([^"]+)"', page)[1]

    post(client, "shaking-record", [run.pk], as_planned="yes", key=key, minutes="", began_at="")
    post(client, "shaking-record", [run.pk], as_planned="yes", key=key, minutes="", began_at="")

    kept = Shaking.objects.get()
    assert (kept.minutes, kept.amplitude_mm, kept.frequency_hz) == (10, Decimal("1.50"), 50)
    assert "as planned" in page_of(client, run)


def test_confirmation_takes_the_frequency_of_the_shaker_that_stands_there(client, technician):
    shaker = factories.make_instrument(
        "shaker", motion="Vertical throw", frequency_hz=Decimal("49.75")
    )
    run = open_run(technician, **PLAN, instruments=[shaker])
    page_of(client, run)

    post(client, "shaking-record", [run.pk], as_planned="yes", key=uuid4(), minutes="", began_at="")

    kept = Shaking.objects.get()
    assert (kept.shaker, kept.minutes, kept.frequency_hz) == (shaker, 10, Decimal("49.75"))


def test_refused_confirmation_shows_the_plan_without_filling_zeros(client, technician):
    run = open_run(technician, **PLAN)

    answer = post(
        client, "shaking-record", [run.pk], as_planned="yes", key=uuid4(), minutes="x", began_at=""
    )

    page = html.unescape(answer.content.decode())
    assert answer.status_code == 422
    assert re.search(r'name="amplitude_mm" value="1\.5"', page)
    assert re.search(r'name="frequency_hz" value="50"', page)


def test_hand_over_asks_for_minutes_only_while_no_shaking_is_recorded(client, technician):
    run = open_run(technician, **PLAN)
    assert 'name="shaking_minutes"' in page_of(client, run)

    post(client, "shaking-record", [run.pk], as_planned="yes", key=uuid4(), minutes="", began_at="")

    assert 'name="shaking_minutes"' not in page_of(client, run)


def test_shaking_that_differs_comes_back_with_its_figures_and_asks_why(client, technician):
    run = open_run(technician, **PLAN)

    answer = post(client, "shaking-record", [run.pk], as_planned="yes", key=uuid4(), minutes="7,5")

    assert answer.status_code == 422
    page = html.unescape(answer.content.decode())
    assert "Time shaken differs: 600 s and 450 s." in page
    assert 'value="7,5"' in page
    assert not Shaking.objects.exists()


def test_end_point_that_is_not_reached_asks_for_a_further_shaking(client, technician):
    run = open_run(
        technician,
        end_point_form="an extra minute by hand",
        end_point_limit_pct=Decimal("0.5"),
    )
    record(run, Slot.DRY_MASS, 1000)
    record(run, Slot.FRACTION, 400, 1)
    record(run, Slot.END_POINT, 6, 1)
    page = page_of(client, run)
    assert "still passing" in page
    assert "Record the further shaking" in page

    for _ in range(2):
        factories.make_shaking(run)
    at = reverse("bench:reading-again", args=[run.pk, "fraction", 1, 1])
    assert at in page_of(client, run)
    client.post(at, {"key": uuid4(), "text": "395"})

    weighed = run.weighings.get(slot=Slot.FRACTION, revision=2)
    assert (weighed.mass_g, weighed.reason) == (395, shaken_again(2))
    assert at not in page_of(client, run)


def test_washing_is_recorded_and_what_was_washed_out_has_its_row(client, technician):
    run = open_run(technician, wash=True, guard_aperture_um=Decimal(1180))
    guard = factories.make_sieve(1180)
    record(run, Slot.DRY_MASS, "512.4")
    record(run, Slot.WASHED_DRY_MASS, "480.1")

    post(
        client,
        "handling-record",
        [run.pk],
        guard_sieve=guard.serial,
        wash_agent="dispersing agent",
        soak_minutes="20",
    )

    page = page_of(client, run)
    assert "washed with dispersing agent; soaked 20 min." in page
    row = page[page.index("Washed out") :]
    assert re.search(r'id="wash-loss">\s*32\.3\s*<', row)
    assert re.search(r'id="wash-share">6\.3<', row)  # 32.3 g of 512.4 g


def test_live_answer_brings_every_row_that_changed(client, technician):
    run = open_run(technician, splits=[4750])
    record(run, Slot.DRY_MASS, 1000)
    record(run, Slot.FRACTION, 400, 1)
    data = {
        "slot": "passing at split",
        "position": 1,
        "increment": 1,
        "text": "600",
        "key": uuid4(),
        "since": 0,
    }

    parts = client.post(reverse("bench:reading-record", args=[run.pk]), data).json()["parts"]

    for name in ("cell-passing-at-split-1", "cell-fraction-1", "stages", "passing-fraction-2"):
        assert name in parts
    written = "".join(parts.values())
    assert 'data-slot="reduced at split"' not in written, "an open field is never replaced"


def test_review_shows_stages_increments_and_shakings(client, technician):
    run = open_run(technician, sizes=(4750, 600), splits=[4750], **PLAN)
    record(run, Slot.DRY_MASS, 1000)
    record(run, Slot.FRACTION, 300, 1)
    record(run, Slot.FRACTION, 100, 1, increment=2)
    record(run, Slot.SPLIT_PASSING, 600, 1)
    record(run, Slot.SPLIT_REDUCED, 100, 1)
    record(run, Slot.FRACTION, 60, 2)
    record(run, Slot.PAN, 40)
    factories.make_shaking(
        run, amplitude_mm=Decimal("1.5"), frequency_hz=Decimal(50), minutes=Decimal(10)
    )
    factories.bench.submit_run(actor=technician, run=run)
    client.force_login(factories.reviewer())

    page = html.unescape(client.get(reverse("review:run-review", args=[run.pk])).content.decode())

    for words in ("increment 2", "of it sieved on", "The reduced part below 4.75 mm", "as planned"):
        assert words in page
    assert "data-reading" not in page


def test_page_costs_no_more_queries_with_more_readings_and_shakings(client, technician):
    run = open_run(technician, splits=[4750], **PLAN)
    factories.make_shaking(
        run, amplitude_mm=Decimal("1.5"), frequency_hz=Decimal(50), minutes=Decimal(10)
    )
    record(run, Slot.DRY_MASS, 1000)
    record(run, Slot.FRACTION, 100, 1)
    factories.make_shaking(run, minutes=Decimal(1), note="end point")

    def queries():
        return count_queries(lambda: page_of(client, run))

    queries()
    few = queries()
    for increment in range(2, 6):
        record(run, Slot.FRACTION, 50, 1, increment=increment)
    record(run, Slot.SPLIT_PASSING, 600, 1)
    record(run, Slot.SPLIT_REDUCED, 100, 1)
    for minutes in range(2, 5):
        factories.make_shaking(run, minutes=Decimal(minutes), note="end point")

    assert queries() <= few

"""Equipment on its pages: cards, checks of each kind, files, rules, nests; refusals say where."""

import html
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from gradation.models import (
    Attachment,
    Check,
    Equipment,
    ImpactAssessment,
    Instrument,
    Nest,
    ReferenceLot,
    RunInstrument,
    Sieve,
)
from gradation.services import upkeep
from tests import factories

REFUSED = 422
PNG = b"\x89PNG\r\n\x1a\n" + b"\x00" * 40
SIEVE = {
    "serial": "NH-0042",
    "size": "iso_r20:4000.00",
    "standard": "ISO 3310-1",
    "edition": "iso_3310_1_2016",
    "grade": "compliance",
    "medium": "woven wire",
    "shape": "square",
    "frame_diameter_mm": "200",
    "check_interval_days": "180",
}


@pytest.fixture
def keeper(client, db):
    """Sign the equipment keeper in."""
    factories.make_laboratory()
    person = factories.keeper()
    client.force_login(person)
    return person


def send(client, name, data, *args):
    return client.post(reverse(f"equipment:{name}", args=args), data)


def errors_of(answer):
    assert answer.status_code == REFUSED
    return {name: " ".join(said) for name, said in answer.context["form"].errors.items()}


def text_of(answer):
    return html.unescape(answer.content.decode())


def size_of(client, designation):
    """Give the form's own value for a size, as the page offers it."""
    form = client.get(reverse("equipment:sieve-register")).context["form"]
    groups = form.fields["size"].choices[1:]
    return next(
        key for _, sizes in groups for key, words in sizes if words.split(" · ")[0] == designation
    )


@pytest.mark.parametrize(
    ("chosen", "aperture_um", "designation", "alternative"),
    [  # ISO 565 and ASTM E11: No. 4 is 4.75 mm, No. 200 is 75 µm; 5 mm has no number
        ("No. 4", "4750", "4.75 mm", "No. 4"),
        ("No. 200", "75", "75 µm", "No. 200"),
        ("5 mm", "5000", "5 mm", ""),
    ],
)
def test_a_sieve_is_registered_under_a_size_of_the_tables(
    client, keeper, chosen, aperture_um, designation, alternative
):
    send(client, "sieve-register", {**SIEVE, "size": size_of(client, chosen)})

    sieve = Sieve.objects.get(serial="NH-0042")
    assert (sieve.aperture_um, sieve.designation) == (Decimal(aperture_um), designation)
    assert (sieve.alternative, sieve.is_standard_size) == (alternative, True)


def test_a_free_aperture_is_taken_and_marked(client, keeper):
    send(client, "sieve-register", {**SIEVE, "size": "", "free_aperture": "3.7 mm"})

    shown = text_of(client.get(reverse("equipment:sieve-show", args=["NH-0042"])))
    assert Sieve.objects.get().is_standard_size is False
    assert "not a standard size" in shown


@pytest.mark.parametrize(
    ("size", "free"), [("", ""), ("both", "3.7 mm")], ids=["neither", "both at once"]
)
def test_one_size_is_asked_for(client, keeper, size, free):
    chosen = size_of(client, "5 mm") if size else ""

    answer = send(client, "sieve-register", {**SIEVE, "size": chosen, "free_aperture": free})

    assert errors_of(answer).keys() == {"size"}
    assert 'value="NH-0042"' in text_of(answer)


def test_a_serial_taken_already_and_an_aperture_nobody_knows_are_answered(client, keeper):
    typed = {**SIEVE, "size": size_of(client, "5 mm")}
    send(client, "sieve-register", typed)

    again = errors_of(send(client, "sieve-register", typed))
    strange = errors_of(
        send(client, "sieve-register", {**typed, "size": "", "free_aperture": "five-ish"})
    )

    assert "serial" in again or "__all__" in again
    assert "free_aperture" in strange


@pytest.mark.parametrize("serial", ["A/1", "A 1", "Ä#1?x", "..", "~2F", "A%2F1", "A~/1"])
def test_a_serial_of_any_signs_has_its_pages(client, keeper, serial):
    send(client, "sieve-register", {**SIEVE, "serial": serial, "size": size_of(client, "5 mm")})

    card = client.get(reverse("equipment:sieve-show", args=[serial]))
    listed = client.get(reverse("equipment:due-list"))
    scanned = client.get(reverse("web:find"), {"q": serial}, follow=True)

    assert card.context["item"].serial == serial
    assert listed.status_code == 200
    assert scanned.context["item"].serial == serial
    assert "/../" not in reverse("equipment:sieve-show", args=[serial])


def look(client, item, **wrong):
    """Send a visual check in which all points are in order but those named by number."""
    form = client.get(reverse("equipment:check-record", args=[item.serial, "visual"])).context[
        "form"
    ]
    points = dict.fromkeys(form.figure_names(), "yes")
    today = timezone.now().date().isoformat()
    return send(
        client, "check-record", {**points, "performed_on": today, **wrong}, item.serial, "visual"
    )


def test_a_look_with_one_point_amiss_takes_the_sieve_out_and_opens_an_assessment(client, keeper):
    sieve = factories.make_sieve()

    whole = look(client, sieve)
    stays = Sieve.objects.get().state
    look(client, sieve, point_0="no")

    assert whole.status_code == 302
    assert stays == Sieve.State.IN_SERVICE
    assert Sieve.objects.get().state == Sieve.State.OUT_OF_SERVICE
    assert ImpactAssessment.objects.get().equipment_id == sieve.pk
    assert "being looked into" in text_of(
        client.get(reverse("equipment:sieve-show", args=[sieve.serial]))
    )


def test_a_point_that_was_not_looked_at_is_asked_for(client, keeper):
    sieve = factories.make_sieve()

    errors = errors_of(look(client, sieve, point_2=""))

    assert errors.keys() == {"point_2"}
    assert not Check.objects.exists()


def measure(client, sieve, **typed):
    data = {"performed_on": timezone.now().date().isoformat(), **typed}
    return send(client, "check-record", data, sieve.serial, "aperture")


@pytest.fixture
def sieve_600(keeper):
    return factories.make_sieve(
        600, edition="astm_e11_17", check_interval_days=365, check_interval_uses=200
    )


def test_readings_with_comma_or_point_give_mean_and_verdict(client, sieve_600):
    measure(client, sieve_600, warp_um="598,0 602.0\n600", weft_um="601; 599; 603", note="Gauge 7")

    check = Check.objects.get()
    # Warp: (598 + 602 + 600) / 3 = 600; weft: (601 + 599 + 603) / 3 = 601. Both lie inside
    # 600 ± 21.1 µm (ASTM E11-17: Y = 600^0.98 / 27 + 1.6 = 21.1).
    assert check.findings["warp"]["mean_um"] == 600
    assert check.findings["weft"]["mean_um"] == 601
    assert check.passed
    assert check.next_due_on == timezone.now().date() + timedelta(days=365)
    shown = text_of(client.get(reverse("equipment:check-show", args=[sieve_600.serial, check.pk])))
    assert "Gauge 7" in shown
    assert check.sentence in shown


def test_a_mean_outside_its_limits_fails(client, sieve_600):
    measure(client, sieve_600, warp_um="640 641 642", weft_um="600 601 602")  # 600 + 21.1 < 641

    assert Check.objects.get().passed is False
    assert Sieve.objects.get().state == Sieve.State.OUT_OF_SERVICE


def test_readings_come_from_a_file_of_two_columns(client, sieve_600):
    file = SimpleUploadedFile("gauge.csv", b"warp;weft\r\n598;601\r\n602;599\r\n600;\r\n")

    measure(client, sieve_600, readings_file=file)

    readings = Check.objects.get().readings
    assert readings["warp_um"] == ["598", "602", "600"]
    assert readings["weft_um"] == ["601", "599"]


@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"warp_um": "598 60x", "weft_um": "600"}, "warp_um", "Reading 2"),
        ({"warp_um": "", "weft_um": "600"}, "warp_um", "at least one reading along the warp"),
        ({"warp_um": "598 1e3", "weft_um": "600"}, "warp_um", "Reading 2"),
        (
            {"readings_file": SimpleUploadedFile("g.csv", b"598;601;3\n")},
            "readings_file",
            "Line 1 of the file has 3 columns",
        ),
    ],
    ids=["no figure", "no warp", "exponent", "three columns"],
)
def test_readings_that_cannot_be_read_are_answered_beside_them(
    client, sieve_600, typed, field, said
):
    errors = errors_of(measure(client, sieve_600, **typed))

    assert said in errors[field]
    assert not Check.objects.exists()


def test_a_sieve_of_no_table_asks_for_limits_with_their_source(client, keeper):
    sieve = factories.make_sieve(3700, is_standard_size=False, medium="perforated plate")
    typed = {"warp_um": "3700 3702", "weft_um": "3699 3701"}

    page = text_of(client.get(reverse("equipment:check-record", args=[sieve.serial, "aperture"])))
    half = errors_of(measure(client, sieve, **typed, own_mean_um="40"))
    measure(
        client, sieve, **typed, own_mean_um="40", own_single_um="90", own_source="Plate drawing 12"
    )

    assert "no table kept here holds this sieve" in page
    assert half.keys() == {"own_single_um", "own_source"}
    assert Check.objects.get().passed


def test_a_reference_lot_is_registered_used_and_counted(client, keeper):
    sieve = factories.make_sieve(250, edition="astm_e11_17")
    lot = {
        "name": "Glass beads",
        "lot": "GB-7",
        "certificate": "GB-7/2",
        "certified": "300 µm; 88,0; 0,5\n250 µm; 60; 0.5\n212 µm; 30; 0.5",
        "most_uses": "3",
    }
    send(client, "lot-register", lot)
    kept = ReferenceLot.objects.get()
    today = timezone.now().date().isoformat()
    data = {"performed_on": today, "lot": kept.pk, "observed_passing_pct": "60,2", "u_pct": "0.4"}

    send(client, "check-record", data, sieve.serial, "reference")

    kept.refresh_from_db()
    assert [row["passing_pct"] for row in kept.certified] == ["88.0", "60", "30"]
    assert kept.use_count == 1
    assert Check.objects.get().found_aperture_um is not None


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ("250; 60; 0.5", "Line 1"),
        ("250 µm; 60", "Line 1 has 2 parts"),
        ("300 µm; 88; 0.5\n250 µm; sixty; 0.5", "Line 2"),
    ],
)
def test_a_certified_distribution_that_cannot_be_read_is_answered(client, keeper, lines, said):
    lot = {"name": "Glass beads", "lot": "GB-7", "certificate": "x", "certified": lines}

    errors = errors_of(send(client, "lot-register", lot))

    assert said in errors["certified"]


def test_check_weights_make_a_balance_fit_or_put_it_out(client, keeper):
    balance = factories.make_instrument("balance", capacity_g=6000, readability_g=Decimal("0.1"))
    today = timezone.now().date().isoformat()

    for rows in ("500 500,1 0.2\n2000 1999.9 0.5", "500 500.9 0.2"):
        send(
            client, "check-record", {"performed_on": today, "rows": rows}, balance.serial, "weights"
        )

    assert [check.passed for check in Check.objects.order_by("pk")] == [True, False]
    assert Instrument.objects.get().state == Equipment.State.OUT_OF_SERVICE


def test_only_checks_of_its_own_kind_are_offered(client, keeper):
    balance = factories.make_instrument("balance")

    answer = client.get(reverse("equipment:check-record", args=[balance.serial, "aperture"]))

    assert answer.status_code == 404


def test_a_kept_file_comes_back_as_it_was_and_never_runs_in_the_browser(client, keeper):
    sieve = factories.make_sieve()
    photo = SimpleUploadedFile("Väske <b>.png", PNG, content_type="text/html")

    send(client, "file-add", {"file": photo}, sieve.serial)
    kept = Attachment.objects.get()
    answer = client.get(reverse("equipment:file-show", args=[sieve.serial, kept.pk]))

    assert answer.content == PNG
    assert answer["Content-Disposition"].startswith("attachment;")
    assert answer["Content-Type"] == "application/octet-stream"
    assert answer["X-Content-Type-Options"] == "nosniff"


def test_a_file_of_another_item_is_not_found(client, keeper):
    sieve, other = factories.make_sieve(), factories.make_sieve()
    send(client, "file-add", {"file": SimpleUploadedFile("a.png", PNG)}, sieve.serial)

    answer = client.get(
        reverse("equipment:file-show", args=[other.serial, Attachment.objects.get().pk])
    )

    assert answer.status_code == 404


def test_a_file_refused_leaves_its_check_standing(client, keeper):
    sieve = factories.make_sieve()
    program = SimpleUploadedFile("a.exe", b"MZ\x00\x01\x02" * 20)

    look(client, sieve, file=program)
    look(client, sieve, file=SimpleUploadedFile("a.png", PNG))

    assert Check.objects.count() == 2
    assert Attachment.objects.get().check_made == Check.objects.order_by("-pk").first()


def test_a_rule_changes_with_a_reason_and_the_card_tells_both(client, keeper):
    sieve = factories.make_sieve(check_interval_days=365)

    without = errors_of(send(client, "rule-set", {"days": "180", "reason": ""}, sieve.serial))
    send(client, "rule-set", {"days": "180", "uses": "300", "reason": "Wears fast."}, sieve.serial)

    shown = text_of(client.get(reverse("equipment:sieve-show", args=[sieve.serial])))
    assert without.keys() == {"reason"}
    assert "365 → 180 days" in shown
    assert "Wears fast." in shown


def test_a_tare_is_kept_and_its_drift_told(client, keeper):
    sieve = factories.make_sieve()

    for tare in ("412,35", "412.05"):
        send(client, "tare-weigh", {"tare_g": tare}, sieve.serial)

    shown = text_of(client.get(reverse("equipment:sieve-show", args=[sieve.serial])))
    assert "\u22120.3 g since" in shown  # 412.05 - 412.35


def test_a_card_changes_with_a_reason(client, keeper):
    sieve = factories.make_sieve()
    typed = {
        "standard": "ISO 3310-1",
        "grade": "calibration",
        "place": "Cabinet 3",
        "reason": "New certificate.",
    }

    send(client, "item-change", typed, sieve.serial)

    sieve.refresh_from_db()
    assert (sieve.grade, sieve.place) == ("calibration", "Cabinet 3")


def test_r73_a_sieve_leaves_service_with_a_reason_and_comes_back_with_evidence(client, keeper):
    sieve = factories.make_sieve()

    without = errors_of(send(client, "item-take-out", {"reason": " "}, sieve.serial))
    send(client, "item-take-out", {"reason": "Dented frame."}, sieve.serial)
    shown = text_of(client.get(reverse("equipment:sieve-show", args=[sieve.serial])))
    send(client, "item-put-back", {"reason": "New frame, measured."}, sieve.serial)

    assert without.keys() == {"reason"}
    assert "Dented frame." in shown
    assert Sieve.objects.get().state == Sieve.State.IN_SERVICE


@pytest.mark.parametrize(
    ("kind", "figure", "value"),
    [("balance", "readability_g", "0,1"), ("shaker", "greatest_nest_g", "6000")],
)
def test_an_instrument_is_registered_with_the_figures_of_its_kind(
    client, keeper, kind, figure, value
):
    send(client, "instrument-register", {"serial": "I-1", figure: value}, kind)

    item = Instrument.objects.get()
    assert (item.kind, getattr(item, figure)) == (kind, Decimal(value.replace(",", ".")))


def test_a_nest_is_built_by_picking_and_by_scanning(client, keeper):
    version = factories.make_procedure()
    sieves = factories.make_sieves()
    address = f"{reverse('equipment:nest-build')}?procedure={version.pk}"
    picked = {f"size_{i}": sieve.serial for i, sieve in enumerate(sieves)}
    scanned = "\r\n".join(sieve.serial for sieve in sieves)

    client.post(address, {"name": "Picked", **picked})
    client.post(address, {"name": "Scanned", "scanned": scanned})

    wanted = [sieve.serial for sieve in sieves]
    for nest in Nest.objects.order_by("name"):
        places = nest.places.order_by("position")
        assert [place.sieve.serial for place in places] == wanted
    assert Nest.objects.count() == 2


def test_a_nest_says_at_a_glance_why_it_is_not_fit(client, keeper):
    nest = factories.make_nest(factories.make_procedure())
    sieve = nest.places.first().sieve
    page = reverse("equipment:nest-list")

    fit = text_of(client.get(page))
    upkeep.take_out_of_service(actor=keeper, item=sieve, reason="Torn.")
    unfit = text_of(client.get(page))

    assert "fit for use" in fit
    assert "not fit" not in fit
    assert "not fit" in unfit
    assert "Torn." in unfit


def test_a_nest_is_taken_apart_with_a_reason(client, keeper):
    nest = factories.make_nest(factories.make_procedure())

    send(client, "nest-retire", {"reason": "Two sieves are worn."}, nest.pk)

    assert Nest.objects.get().is_active is False


def test_a_run_is_opened_with_the_balance_and_shaker_chosen(client, keeper):
    client.force_login(factories.technician())
    portion = factories.make_portion()
    nest = factories.make_nest(portion.sample.procedure_version)
    balance = factories.make_instrument("balance", serial="B-1")
    shaker = factories.make_instrument("shaker", serial="H-1")

    client.post(
        reverse("bench:run-open", args=[portion.label]),
        {
            "bench": factories.make_bench().pk,
            "nest": nest.pk,
            "balance": balance.pk,
            "shaker": shaker.pk,
        },
    )

    used = RunInstrument.objects.values_list("instrument__serial", flat=True)
    assert sorted(used) == ["B-1", "H-1"]

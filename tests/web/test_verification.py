"""What somebody outside learns of a certificate, and of a file that is said to be one."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys

import pytest
import zxingcpp
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.urls import reverse
from PIL import Image

from gradation.documents.certificate import certificate_html, certificate_pdf
from gradation.documents.certificate_content import CertificateContent
from gradation.documents.pdf import EmbeddedFile, render_pdf
from gradation.documents.printing import pool
from gradation.models import AskTally
from gradation.services import asking, certify, signing_keys
from gradation.services.file_answers import Likeness, answer_on_file
from gradation.web.forms import verification
from tests import factories
from tests.documents.example_certificate import make_content
from tests.factories import PASSWORD
from tests.load.tampered_files import tampered

pytestmark = pytest.mark.django_db
SHORT = 60  # tamperings in the suite; tests/load/tampered_files.py does 2,000


@pytest.fixture
def signed(tmp_path, settings):
    """Return an issued certificate whose file is signed."""
    file = tmp_path / "signing_key.pem"
    signing_keys.make_key_once(file, factories.make_laboratory())
    settings.SIGNING_KEY_FILE = str(file)
    return factories.make_certificate()


def page_of(client, code):
    return client.get(reverse("verify:certificate-verify", args=[code]))


def sent(client, content, code=""):
    where = (
        reverse("verify:certificate-verify", args=[code])
        if code
        else reverse("verify:certificate-ask")
    )
    return client.post(where, {"file": SimpleUploadedFile("c.pdf", content)}).content.decode()


def test_anybody_learns_number_state_and_date_and_no_more(client, signed):
    page = page_of(client, signed.verification_code).content.decode()

    assert signed.number in page
    assert "Issued, and valid" in page
    for kept in (signed.sample.customer.name, signed.sample.material.name):
        assert kept not in page


def test_s10_codes_have_130_bits_or_more_and_unknown_ones_answer_alike(client, signed):
    signs = signed.verification_code.replace("-", "")
    assert len(signs) * 5 >= 128
    assert set(signs) <= set("0123456789ABCDEFGHJKMNPQRSTVWXYZ")

    wrong = [signed.verification_code[:-1] + "!", "x", "0" * 28, signed.number]
    answers = [page_of(client, code) for code in wrong]

    assert {answer.status_code for answer in answers} == {404}
    assert len({len(answer.content) for answer in answers}) == 1


def test_a_code_is_found_however_it_was_typed(client, signed):
    typed = signed.verification_code.replace("-", " ").lower().replace("0", "o").replace("1", "l")

    assert page_of(client, typed).status_code == 200


def test_s10_who_asks_too_often_waits(client, signed):
    for _ in range(asking.MOST_A_MINUTE):
        page_of(client, "x")

    answer = page_of(client, signed.verification_code)

    assert answer.status_code == 429
    assert 1 <= int(answer["Retry-After"]) <= 60
    assert "127.0.0.1" not in AskTally.objects.get().key


def test_s40_each_kind_of_alteration_is_told_apart(client, signed):
    issued, code = bytes(signed.pdf), signed.verification_code
    flipped = bytearray(issued)
    flipped[len(issued) // 3] ^= 1
    content = CertificateContent.from_json(json.dumps(signed.content))
    unsigned = certificate_pdf(content)
    other = bytes(factories.make_certificate().pdf)

    said = {
        "same": sent(client, issued, code),
        "flipped": sent(client, bytes(flipped), code),
        "added": sent(client, issued + b"\n% one more line", code),
        "cut": sent(client, issued[:-700], code),
        "unsigned": sent(client, unsigned, code),
        "other": sent(client, other, code),
        "nothing": sent(client, b"hello", code),
    }

    assert "authentic and the certificate is valid" in said["same"]
    assert (
        f"1 byte differs from the issued file, the first at {len(issued) // 3}" in said["flipped"]
    )
    assert "16 bytes were added" in said["added"]
    assert "something was added to it afterwards" in said["added"]
    assert "last 700 bytes" in said["cut"]
    assert "signature was removed" in said["unsigned"]
    assert "unaltered file of certificate" in said["other"]
    assert "another file" in said["nothing"]
    assert not [kind for kind, page in said.items() if kind != "same" and "is valid<" in page]


def test_an_altered_file_without_a_code_is_known_by_the_data_in_it(signed):
    issued = bytes(signed.pdf)

    answer = answer_on_file(issued + b"\n%")

    assert (answer.likeness, answer.standing.number) == (Likeness.APPENDED, signed.number)


def test_a_file_that_nobody_knows_is_unknown():
    assert answer_on_file(b"%PDF-1.7 nothing").likeness is Likeness.UNKNOWN


def test_a_superseded_or_withdrawn_file_is_authentic_but_not_to_be_relied_on(client, signed):
    certify.withdraw_certificate(
        actor=signed.issued_by, certificate=signed, reason="wrong sample", password=PASSWORD
    )

    said = sent(client, bytes(signed.pdf), signed.verification_code)

    assert "authentic, but do not rely on it: withdrawn" in said
    assert "wrong sample" in said


def test_g11_every_random_tampering_is_found(signed):
    issued, chance = bytes(signed.pdf), random.Random(29)

    for _ in range(SHORT):
        assert answer_on_file(tampered(issued, chance)).likeness is not Likeness.SAME


def test_too_large_a_file_is_refused_before_it_is_read(client, signed, monkeypatch):
    monkeypatch.setattr(verification, "LARGEST_FILE", 1000)

    assert "no certificate has" in sent(client, b"x" * 1001, signed.verification_code)


def test_the_code_to_scan_leads_to_the_page(client, signed, pdftoppm, tmp_path):
    file = tmp_path / "c.pdf"
    file.write_bytes(bytes(signed.pdf))
    subprocess.run([pdftoppm, "-r", "150", "-png", str(file), str(tmp_path / "page")], check=True)

    read = [
        found.text
        for page in sorted(tmp_path.glob("page*.png"))
        for found in zxingcpp.read_barcodes(Image.open(page))
    ]

    assert read == [f"http://localhost:8000/verify/{signed.verification_code}"]
    assert client.get(read[0].removeprefix("http://localhost:8000")).status_code == 200


# The reader computes again


def computed_again(tmp_path, pdf, capsys):
    file = tmp_path / "certificate.pdf"
    file.write_bytes(pdf)
    try:
        call_command("compute", "--certificate", str(file))
        code = 0
    except SystemExit as left:
        code = left.code
    out, err = capsys.readouterr()
    return code, out, err


def test_every_printed_figure_follows_from_the_masses_in_the_file(signed, tmp_path, capsys):
    code, out, err = computed_again(tmp_path, bytes(signed.pdf), capsys)

    assert (code, err) == (0, "")
    rows = sum(len(table["rows"]) for table in signed.content["results"])
    follow, of = out.split(": ")[1].split(" figures")[0].split(" of ")
    assert follow == of
    assert int(of) >= 4 * rows
    assert "as the data in the file print them" in out


def test_a_figure_that_does_not_follow_is_named(signed, tmp_path, capsys):
    content = json.loads(json.dumps(signed.content))
    row = content["results"][0]["rows"][1]
    row["passing_pct"] = str(int(float(row["passing_pct"])) + 1)
    forged = certificate_pdf(CertificateContent.from_json(json.dumps(content)))

    code, _, err = computed_again(tmp_path, forged, capsys)

    assert code == 1
    assert f"{row['designation']}, passing %: printed {row['passing_pct']}, computed" in err


def test_pages_that_say_something_else_than_the_data_are_found(signed, tmp_path, capsys):
    content = CertificateContent.from_json(json.dumps(signed.content))
    html = certificate_html(content).replace(signed.sample.number, "26-9999")
    data = EmbeddedFile("certificate.json", content.to_json(), "The content of this certificate")

    code, out, _ = computed_again(tmp_path, render_pdf(html, embedded=data), capsys)

    assert code == 1
    assert "differ from what the data print" in out


def test_a_file_without_masses_is_refused(tmp_path, capsys):
    code, out, err = computed_again(tmp_path, b"%PDF-1.7", capsys)

    assert (code, out) == (2, "")
    assert "carries no data" in err


def test_a_reader_needs_no_database(signed, tmp_path):
    """The command in a process whose database address leads nowhere."""
    file = tmp_path / "certificate.pdf"
    file.write_bytes(bytes(signed.pdf))
    environment = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "labsite.settings.test",
        "TEST_DATABASE_URL": "postgres://nobody@127.0.0.1:9/none",
    }

    done = subprocess.run(
        [sys.executable, "manage.py", "compute", "--certificate", str(file)],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 0, done.stderr
    assert "figures follow" in done.stdout


def test_p15_prints_of_one_content_have_one_digest_whatever_process_made_them():
    prints = {certificate_pdf(make_content()) for _ in range(20)}
    pool.close()  # and by another child
    prints |= {certificate_pdf(make_content()) for _ in range(5)}

    assert len(prints) == 1

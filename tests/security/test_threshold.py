"""What is turned away before anything is read of it, and small things that secrets depend on."""

import datetime
import json
import logging
import math
from io import BytesIO
from zipfile import ZipFile

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.x509.oid import NameOID
from django.core import signing
from django.http import HttpResponse
from django.test import RequestFactory
from django.urls import resolve, reverse
from gunicorn.config import Config
from gunicorn.http.errors import InvalidHeader
from gunicorn.http.parser import RequestParser
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation.generic_cms import validate_sig_integrity
from pypdf import PdfWriter

from gradation.documents.pdf_signature import KeyFault, key_from_pem, signed_pdf
from gradation.errors import Invalid
from gradation.models import User
from gradation.services.kept_files import kept_name
from gradation.services.secret_keeping import (
    ALPHABET,
    GROUP_LENGTH,
    GROUPS,
    easily_read,
    encrypted,
    fits,
    keyed_digest,
    opened,
)
from gradation.services.sheet_grid import MOST_PARTS, grid_of
from gradation.web.devices import keep_device
from gradation.web.told import told_path
from labsite.logs import JsonLines
from labsite.settings import base
from labsite.threshold import LARGEST_BODY, ThresholdMiddleware
from tests import factories
from tests.own_thread import in_own_thread

ASK = RequestFactory()


def answered(request):
    """Give the answer at the threshold; what passes is answered 204."""
    return ThresholdMiddleware(lambda _: HttpResponse(status=204))(request)


def test_s23_a_program_without_tls_is_refused_and_never_sent_on(settings):
    settings.SECURE_SSL_REDIRECT = True

    refused = answered(ASK.get("/api/v1/samples"))

    assert (refused.status_code, refused["Content-Type"]) == (403, "application/problem+json")
    assert "Location" not in refused
    assert answered(ASK.get("/api/v1/samples", secure=True)).status_code == 204
    assert answered(ASK.get("/intake/samples/")).status_code == 204  # Django sends people on


@pytest.mark.parametrize("method", ["TRACE", "TRACK", "CONNECT", "DEBUG"])
def test_methods_that_answer_what_was_sent_do_not_exist(method):
    refused = answered(ASK.generic(method, "/sign-in/", HTTP_COOKIE="secret=1"))

    assert refused.status_code == 501
    assert "secret" not in refused.text


def test_s35_a_body_beyond_every_limit_is_refused_before_it_is_read():
    class Unread(BytesIO):
        def read(self, *_):
            raise AssertionError("somebody read the body")

    for path in ("/sign-in/", "/verify/", "/api/v1/samples"):
        request = ASK.post(path)
        request.META |= {"CONTENT_LENGTH": str(LARGEST_BODY + 1), "wsgi.input": Unread()}
        assert answered(request).status_code == 413

    request.META["CONTENT_LENGTH"] = str(LARGEST_BODY)
    assert answered(request).status_code == 204


@pytest.mark.parametrize("path", ["/health/live", "/static/js/page.js", "/metrics"])
def test_s26_every_answer_has_the_policy_of_content_also_where_no_view_is_asked(client, path):
    answer = client.get(path)

    assert answer.status_code == 200
    assert "frame-ancestors 'none'" in answer["Content-Security-Policy"]
    assert "object-src 'none'" in answer["Content-Security-Policy"]
    assert answer["X-Content-Type-Options"] == "nosniff"


def test_the_icon_is_given_to_anybody_and_opens_no_session(client):
    answer = client.get("/favicon.ico")
    icon = client.get(answer["Location"])

    assert answer.status_code == 302
    assert (icon.status_code, icon["Content-Type"]) == (200, "image/svg+xml")
    assert b"".join(icon).startswith(b"<svg ")
    assert not answer.cookies
    assert client.post("/favicon.ico").status_code == 405


def test_s18_cookies_of_our_own_are_for_this_host_and_tls_alone(settings):
    settings.COOKIE_PREFIX = "__Host-"  # as labsite/settings/production.py has it
    request = ASK.post("/sign-in/", secure=True)

    kept = keep_device(request, HttpResponse(), User(username="ilka")).cookies

    (cookie,) = kept.values()
    # RFC 6265bis, 4.1.3.2: secure, the whole path, and no domain.
    assert cookie.key == "__Host-known_device"
    assert (cookie["secure"], cookie["path"], cookie["domain"]) == (True, "/", "")
    assert cookie["httponly"]


@pytest.mark.parametrize(
    "path", ["/sign-in/reset/Mg/c8x-0a1b2c3d/", "/equipment/feed/eJwz-1sX/due.ics"]
)
def test_s31_what_opens_something_stands_in_no_line_of_the_log(path):
    request = ASK.get(path)
    request.resolver_match = resolve(path)

    told = told_path(request)

    assert request.resolver_match.kwargs["token"] not in told
    assert told.startswith(path[:9])


def test_s19_codes_to_copy_by_hand_cannot_be_guessed():
    signs = easily_read().replace("-", "")

    # ASVS 5.0, 11.5.1: at least 128 bits.
    assert len(signs) * math.log2(len(set(ALPHABET))) >= 128
    assert len(signs) == GROUPS * GROUP_LENGTH
    assert set(signs) <= set(ALPHABET)
    assert easily_read() != easily_read()


@pytest.mark.parametrize(
    ("name", "media_type", "kept"),
    [
        ("page.html", "text/plain", "page.html.txt"),
        ("run.bat", "text/plain", "run.bat.txt"),
        ("a.pdf.exe", "application/pdf", "a.pdf.exe.pdf"),
        ("rim.JPG", "image/jpeg", "rim.JPG"),
        ("readings.csv", "text/plain", "readings.csv"),
        ("x" * 200 + ".svg", "image/png", "x" * 146 + ".svg.png"),
    ],
)
def test_s35_a_kept_file_ends_as_what_it_is(name, media_type, kept):
    assert kept_name(name, media_type) == kept


def test_s35_a_workbook_of_very_many_parts_is_refused():
    file = BytesIO()
    with ZipFile(file, "w") as parts:
        for number in range(MOST_PARTS + 1):
            parts.writestr(f"xl/{number}.xml", "")

    with pytest.raises(Invalid, match="too large unpacked"):
        grid_of(file.getvalue(), "many.xlsx")


def pem_of(key, year=2026):
    """Give a key with a certificate that it signed itself, which begins with a year."""
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Tarnholt laboratory")])
    at = datetime.datetime(year, 1, 1, tzinfo=datetime.UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(at)
        .not_valid_after(at.replace(year=2036))
        .sign(key, hashes.SHA256())
    )
    private = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    return private + certificate.public_bytes(serialization.Encoding.PEM)


def test_a_signing_key_of_less_than_112_bits_of_strength_is_refused():
    # NIST SP 800-57 part 1, table 2: RSA of 2048 bits has 112, curves of 256 have 128.
    with pytest.raises(KeyFault, match="1024 bits; 2048 are needed"):
        key_from_pem(pem_of(rsa.generate_private_key(65537, 1024)))
    with pytest.raises(KeyFault, match="224 bits; 256 are needed"):
        key_from_pem(pem_of(ec.generate_private_key(ec.SECP224R1())))
    assert key_from_pem(pem_of(ec.generate_private_key(ec.SECP256R1())))
    assert key_from_pem(pem_of(rsa.generate_private_key(65537, 2048)))


@pytest.mark.parametrize(
    ("make", "is_strong"),
    [
        # NIST SP 800-57 part 1, table 2: 128 bits of strength begin at RSA 3072 and curves of 256.
        (lambda: rsa.generate_private_key(65537, 2048), False),
        (lambda: rsa.generate_private_key(65537, 3072), True),
        (lambda: ec.generate_private_key(ec.SECP256R1()), True),
    ],
)
def test_a_certificate_from_2027_on_needs_a_key_of_128_bits_of_strength(make, is_strong):
    key = make()
    assert key_from_pem(pem_of(key, 2026)).is_strong is is_strong
    if is_strong:
        assert key_from_pem(pem_of(key, 2027))
    else:
        with pytest.raises(KeyFault, match="begins in 2027, and RSA keys need 3072 bits"):
            key_from_pem(pem_of(key, 2027))


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("bits", "year", "words"),
    [
        (2048, 2026, "weaker than 128 bits"),
        (3072, 2026, "RSA, 3072 bits, until 1 Jan 2036"),
        (2048, 2027, "RSA keys need 3072 bits"),
    ],
)
def test_the_page_of_the_installation_tells_of_a_weak_key(
    client, settings, tmp_path, bits, year, words
):
    file = tmp_path / "key.pem"
    file.write_bytes(pem_of(rsa.generate_private_key(65537, bits), year))
    settings.SIGNING_KEY_FILE = str(file)
    factories.make_laboratory()
    client.force_login(factories.quality_manager())

    page = client.get(reverse("settings:operations-show")).content.decode()

    assert words in page
    assert ("weaker" in page) is (words == "weaker than 128 bits")


def test_a_curve_is_strong_though_the_number_of_the_key_is_small():
    # One key in 256 begins with eight zeros; the strength is that of the curve (the same table).
    assert key_from_pem(pem_of(ec.derive_private_key(2**200, ec.SECP256R1())))


def test_s45_the_policy_stands_before_whatever_answers_by_itself():
    order = base.MIDDLEWARE

    for early in ("labsite.threshold.ThresholdMiddleware", "labsite.health.HealthMiddleware",
                  "whitenoise.middleware.WhiteNoiseMiddleware"):  # fmt: skip
        assert order.index("csp.middleware.CSPMiddleware") < order.index(early)


def test_s31_a_line_of_the_log_has_its_time_in_utc():
    record = logging.LogRecord("gradation", logging.INFO, "x.py", 1, "answered", None, None)
    record.created = 1_772_443_800.25  # 2 March 2026, 09:30 UTC, as docs/exchange.md has it too

    said = json.loads(JsonLines().format(record))

    assert said["at"] == "2026-03-02T09:30:00.250+00:00"


def test_s22_what_is_encrypted_and_altered_is_not_opened():
    kept = encrypted("a secret")
    place = len(kept) // 2
    altered = kept[:place] + ("A" if kept[place] != "A" else "B") + kept[place + 1 :]

    assert opened(kept) == "a secret"
    assert opened(altered) is None


def test_s23_what_is_signed_for_one_purpose_is_none_for_another():
    digest = keyed_digest("recovery", "aaaa-bbbb")
    cookie = signing.get_cookie_signer(salt="gradation.known-device").sign("1:Bench 1")

    assert fits("recovery", "aaaa-bbbb", digest)
    assert not fits("set-up", "aaaa-bbbb", digest)
    with pytest.raises(signing.BadSignature):
        signing.get_cookie_signer(salt="bench").unsign(cookie)
    with pytest.raises(signing.BadSignature):
        signing.loads(signing.dumps([1, "x"], salt="gradation.due-feed"), salt="another")


def test_two_lengths_of_one_message_are_refused():
    # RFC 9112, 6.3: a message with both may be an attempt to smuggle a request past the proxy.
    both = (
        b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n"
        b"0\r\n\r\nGET /smuggled HTTP/1.1\r\n\r\n"
    )

    with pytest.raises(InvalidHeader):
        next(RequestParser(Config(), iter([both]), ("127.0.0.1", 1)))


@pytest.mark.parametrize(
    ("key", "algorithm"),
    [
        (ec.generate_private_key(ec.SECP256R1()), "sha256_ecdsa"),
        (rsa.generate_private_key(65537, 3072), "rsassa_pss"),
    ],
)
def test_certificates_are_signed_by_sound_algorithms(key, algorithm):
    plain = BytesIO()
    writer = PdfWriter()
    writer.add_blank_page(200, 200)
    writer.write(plain)

    own = key_from_pem(pem_of(key))
    signed = in_own_thread(signed_pdf, plain.getvalue(), own, reason="issued")

    (signature,) = PdfFileReader(BytesIO(signed)).embedded_signatures
    assert signature.signer_info["signature_algorithm"]["algorithm"].native == algorithm
    assert signature.signer_info["digest_algorithm"]["algorithm"].native == "sha256"
    assert validate_sig_integrity(signature.signer_info, signature.signer_cert, "data",
                                  signature.compute_digest()) == (True, True)  # fmt: skip

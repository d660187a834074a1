"""TLS between the parts of an installation: each side shows who it is, and takes nobody else.

The ways of PostgreSQL to ask for certificates: its documentation, 19.9 and 32.19 (sslmode).
"""

import http.client
import shutil
import socket
import ssl
import tempfile
from pathlib import Path

import pytest
from django.db import OperationalError
from django.db.utils import ConnectionHandler

from labsite.bootstrap import postgres
from labsite.settings import environment
from tests import tables
from tests.deploy.authorities import Authority
from tests.deploy.test_environment_variables import good_environment as good_environment
from tests.load import served

ASKS_FOR_CERTIFICATES = """
local all all trust
hostssl all all 127.0.0.1/32 cert
"""


@pytest.fixture(scope="module")
def ours(tmp_path_factory):
    return Authority(tmp_path_factory.mktemp("ours"), "laboratory")


@pytest.fixture(scope="module")
def strange(tmp_path_factory):
    return Authority(tmp_path_factory.mktemp("strange"), "stranger")


@pytest.fixture(scope="module")
def port(ours):
    """Serve a database that is called by TLS only, and only with a certificate of ours."""
    if postgres.binaries() is None:
        pytest.skip("missing part: PostgreSQL")
    with tempfile.TemporaryDirectory(prefix="gradation-tls-") as folder:
        certificate, key = ours.give("db", address="localhost")
        hba = Path(folder, "hba.conf")
        hba.write_text(ASKS_FOR_CERTIFICATES)
        files = {"ssl_cert_file": certificate, "ssl_key_file": key, "ssl_ca_file": ours.file}
        account = postgres.server_account()
        told = [f"hba_file={hba}"]
        for name, file in files.items():
            copy = shutil.copy(file, folder)
            told.append(f"{name}={copy}")
        for each in (Path(folder), *Path(folder).iterdir()):
            if account:
                shutil.chown(each, account)
        free = served.free_port()
        told += ["ssl=on", "listen_addresses=127.0.0.1", f"port={free}"]
        with postgres.throwaway_cluster(more=tuple(told)):
            yield free


@pytest.fixture
def asked(monkeypatch, port, django_db_blocker):
    """Connect as the settings of an installation say, and ask how the connection is kept."""

    def ask(**options):
        query = "&".join(f"{name}={value}" for name, value in options.items())
        url = f"postgres://gradation@localhost:{port}/gradation?{query}"
        monkeypatch.setenv("DATABASE_URL", url)
        connection = ConnectionHandler({"default": environment.database()})["default"]
        with django_db_blocker.unblock():
            try:
                with connection.cursor() as cursor:
                    cursor.execute(
                        "SELECT ssl, version, client_dn FROM pg_stat_ssl"
                        " WHERE pid = pg_backend_pid()"
                    )
                    return cursor.fetchone()
            finally:
                connection.close()

    return ask


def test_the_database_is_reached_by_tls_and_both_sides_are_known(asked, ours):
    certificate, key = ours.give("gradation")

    is_tls, version, name = asked(
        sslmode="verify-full", sslrootcert=ours.file, sslcert=certificate,
        sslkey=key,
    )  # fmt: skip

    assert is_tls
    assert version in {"TLSv1.2", "TLSv1.3"}
    assert name == "/CN=gradation"


@pytest.mark.parametrize(
    ("case", "says"),
    [
        ("another authority", "certificate verify failed"),
        ("no certificate of its own", "certificate"),
        ("a certificate of somebody else", "certificate authentication failed"),
        ("no tls", "no encryption"),
    ],
)
def test_the_database_lets_in_and_is_believed_with_the_right_certificates_only(
    asked, ours, strange, case, says
):
    certificate, key = ours.give("gradation")
    options = {"sslmode": "verify-full", "sslrootcert": ours.file, "sslcert": certificate,
               "sslkey": key}  # fmt: skip
    if case == "another authority":
        options["sslrootcert"] = strange.file
    elif case == "no certificate of its own":
        nowhere = ours.folder / "nothing"
        options |= {"sslcert": nowhere, "sslkey": nowhere}
    elif case == "a certificate of somebody else":
        options["sslcert"], options["sslkey"] = ours.give("somebody")
    else:
        options = {"sslmode": "disable"}

    with pytest.raises(OperationalError, match=says):
        asked(**options)


@pytest.fixture(scope="module")
def site(tmp_path_factory, ours):
    """Serve an installation whose web server speaks TLS and asks callers for certificates."""
    home = tmp_path_factory.mktemp("served")
    certificate, key = ours.give("web", address="127.0.0.1")
    given = {
        **served.variables(f"sqlite:///{home / 'site.sqlite3'}", served.free_port(), 1),
        "GRADATION_TLS_CERTIFICATE_FILE": str(certificate),
        "GRADATION_TLS_KEY_FILE": str(key),
        "GRADATION_TLS_CALLERS_FILE": str(ours.file),
    }
    tables.put_at(given["DATABASE_URL"])
    with served.serving(given, home / "server.log", by=proxy(ours)) as serving:
        yield serving


def proxy(authority, *, trusting=None, least=None):
    """Give what a proxy calls with: a certificate of an authority, and whom it believes."""
    context = ssl.create_default_context(cafile=(trusting or authority).file)
    context.load_cert_chain(*authority.give("proxy"))
    if least is not None:
        context.set_ciphers("DEFAULT@SECLEVEL=0")  # it is the server that shall refuse
        context.minimum_version = context.maximum_version = least
    return context


def told_by(site, context):
    call = http.client.HTTPSConnection("127.0.0.1", site.port, timeout=20, context=context)
    try:
        call.request("GET", "/health/ready", headers=served.proxied())
        return call.getresponse().status
    finally:
        call.close()


def test_the_web_server_answers_a_proxy_that_it_knows(site, ours):
    assert told_by(site, proxy(ours)) == 200
    assert told_by(site, proxy(ours, least=ssl.TLSVersion.TLSv1_2)) == 200


def test_the_web_server_answers_nobody_without_a_certificate_of_its_authority(site, ours, strange):
    nobody = ssl.create_default_context(cafile=ours.file)

    for caller in (nobody, proxy(strange, trusting=ours)):
        with pytest.raises((ssl.SSLError, ConnectionError, http.client.RemoteDisconnected)):
            told_by(site, caller)


def test_a_proxy_that_trusts_another_authority_does_not_believe_the_web_server(site, ours, strange):
    with pytest.raises(ssl.SSLCertVerificationError):
        told_by(site, proxy(ours, trusting=strange))


@pytest.mark.filterwarnings("ignore:ssl.TLSVersion.TLSv1_1 is deprecated")
def test_the_web_server_speaks_no_old_tls_and_no_plain_http(site, ours):
    with pytest.raises(ssl.SSLError):
        told_by(site, proxy(ours, least=ssl.TLSVersion.TLSv1_1))
    with socket.create_connection(("127.0.0.1", site.port), timeout=20) as plain:
        plain.sendall(b"GET /health/ready HTTP/1.1\r\nHost: lab.example.org\r\n\r\n")
        assert not plain.recv(100).startswith(b"HTTP/1.1 200")


@pytest.mark.parametrize(
    ("given", "named"),
    [
        ({"CERTIFICATE": "here"}, "GRADATION_TLS_KEY_FILE is not set"),
        ({"KEY": "here"}, "GRADATION_TLS_CERTIFICATE_FILE is not set"),
        ({"CALLERS": "here"}, "GRADATION_TLS_CERTIFICATE_FILE is not set"),
        ({"CERTIFICATE": "gone", "KEY": "here"}, "GRADATION_TLS_CERTIFICATE_FILE names a file"),
    ],
)
def test_half_of_the_files_or_one_that_is_gone_stops_the_start(
    good_environment, tmp_path, given, named
):
    (tmp_path / "here").write_text("PEM")
    for name, file in given.items():
        good_environment.setenv(f"GRADATION_TLS_{name}_FILE", str(tmp_path / file))

    with pytest.raises(environment.CannotStart, match=named):
        environment.inner_tls()


def test_without_them_the_web_server_speaks_plain_http_to_its_proxy(good_environment):
    assert environment.inner_tls() is None

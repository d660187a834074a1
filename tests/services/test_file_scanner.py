"""Files are shown to a scanner before they are kept: a server that speaks as clamd does.

Its language (zINSTREAM, lengths of four bytes, `stream: OK`, `stream: NAME FOUND`, `... ERROR`) is
that of clamd's manual page, section COMMANDS.
"""

import socketserver
import threading
from uuid import uuid4

import pytest

from gradation.errors import Invalid, Unavailable
from gradation.models import Attachment, ReportForm, RunImport, Scan
from gradation.policy import Role
from gradation.services import attachments, file_scanner, report_forms, run_import, transcribing
from tests import factories
from tests.paper_runs import PICTURE, make_paper_run

BAD = b"a word that this scanner calls malicious"


class Scanner(socketserver.ThreadingTCPServer):
    """Answers each stream by what is in it, and keeps what it was shown."""

    allow_reuse_address = daemon_threads = True

    def __init__(self, says=None):
        super().__init__(("127.0.0.1", 0), _Stream)
        self.says, self.shown = says, []
        threading.Thread(target=self.serve_forever, daemon=True).start()


class _Stream(socketserver.StreamRequestHandler):
    def handle(self):
        assert self.rfile.read(10) == b"zINSTREAM\0"
        content = b""
        while length := int.from_bytes(self.rfile.read(4), "big"):
            content += self.rfile.read(length)
        self.server.shown.append(content)
        verdict = b"Trade-Test FOUND" if BAD in content else b"OK"
        said = self.server.says or b"stream: " + verdict
        self.wfile.write(said + b"\0")


@pytest.fixture
def scanner(settings):
    with Scanner() as server:
        settings.SCANNER = server.server_address
        yield server
        server.shutdown()


def keep_attachment(content):
    factories.make_laboratory()
    keeper = factories.make_person(Role.EQUIPMENT_KEEPER)
    return attachments.attach_file(
        actor=keeper, equipment=factories.make_sieve(250), name="sheet.txt", content=content
    )


def keep_scan(content):
    run = make_paper_run()
    scan = transcribing.ScanGiven("page.txt", content)
    return transcribing.add_scan(actor=run.technician, run=run, scan=scan)


def keep_table(content):
    clerk = factories.technician()
    table = factories.runs_table(f"T-1;2026-02-03;{content.decode()};500;50;150;200;100;")
    form = factories.make_sheet_form(clerk)
    return run_import.add_table(actor=clerk, form=form, file=table, name="runs.csv")


def keep_logo(content):
    factories.make_laboratory()
    # What stands after the last chunk of a PNG is no part of the picture.
    logo = PICTURE + content
    return report_forms.draw_up_form(
        actor=factories.quality_manager(), form=ReportForm(name=f"Form {uuid4().hex[:6]}"),
        logo=logo,
    )  # fmt: skip


WAYS = [keep_attachment, keep_scan, keep_table, keep_logo]


@pytest.mark.django_db
@pytest.mark.parametrize("keep", WAYS)
def test_every_file_that_is_kept_is_shown_to_the_scanner(scanner, keep):
    scanner.shown.clear()

    keep(b"harmless")

    assert b"harmless" in scanner.shown[-1]


@pytest.mark.django_db
@pytest.mark.parametrize("keep", WAYS)
def test_a_file_that_the_scanner_names_is_refused_and_not_kept(scanner, keep):
    with pytest.raises(Invalid, match="found Trade-Test in this file"):
        keep(BAD)

    kept = (Attachment.objects, Scan.objects.filter(name="page.txt"), RunImport.objects)
    assert not any(rows.exists() for rows in kept)
    assert not ReportForm.objects.exclude(logo=None).filter(logo_type__gt="").exists()


@pytest.mark.django_db
@pytest.mark.parametrize("keep", [keep_attachment, keep_table, keep_logo])
def test_while_the_scanner_does_not_answer_no_file_is_taken(settings, keep):
    with Scanner() as gone:
        settings.SCANNER = gone.server_address
        gone.shutdown()

    with pytest.raises(Unavailable, match="scanner does not answer"):
        keep(b"harmless")


@pytest.mark.parametrize("said", [b"INSTREAM size limit exceeded. ERROR", b"", b"stream: maybe"])
def test_an_answer_that_is_no_verdict_is_none(settings, said):
    with Scanner(said + b" ") as server:
        settings.SCANNER = server.server_address
        with pytest.raises(Unavailable):
            file_scanner.refuse_malicious(b"harmless")
        server.shutdown()


def test_a_large_file_goes_in_pieces_and_whole(scanner):
    content = bytes(range(256)) * 1_000

    file_scanner.refuse_malicious(content)

    assert scanner.shown == [content]


def test_a_scanner_may_be_a_socket_in_the_files(settings, tmp_path):
    class Near(Scanner):
        address_family = file_scanner.socket.AF_UNIX

        def __init__(self, place):
            socketserver.TCPServer.__init__(self, place, _Stream)
            self.says, self.shown = None, []
            threading.Thread(target=self.serve_forever, daemon=True).start()

    settings.SCANNER = str(tmp_path / "scanner.sock")
    with Near(settings.SCANNER) as server:
        with pytest.raises(Invalid, match="Trade-Test"):
            file_scanner.refuse_malicious(BAD)
        server.shutdown()


def test_without_a_scanner_files_pass(settings):
    assert settings.SCANNER is None

    file_scanner.refuse_malicious(BAD)

"""The printer fetches nothing, wherever a document may ask."""

import base64
import io
import os
import re
import signal
import struct
import subprocess
import sys
import threading
import zlib
from pathlib import Path

import pytest
from pypdf import PdfReader

from gradation.documents.pdf import (
    EmbeddedFile,
    NotBundled,
    NotPrinted,
    TooLargeToPrint,
    render_pdf,
)
from gradation.documents.printing import pool
from gradation.documents.printing.press import bundled_fonts
from tests.documents import reading

_PAGE = '<html lang="en"><body><p>x</p>'
_ADDRESSES = (
    "http://127.0.0.1:9/x.png",
    "https://example.invalid/x.png",
    "file:///etc/hostname",
    "FILE:///etc/hostname",
    "data:image/png;base64,iVBORw0KGgo=",
    "ftp://127.0.0.1/x",
    "/etc/hostname",
    "../../../etc/hostname",
    "//example.invalid/x.png",
    "https://documents.invalid/fonts/../css/document.css",
    "https://documents.invalid/fonts/none.woff",
)


@pytest.mark.parametrize("address", _ADDRESSES)
@pytest.mark.parametrize(
    "ask",
    [
        '<img src="{}">',
        '<link rel="stylesheet" href="{}">',
        '<style>@import "{}";</style>',
        '<p style="background-image: url({})">x</p>',
        '<svg width="9" height="9"><image href="{}" width="9" height="9"/></svg>',
        '<object data="{}" type="image/png"></object>',
    ],
)
def test_whatever_asks_for_anything_stops_the_printing(address, ask):
    with pytest.raises(NotBundled, match="bundled files only"):
        render_pdf('<html lang="en"><body>' + ask.format(address))


def test_an_attachment_link_carries_no_file_away():
    with pytest.raises(NotBundled):
        render_pdf('<link rel="attachment" href="file:///etc/hostname"><p>x</p>')


def test_a_drawing_that_cannot_be_drawn_stops_the_printing():
    broken = '<html lang="en"><body><svg viewBox="0 0 no numbers" width="9" height="9"></svg>'

    with pytest.raises(NotPrinted, match="printed whole"):
        render_pdf(broken)


def test_the_printer_works_again_after_a_refusal():
    with pytest.raises(NotBundled):
        render_pdf('<img src="file:///etc/hostname">')

    assert "still here" in reading.text(render_pdf('<html lang="en"><p>still here</p>'))


def test_the_bundle_holds_fonts_only():
    assert bundled_fonts()
    assert all(it.startswith("https://documents.invalid/fonts/") for it in bundled_fonts())
    assert all(data[:4] == b"\x00\x01\x00\x00" for data in bundled_fonts().values())


def test_bold_and_serial_faces_come_from_the_bundle():
    html = '<html lang="en"><p>a <b>b</b> <i>c</i> <span class="serial">S-0142</span></p>'

    fonts = reading.fonts(render_pdf(html))

    assert all(name.startswith(("Source-Sans-3", "Source-Code-Pro")) for name in fonts)
    assert all(fonts.values())


def test_an_embedded_file_comes_back_as_it_went_and_bears_no_clock():
    data = EmbeddedFile("data.json", '{"µ": "–"}', "Data")

    first, second = (render_pdf(_PAGE, embedded=data) for _ in range(2))

    assert reading.embedded(first, "data.json") == '{"µ": "–"}'
    assert first == second


def test_few_children_serve_all_threads_of_a_process():
    found = []
    threads = [threading.Thread(target=lambda: found.append(render_pdf(_PAGE))) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert len(set(found)) == 1
    assert len(found) == 6
    assert 1 <= len(pool.warm_children()) <= pool.MOST_CHILDREN


def _chunk(kind, data):
    """A chunk of a PNG file: length, kind, data, check (ISO/IEC 15948, 5.3)."""
    body = kind + data
    return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))


#: One grey pixel.
_DOT = b"".join(
    (
        b"\x89PNG\r\n\x1a\n",
        _chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)),
        _chunk(b"IDAT", zlib.compress(b"\0\0")),
        _chunk(b"IEND", b""),
    )
)


_LOGO = f"data:image/png;base64,{base64.b64encode(_DOT).decode()}"


def test_s36_a_picture_is_printed_only_as_a_raster():
    drawn = '<html lang="en"><img alt="logo" src="{}">'

    assert b"/Image" in render_pdf(drawn.format(_LOGO), pictures=[_LOGO])
    for kind, data in (
        ("image/svg+xml", b"<svg xmlns='http://www.w3.org/2000/svg'/>"),
        ("image/png", b"<svg xmlns='http://www.w3.org/2000/svg'/>"),
        ("application/postscript", b"%!PS-Adobe-3.0 EPSF-3.0"),
        ("image/jpeg", b"%!PS-Adobe-3.0 EPSF-3.0"),
    ):
        other = f"data:{kind};base64,{base64.b64encode(data).decode()}"
        with pytest.raises(NotBundled):
            render_pdf(drawn.format(other), pictures=[other])


def test_s36_a_picture_of_one_document_is_not_there_for_the_next():
    drawn = f'<html lang="en"><img alt="logo" src="{_LOGO}">'
    render_pdf(drawn, pictures=[_LOGO])

    with pytest.raises(NotBundled):
        render_pdf(drawn)


@pytest.fixture
def _short_of_time(monkeypatch):
    monkeypatch.setattr(pool, "WALL_SECONDS", 2)


@pytest.mark.usefixtures("_short_of_time")
@pytest.mark.parametrize("hostile", ["<table>" + "<tr><td>x<td>y" * 60_000, "<div>" * 30_000])
def test_s39_a_document_that_takes_too_long_is_refused_and_the_next_is_printed(hostile):
    with pytest.raises(TooLargeToPrint, match="fewer runs"):
        render_pdf(hostile)
    pool.close()

    with pytest.MonkeyPatch.context() as patience:
        patience.setattr(pool, "WALL_SECONDS", 30)
        assert "still here" in reading.text(render_pdf('<html lang="en"><p>still here</p>'))


def test_s39_a_document_of_too_many_bytes_is_refused_before_anybody_works_on_it():
    with pytest.raises(TooLargeToPrint):
        render_pdf("x" * (pool.MOST_ORDER_BYTES + 1))


def test_s39_a_document_of_too_many_pages_is_refused():
    page = '<p style="break-after: page">x</p>'

    with pytest.raises(TooLargeToPrint):
        render_pdf(page * 500)


def _limits_of(process):
    lines = Path(f"/proc/{process}/limits").read_text().splitlines()
    return {line[:26].strip(): line[26:].split()[:2] for line in lines}


def _processor_seconds_of(process):
    user, system = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()[11:13]
    return (int(user) + int(system)) / os.sysconf("SC_CLK_TCK")


def test_s39_f21_a_child_has_limits_of_memory_time_and_files():
    render_pdf(_PAGE)

    child = pool.warm_children()[0]
    limits = _limits_of(child)

    assert int(limits["Max address space"][0]) == 2**30
    assert int(limits["Max cpu time"][0]) <= _processor_seconds_of(child) + 21
    assert limits["Max file size"][0] == "0"


def test_f21_a_child_that_is_killed_is_replaced():
    render_pdf(_PAGE)
    for child in pool.warm_children():
        os.kill(child, signal.SIGKILL)

    for _ in range(len(pool.warm_children())):
        with pytest.raises(TooLargeToPrint):
            render_pdf(_PAGE)

    assert render_pdf(_PAGE).startswith(b"%PDF")


def test_s37_a_child_is_told_no_key_and_no_database(monkeypatch):
    pool.close()
    monkeypatch.setenv("GRADATION_SECRET_KEY", "not to be passed on")
    monkeypatch.setenv("DATABASE_URL", "postgres://secret@host/name")
    render_pdf(_PAGE)

    told = Path(f"/proc/{pool.warm_children()[-1]}/environ").read_text()

    assert "PATH=" in told
    assert "not to be passed on" not in told
    assert "secret@host" not in told
    pool.close()


@pytest.mark.parametrize(
    "act",
    [
        "import socket; socket.socket()",
        "import socket; socket.getaddrinfo('localhost', 80)",
        "import subprocess; subprocess.run(['true'])",
        "import os; os.system('true')",
        "open('/etc/hostname')",
        "open('/proc/self/environ')",
        "open('/tmp/left-behind', 'w')",
        "import pathlib; pathlib.Path('/etc/passwd').read_text()",
    ],
)
def test_s37_a_child_opens_no_socket_no_program_and_no_file_of_others(act):
    program = (
        "from gradation.documents.printing import child\n"
        "import sys\n"
        "child._shut_in()\n"
        f"try:\n    exec({act!r})\n"
        "except PermissionError as refusal:\n    print('refused:', refusal)\n"
        "else:\n    print('let through')\n"
    )

    said = subprocess.run([sys.executable, "-c", program], capture_output=True, check=True)

    assert said.stdout.startswith(b"refused: A printing process does not")


def test_p15_the_file_is_pdf_a_3_as_far_as_its_parts_tell():
    """ISO 19005-3: 6.1.3 identifier, 6.2.3 output intent, 6.6.4 metadata, 6.8 embedded files."""
    data = EmbeddedFile("data.json", "{}", "Data")
    reader = PdfReader(io.BytesIO(render_pdf(_PAGE, embedded=data)))
    root = reader.trailer["/Root"]

    metadata = root["/Metadata"].get_data().decode()
    assert re.search(r"pdfaid:part[=>\"]+3", metadata)
    assert re.search(r"pdfaid:conformance[=>\"]+U", metadata)
    assert root["/MarkInfo"]["/Marked"].value is True  # tagged: ISO 32000-1, 14.7.1
    assert "/StructTreeRoot" in root
    assert root["/OutputIntents"][0]["/S"] == "/GTS_PDFA1"
    assert {it.get_object()["/AFRelationship"] for it in root["/AF"]} == {"/Data"}
    assert len(reader.trailer["/ID"]) == 2
    assert not {"/JavaScript", "/OpenAction", "/AA"} & set(root)

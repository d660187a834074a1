"""The printer fetches nothing, wherever a document may ask."""

import threading

import pytest

from gradation.documents import pdf
from gradation.documents.pdf import EmbeddedFile, NotBundled, NotPrinted, bundled_files, render_pdf
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
    assert bundled_files()
    assert all(it.startswith("https://documents.invalid/fonts/") for it in bundled_files())
    assert all(data[:4] == b"\x00\x01\x00\x00" for data in bundled_files().values())


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


def test_one_press_serves_all_threads_of_a_process():
    found = []
    threads = [threading.Thread(target=lambda: found.append(render_pdf(_PAGE))) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert len(set(found)) == 1
    assert len(pdf._presses) == 1

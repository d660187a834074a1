"""Make the pictures of README.md again: `python -m tests.browser.pictures`.

Loads the demo laboratory into a database of its own, serves it, and looks at it in Chromium; the
certificate is drawn from its PDF. The pictures are small enough to live in the repository.
"""

from __future__ import annotations

import contextlib
import io
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from uuid import uuid4

FOLDER = Path(__file__).resolve().parents[2] / "static" / "pictures"
WIDTH_PX, HEIGHT_PX = 1280, 860
MOST_BYTES = 150_000
COLOURS = (128, 64, 32, 16)
PAPER_DPI = 110
READINGS_SHOWN = 8


@dataclass(frozen=True)
class Picture:
    """One screen of the README: its file, who looks, and at which address."""

    name: str
    person: str
    address: Callable[[], str]


def main() -> int:
    """Take every picture and say how large it is."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings.test")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"  # Playwright's loop runs in this thread
    import django

    django.setup()
    FOLDER.mkdir(exist_ok=True)
    with laboratory() as address:
        for name, image in (*screens(address), ("certificate", paper())):
            print(f"{name}.png  {keep(name, image):,} bytes")
    return 0


@contextlib.contextmanager
def laboratory() -> Iterator[str]:
    """Serve the demo laboratory from a database of its own; give its address."""
    from django.contrib.staticfiles.handlers import StaticFilesHandler
    from django.db import connections
    from django.test.testcases import LiveServerThread
    from django.test.utils import setup_test_environment, teardown_test_environment

    from gradation.management import demo_scenario

    setup_test_environment()
    connection = connections["default"]
    connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    demo_scenario.load_scenario()
    server = LiveServerThread("127.0.0.1", StaticFilesHandler)
    server.start()
    server.is_ready.wait()
    try:
        yield f"http://{server.host}:{server.port}"
    finally:
        server.terminate()
        connection.creation.destroy_test_db(connection.settings_dict["NAME"], verbosity=0)
        teardown_test_environment()


def screens(address: str) -> Iterator[tuple[str, bytes]]:
    """Look at each screen as the person whose work it is."""
    from playwright.sync_api import sync_playwright

    from labsite.bootstrap import suite, system

    program = next(filter(None, map(shutil.which, suite.BROWSERS)))
    sandbox = ["--no-sandbox"] if system.is_root() else []
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=program, args=sandbox)
        for picture in pictures():
            page = signed_in(chromium, address, picture.person)
            page.goto(picture.address())
            page.wait_for_load_state("networkidle")
            yield picture.name, page.screenshot()
            page.context.close()
        chromium.close()


def signed_in(chromium: Any, address: str, person: str) -> Any:
    """Open a page as one of the demo's people."""
    from gradation.management.demo_scenario.cast import PASSWORD

    size = {"width": WIDTH_PX, "height": HEIGHT_PX}
    page = chromium.new_context(base_url=address, viewport=size).new_page()
    page.goto("/sign-in/")
    page.get_by_label("Name").fill(person)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Sign out").wait_for()
    return page


def pictures() -> tuple[Picture, ...]:
    """List the screens, each with the thing of the scenario that shows it best."""
    from django.urls import reverse

    from gradation.models import Certificate, Run

    def of_run(name: str, state: str) -> str:
        return reverse(name, args=[_fullest(Run.objects.filter(state=state)).pk])

    def reported(name: str) -> str:
        amended = Certificate.objects.exclude(amends=None).filter(state="issued").first()
        assert amended is not None
        return reverse(name, args=[amended.sample.number])

    return (
        Picture("bench", "ilka", lambda: reverse("bench:run-weigh", args=[_half_weighed().pk])),
        Picture("sample", "ilka", lambda: reported("intake:sample-show")),
        Picture("review", "renna", lambda: of_run("review:run-review", "weighed")),
        Picture("history", "colm", lambda: reported("intake:sample-history")),
        Picture("sieves", "piet", lambda: reverse("equipment:sieve-list")),
    )


def _half_weighed() -> Any:
    """Open a second run of a portion on the same sieves and weigh most of it."""
    from gradation.models import Run
    from gradation.services import bench

    model = _fullest(Run.objects.filter(state="weighed"))
    setup = bench.Setup(
        bench=model.bench, sieves=[place.sieve for place in model.places.all()], nest=model.nest
    )
    run = bench.open_run(actor=model.technician, portion=model.portion, setup=setup)
    for weighed in model.weighings.filter(revision=1).order_by("pk")[:READINGS_SHOWN]:
        reading = bench.Reading(
            slot=weighed.slot,
            position=weighed.position,
            increment=weighed.increment,
            text=weighed.entered_text,
            tare_text="" if weighed.tare_g is None else str(weighed.tare_g),
            key=uuid4(),
        )
        bench.record_weighing(actor=model.technician, run=run, reading=reading)
    return run


def _fullest(runs: Any) -> Any:
    """Give the unsplit run with the most readings, of those with load rule and specification."""
    from django.db.models import Count

    compared = runs.filter(portion__sample__specification_version__isnull=False).exclude(
        procedure_version__loading_rule=""
    )
    compared = compared.exclude(places__is_split=True)
    return compared.annotate(readings=Count("weighings")).order_by("-readings", "pk")[0]


def paper() -> bytes:
    """Draw the first page of the newest certificate that is in force."""
    from gradation.models import Certificate

    newest = Certificate.objects.filter(state="issued", amends=None).order_by("-issued_at")[0]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "certificate.pdf"
        file.write_bytes(bytes(newest.pdf))
        page = ["pdftoppm", "-png", "-r", str(PAPER_DPI), "-singlefile"]
        subprocess.run([*page, str(file), str(file.with_suffix(""))], check=True)
        return file.with_suffix(".png").read_bytes()


def keep(name: str, image: bytes) -> int:
    """Keep a picture with as many colours as its size allows; give the size."""
    from PIL import Image

    file = FOLDER / f"{name}.png"
    drawn = Image.open(io.BytesIO(image)).convert("RGB")
    for colours in COLOURS:
        few = drawn.quantize(colours, dither=Image.Dither.NONE)
        few.save(file, optimize=True)
        if file.stat().st_size <= MOST_BYTES:
            break
    return file.stat().st_size


if __name__ == "__main__":
    sys.exit(main())

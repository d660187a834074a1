"""Certificate, screen, interface and `compute` report the same figures for the same run.

The run is the washed sample of the WAQTC field operating procedure for AASHTO T 27/T 11.
"""

import io
import json
import re

import pytest
from django.core.management import call_command
from django.urls import reverse
from pypdf import PdfReader

from gradation.models import Run
from tests import factories
from tests.published.examples import example
from tests.published.paths import through_the_laboratory, weighed

pytestmark = pytest.mark.django_db


@pytest.fixture
def certificate():
    """Issue the certificate of the published washed sample."""
    return through_the_laboratory(weighed(example("gradation", "washed_whole_sample").inputs))


@pytest.fixture
def run(certificate):
    """Give the run behind it."""
    return Run.objects.get(certificates=certificate)


@pytest.fixture
def printed(certificate):
    """Give the percentages passing that the certificate prints."""
    return [row["passing_pct"] for row in certificate.content["results"][0]["rows"]]


def test_paper_says_what_the_frozen_content_says(certificate, printed):
    text = PdfReader(io.BytesIO(bytes(certificate.pdf))).pages[0].extract_text()

    found = [figure for figure in re.findall(r"\d+\.\d", text) if figure in set(printed)]

    assert set(printed) <= set(found)


def test_interface_says_what_the_certificate_says(client, run, certificate, printed):
    client.force_login(factories.reviewer())

    answer = client.get(reverse("api:run", args=[run.pk])).json()
    issued = client.get(reverse("api:certificate", args=[certificate.number])).json()

    table = answer["results"][0]["values"]["table"]
    assert [row["passing_reported"] for row in table] == printed
    assert issued["content"] == certificate.content


def test_screen_says_what_the_certificate_says(client, run, printed):
    client.force_login(factories.reviewer())

    page = client.get(reverse("review:run-review", args=[run.pk])).content.decode()

    for figure in printed:
        assert re.search(rf">\s*{re.escape(figure)}\s*<", page), figure


def test_compute_and_stateless_interface_say_what_the_certificate_says(
    client, run, printed, tmp_path, capsys
):
    worksheet = run.results.get().inputs
    path = tmp_path / "sheet.json"
    path.write_text(json.dumps(worksheet), encoding="utf-8")
    client.force_login(factories.reviewer())

    call_command("compute", str(path))
    command = json.loads(capsys.readouterr().out)
    interface = client.post(
        reverse("api:gradations"), worksheet, content_type="application/json"
    ).json()

    assert [row["passing_reported"] for row in command["table"]] == printed
    assert interface == command == run.results.get().values

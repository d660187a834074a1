"""A run's page under a decision rule with uncertainty: whiskers, and 'not decidable' in words."""

import html
import json
import re

import pytest
from django.urls import reverse

from tests import factories

pytestmark = pytest.mark.django_db


def page_of(client, rule):
    """Weigh a run that passes 600 µm at 38 % (310 of 500 g above it), at least 38 %."""
    specification = factories.make_specification(((600, "38", "100"),), decision_rule=rule)
    actor = factories.technician()
    material = factories.make_material(specification=specification)
    run = factories.make_weighed_run(actor, factories.make_sample(actor, material))
    client.force_login(actor)
    answer = client.get(reverse("bench:run-weigh", args=[run.pk]))
    return run, html.unescape(answer.content.decode())


def bars_of(page):
    figure = json.loads(re.search(r'<script id="[^"]*figure"[^>]*>(.*?)</script>', page, re.S)[1])
    return [trace["error_y"]["array"] for trace in figure["data"] if trace.get("error_y")]


def test_value_too_near_its_limit_is_called_not_decidable_with_its_uncertainty(client):
    run, page = page_of(client, "guard_band")

    budget = run.results.get().values["uncertainty"]["rows"]
    u_pct = next(row["U_pct"] for row in budget if row["aperture_um"] == 600)
    assert "not decidable" in page
    stated = re.search(r">38<.*?± (0\.\d)<", page, re.S)[1]  # one place beyond whole percent
    assert u_pct <= float(stated) < u_pct + 0.1  # rounded up
    assert bars_of(page)


def test_plain_acceptance_shows_no_uncertainty(client):
    _, page = page_of(client, "plain_acceptance")

    assert "not decidable" not in page
    assert "±" not in page
    assert not bars_of(page)

"""Whoever changes a thing says which state of it is meant: asked of every act of the contract."""

import json
import re

import pytest

from gradation.api import urls
from gradation.api.documentation import contract
from tests.api import fuzzing

pytestmark = pytest.mark.django_db

#: Acts that only add to a thing, or say what holds whatever its state is: no state is named.
ADDS_ONLY = {
    "draft-opinions-POST": "adds an opinion",
    "draft-omissions-POST": "adds an omission",
    "sample-external-results-POST": "adds a result",
    "sample-sampling-POST": "adds the record of the sampling",
    "run-scans-POST": "adds a page of the paper",
    "run-trail-POST": "says itself up to which entry it saw",
    "impact-decide-POST": "adds a decision",
    "tares-POST": "adds a tare",
    "sample-holds-POST": "adds a hold",
    "import-look-POST": "changes nothing",
    "import-stop-POST": "means whatever is under way",
    "certificate-send-POST": "sends what is issued; it cannot change",
    "bench-field-POST": "names the field that waits now",
    "portion-as-received-POST": "adds a declaration",
    "dry-mass-take-POST": "takes what was weighed",
}
NAMED = re.compile(r"\{(\w+)\}")


def acts_upon_things():
    for pattern in urls.urlpatterns:
        view = getattr(pattern.callback, "view_class", None)
        for method, act in getattr(view, "does", {}).items():
            if act.thing is not None:
                yield f"{pattern.name}-{method}", act


def matched_operations():
    """Give address and method of every operation whose contract asks for If-Match."""
    for address, methods in contract()["paths"].items():
        for method, told in methods.items():
            headers = [
                each["name"] for each in told.get("parameters", ()) if each["in"] == "header"
            ]
            if "If-Match" in headers:
                yield address, method


def address_of(template, laboratory):
    """Fill an address with a key of a thing that exists, or one that does not."""
    area = template.split("/")[3]

    def key(found):
        known = laboratory.named.get(f"{area}.{found[1]}")
        return str(known[0] if known else 1)

    return NAMED.sub(key, template)


def test_what_changes_a_thing_names_its_state_or_has_a_reason():
    unmatched = {name for name, act in acts_upon_things() if not act.matched}

    assert unmatched == set(ADDS_ONLY)


def test_every_put_and_patch_asks_for_the_state():
    paths = contract()["paths"]
    changes = {
        (address, method)
        for address, methods in paths.items()
        for method in methods
        if method in {"put", "patch", "delete"}
    }

    assert changes <= set(matched_operations())


def test_change_without_state_is_428_and_of_a_former_state_412(client):
    laboratory = fuzzing.make_laboratory()
    unnamed, moved = {}, {}

    for template, method in matched_operations():
        address = address_of(template, laboratory)
        headers = {"Authorization": laboratory.bearer, "Idempotency-Key": f"{method} {address}"}
        send = {"data": json.dumps({}), "content_type": "application/json"}
        call = getattr(client, method)
        unnamed[template, method] = call(address, headers=headers, **send).status_code
        old = {**headers, "If-Match": '"former"'}
        moved[template, method] = call(address, headers=old, **send).status_code

    assert len(unnamed) > 60
    assert set(unnamed.values()) == {428}, {k: v for k, v in unnamed.items() if v != 428}
    # What is not there cannot have moved; nothing else is done, whatever the body says.
    assert set(moved.values()) <= {412, 404}, {
        k: v for k, v in moved.items() if v not in {412, 404}
    }
    assert sum(code == 412 for code in moved.values()) > 40

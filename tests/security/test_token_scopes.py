"""A token opens what its scopes name and nothing else: asked of every address and method."""

from uuid import uuid4

import pytest
from django.test import Client

from gradation.models import Scope
from gradation.policy import Role
from tests import factories
from tests.security.test_interface_matrix import address_of, methods_of, routes
from tests.security.test_interface_matrix import named as named
from tests.web.things import things as things

pytestmark = pytest.mark.django_db

#: Where the act is another than looking (GET) or changing, as the reference of the interface says.
REVIEWS = {
    *("runs-accept", "run-accept", "run-return", "run-invalidate"),
    *("run-set-aside", "run-count", "run-trail", "run-comparisons"),
}
COMPUTES_ONLY = {"gradations"}
#: A certificate is signed by a person with a password, whatever the token is good for.
SIGNS = {"issue", "withdraw"}


def scope_for(name, area, method):
    """Name the scope that a request needs, by the words of the page on which tokens are made."""
    if method == "get" or name in COMPUTES_ONLY:
        return f"read {area}"
    return "review runs" if name in REVIEWS else f"write {area}"


def requests(things):
    """Give each address and method with the scope it needs."""
    for route, text, _ in routes():
        for method in methods_of(route.callback.cls):
            scope = scope_for(route.name, route.callback.cls.area, method)
            yield method, address_of(text, things), scope


@pytest.fixture
def owner(named):
    """Somebody who may everything, so that the token alone can stand in the way."""
    return factories.make_person(*(role for role in Role if role is not Role.CUSTOMER))


@pytest.fixture(autouse=True)
def _no_limit(settings):
    settings.INTERFACE_CALLS_PER_MINUTE = 1_000_000


def callers(owner, scopes_of):
    """Give for each scope a system with a token, made when it is asked for."""
    made = {}

    def caller(scope):
        if scope not in made:
            token = factories.make_token(owner, scopes=scopes_of(scope))
            made[scope] = Client(headers={"Authorization": f"Bearer {token.text}"})
        return made[scope]

    return caller


def sent(client, method, address):
    """Look, or ask for a change of a state that there is not, under a key of its own."""
    headers = {"Idempotency-Key": str(uuid4()), "If-Match": '"no such state"'}
    if method == "get":
        return client.get(address)
    return getattr(client, method)(address, {}, content_type="application/json", headers=headers)


def said(answer):
    """Give the status and, of a problem, its type."""
    is_problem = answer.headers.get("Content-Type") == "application/problem+json"
    kind = answer.json()["type"].rpartition(":")[2] if is_problem else ""
    return answer.status_code, kind


def test_s23_every_request_is_of_a_scope_that_tokens_can_have(named):
    needed = {scope for _, _, scope in requests(named)}

    assert needed - set(Scope) == set()
    assert {scope.value for scope in Scope} - needed == set(), "a scope that opens nothing"


def test_s23_token_with_every_scope_but_the_needed_one_is_403(named, owner):
    caller = callers(owner, lambda scope: [each for each in Scope if each != scope])

    let_in = {
        (method, address): said(sent(caller(scope), method, address))
        for method, address, scope in requests(named)
    }

    assert len(let_in) > 200
    assert set(let_in.values()) == {(403, "scope-missing")}, {
        key: told for key, told in let_in.items() if told != (403, "scope-missing")
    }


def test_s23_token_with_the_needed_scope_alone_is_not_kept_out(named, owner):
    caller = callers(owner, lambda scope: [scope])

    told = {
        (method, address): said(sent(caller(scope), method, address))
        for method, address, scope in requests(named)
    }

    kept_out = {key: answer for key, answer in told.items() if answer[0] in {401, 403}}
    assert {address.rpartition("/")[2] for _, address in kept_out} == SIGNS
    assert set(kept_out.values()) == {(403, "signing-needs-a-person")}
    assert all(status < 500 for status, _ in told.values())

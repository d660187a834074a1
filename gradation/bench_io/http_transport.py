"""The gateway's way to the server: one POST, the token in its header, nothing followed."""

from __future__ import annotations

import json
import ssl
import urllib.error
import urllib.request
from collections.abc import Callable
from email.message import Message
from http.client import HTTPException
from typing import IO, Any
from urllib.parse import quote

from gradation.bench_io.sender import Answer, Unreachable

__all__ = ["http_transport"]

_PATIENCE_S = 15.0
_LONGEST_ANSWER = 1_000_000
_LONGEST_WAIT_S = 300.0


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """Follows no redirect: the token is for one server and for no other."""

    def redirect_request(
        self,
        req: urllib.request.Request,
        fp: IO[bytes],
        code: int,
        msg: str,
        headers: Message,
        newurl: str,
    ) -> None:
        """Refuse."""


def http_transport(
    server: str, token: str, ca_file: str = ""
) -> Callable[[str, list[dict[str, str]]], Answer]:
    """Give what posts readings to the server; `ca_file` names the laboratory's own authority."""
    trust = ssl.create_default_context(cafile=ca_file or None)
    # A laboratory's server is in its own network: no proxy of the environment stands between.
    opener = urllib.request.build_opener(
        urllib.request.ProxyHandler({}), urllib.request.HTTPSHandler(context=trust), _NoRedirect
    )

    def post(bench: str, readings: list[dict[str, str]]) -> Answer:
        request = urllib.request.Request(  # noqa: S310 - the address was checked: https or loopback
            f"{server}/api/v1/benches/{quote(bench, safe='')}/readings",
            data=json.dumps(readings).encode(),
            headers={
                "Authorization": f"Bearer {token}",
                "Content-Type": "application/json",
                "Accept": "application/json",
            },
            method="POST",
        )
        return _answer(opener, request)

    return post


def _answer(opener: urllib.request.OpenerDirector, request: urllib.request.Request) -> Answer:
    try:
        with opener.open(request, timeout=_PATIENCE_S) as response:
            return _read(response.status, response.headers, response)
    except urllib.error.HTTPError as refusal:
        with refusal:
            return _read(refusal.code, refusal.headers, refusal)
    except (OSError, HTTPException) as error:  # URLError is an OSError
        raise Unreachable(str(error)) from error


def _read(status: int, headers: Message, body: IO[bytes]) -> Answer:
    text = body.read(_LONGEST_ANSWER)
    try:
        parsed: Any = json.loads(text) if text else None
    except ValueError:
        parsed = None
    return Answer(status, parsed, _wait_s(str(headers.get("Retry-After", ""))))


def _wait_s(text: str) -> float | None:
    return min(float(text), _LONGEST_WAIT_S) if text.isascii() and text.isdigit() else None

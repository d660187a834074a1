"""A person at a browser, as far as the server can tell: signs in, keeps cookies, sends forms."""

from __future__ import annotations

import http.client
from dataclasses import dataclass, field
from http.cookies import SimpleCookie
from urllib.parse import urlencode
from uuid import UUID

from tests.load.served import HOST, proxied

PATIENCE_S = 30


class Lost(Exception):
    """No answer came: the network or the server went away."""


@dataclass(frozen=True)
class Answer:
    """What the server said."""

    status: int
    text: str

    @property
    def is_kept(self) -> bool:
        """Say whether the server acknowledged what was sent."""
        return self.status in {http.client.OK, http.client.CREATED, http.client.NO_CONTENT}

    @property
    def is_worth_repeating(self) -> bool:
        """Say whether the same request may fare better later."""
        return self.status >= 500 or self.status == http.client.TOO_MANY_REQUESTS


@dataclass(frozen=True)
class Sent:
    """One reading as a browser sends it."""

    run: int
    slot: str
    position: int
    text: str
    key: UUID


@dataclass
class Person:
    """A signed-in browser."""

    port: int
    username: str
    password: str
    cookies: dict[str, str] = field(default_factory=dict)

    def sign_in(self) -> None:
        """Sign in, or say that it failed."""
        self.ask("GET", "/sign-in/")
        given = {"username": self.username, "password": self.password}
        answer = self.ask("POST", "/sign-in/", given)
        if answer.status != http.client.FOUND:
            msg = f"{self.username} could not sign in: {answer.status} {answer.text[:300]}"
            raise RuntimeError(msg)

    def send(self, sent: Sent) -> Answer:
        """Send one reading."""
        values = {
            "slot": sent.slot, "position": sent.position, "text": sent.text,
            "key": str(sent.key), "increment": 1,
        }  # fmt: skip
        return self.ask("POST", f"/bench/runs/{sent.run}/readings/", values)

    def send_and_lose(self, sent: Sent) -> None:
        """Send one reading and go away before the answer comes."""
        try:
            connection = self._asked("POST", f"/bench/runs/{sent.run}/readings/", _form(sent))
            connection.close()
        except OSError as error:
            raise Lost(str(error)) from error

    def ask(self, method: str, path: str, values: dict[str, object] | None = None) -> Answer:
        """Ask and read the answer; `Lost` when there is none."""
        try:
            connection = self._asked(method, path, values)
            answer = connection.getresponse()
            text = answer.read().decode(errors="replace")
            self._keep(answer.headers.get_all("Set-Cookie") or [])
            connection.close()
        except (OSError, http.client.HTTPException) as error:
            raise Lost(str(error)) from error
        return Answer(answer.status, text)

    def _asked(
        self, method: str, path: str, values: dict[str, object] | None
    ) -> http.client.HTTPConnection:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        headers = {**proxied(), "Origin": f"https://{HOST}", "Referer": f"https://{HOST}/"}
        headers["Cookie"] = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        if values is not None:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
            token = next((v for name, v in self.cookies.items() if "csrf" in name.lower()), "")
            headers["X-CSRFToken"] = token
            headers["HX-Request"] = "true" if "readings" in path else "false"
        connection.request(method, path, urlencode(values) if values else None, headers)
        return connection

    def _keep(self, set_cookies: list[str]) -> None:
        for line in set_cookies:
            for name, morsel in SimpleCookie(line).items():
                self.cookies[name] = morsel.value


def _form(sent: Sent) -> dict[str, object]:
    return {
        "slot": sent.slot,
        "position": sent.position,
        "text": sent.text,
        "key": str(sent.key),
        "increment": 1,
    }

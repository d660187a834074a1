"""A client of Gradation's interface in one file; Python's standard library and nothing else.

    client = Client("https://lab.example.org", token="<public part>.<secret>")
    sample = client.log_sample(customer="...", material="...", condition="dry, bag sealed")
    run = client.send_run(sample["number"], Sieving(...))
    certificate = client.wait_for_certificate(sample["number"])
    pdf = client.file_of(certificate)

Every POST carries an Idempotency-Key, so an answer that was lost is asked for again without harm.
"""

from __future__ import annotations

import hashlib
import json
import time
import urllib.error
import urllib.parse
import urllib.request
import uuid
from dataclasses import dataclass, field
from typing import Any

Words = dict[str, Any]

_TRIES = 5
_AGAIN_AT = {429, 500, 502, 503, 504}


class Problem(Exception):
    """The laboratory's system said no; `body` is its problem document (RFC 9457)."""

    def __init__(self, status: int, body: Words) -> None:
        super().__init__(f"{status}: {body.get('detail', 'no words')}")
        self.status, self.body = status, body


class DigestDiffers(Exception):
    """The file is not the one that was issued."""


@dataclass(frozen=True)
class Sieving:
    """One sieving: its sieves from the top down, and what was weighed, as the balance showed it."""

    bench: str
    sieves: list[str]
    dry_mass_g: str
    fractions_g: list[str]
    pan_g: str
    divided_how: str = "riffle divider, 3 passes"
    reasons: dict[str, str] = field(default_factory=dict)
    answer_to_checks: str = ""
    shaking_minutes: str | None = None


class Client:
    """Speaks with one installation, acting for the owner of its token."""

    def __init__(self, address: str, token: str, timeout_s: float = 30.0) -> None:
        self.address, self._token, self.timeout_s = address.rstrip("/"), token, timeout_s

    def log_sample(self, **told: Any) -> Words:
        """Log a sample; give it with its number."""
        return self.post("samples", told)

    def send_run(self, sample: str, sieving: Sieving) -> Words:
        """Prepare a portion, open a run, send its readings and hand it over for review."""
        portion = self._portion(sample, sieving)
        run = self.post(
            "runs",
            {
                "portion": portion,
                "bench": sieving.bench,
                "sieves": sieving.sieves,
                "reasons": sieving.reasons,
            },
        )
        for reading in _readings(sieving):
            self.post(f"runs/{run['id']}/weighings", {**reading, "key": str(uuid.uuid4())})
        self._answer_checks(int(run["id"]), sieving.answer_to_checks)
        told = {"shaking_minutes": sieving.shaking_minutes}
        return self.post(f"runs/{run['id']}/submit", told, if_match="*")

    def _answer_checks(self, run: int, reason: str) -> None:
        """Give the one reason for all that the checks ask about; without one, they stay open."""
        for finding in self.get(f"runs/{run}/findings")["findings"] if reason else ():
            if finding["is_open"]:
                self.post(f"runs/{run}/findings", {"key": finding["key"], "reason": reason})

    def _portion(self, sample: str, sieving: Sieving) -> str:
        divided = {"sample": sample, "way": "another way", "words": sieving.divided_how}
        [portion] = self.post("portions", divided)
        return str(portion["label"])

    def wait_for_certificate(self, sample: str, every_s: float = 30.0, most_s: float = 0) -> Words:
        """Ask again and again until a certificate of the sample is issued; give it."""
        until = time.monotonic() + most_s
        asked = urllib.parse.urlencode({"sample": sample, "state": "issued"})
        while True:
            found = self.get(f"certificates?{asked}")["results"]
            if found:
                return self.get(f"certificates/{found[0]['number']}")
            if most_s and time.monotonic() > until:
                raise TimeoutError(f"No certificate of {sample} was issued in {most_s} s.")
            time.sleep(every_s)

    def file_of(self, certificate: Words) -> bytes:
        """Fetch the file of a certificate; refuses one whose digest is not the one issued."""
        _, data = self._ask("GET", f"certificates/{certificate['number']}/pdf")
        if hashlib.sha256(data).hexdigest() != certificate["pdf_sha256"]:
            raise DigestDiffers(certificate["number"])
        return data

    def get(self, path: str) -> Words:
        """Ask for something."""
        return json.loads(self._ask("GET", path)[1])

    def post(self, path: str, told: Words, if_match: str = "") -> Any:  # noqa: ANN401 - any JSON
        """Do something once, however often it has to be sent: the key makes a repeat harmless."""
        headers = {"Idempotency-Key": str(uuid.uuid4())}
        headers |= {"If-Match": if_match} if if_match else {}
        return json.loads(self._ask("POST", path, json.dumps(told).encode(), headers)[1])

    def _ask(
        self, method: str, path: str, body: bytes | None = None, more: dict[str, str] | None = None
    ) -> tuple[int, bytes]:
        request = urllib.request.Request(
            f"{self.address}/api/v1/{path}",
            data=body,
            method=method,
            headers={
                "Authorization": f"Bearer {self._token}",
                "Content-Type": "application/json",
                **(more or {}),
            },
        )
        for left in reversed(range(_TRIES)):
            try:
                with urllib.request.urlopen(request, timeout=self.timeout_s) as answer:
                    return answer.status, answer.read()
            except urllib.error.HTTPError as refused:
                data = refused.read()
                if refused.code not in _AGAIN_AT or not left:
                    raise Problem(refused.code, _words(data)) from refused
                wait = refused.headers.get("Retry-After", "")
            except (urllib.error.URLError, OSError):
                if not left:
                    raise
                wait = ""
            time.sleep(float(wait) if wait.isdigit() else 2.0 ** (_TRIES - 1 - left))
        raise AssertionError("unreachable")


def _words(data: bytes) -> Words:
    try:
        return dict(json.loads(data))
    except ValueError:
        return {"detail": data[:200].decode(errors="replace")}


def _readings(sieving: Sieving) -> list[Words]:
    fractions = [
        {"slot": "fraction", "position": position, "text": mass}
        for position, mass in enumerate(sieving.fractions_g, start=1)
    ]
    return [
        {"slot": "dry mass", "text": sieving.dry_mass_g},
        *fractions,
        {"slot": "pan", "text": sieving.pan_g},
    ]

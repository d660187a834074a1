"""Certificates issued by several processes that are killed: no number twice, none missing.

    python -m tests.load.numbers [--database postgres|sqlite] [--issues 200] [--kills 15]

Each of 8 processes (2 on SQLite) amends a certificate of its own, one amendment after the other,
until so many are issued: sign, draw the file, keep it. Meanwhile one is killed at even parts of the
way and another goes on in its place, from a signature whose file was still to be drawn, too. What
was said to be issued is written down outside the database. Afterwards every number of the series
was given once, each is issued with its file, what was said is there, and each sample has one
certificate that stands. Ends with 1 otherwise.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from labsite.bootstrap import system
from tests.load import served

if TYPE_CHECKING:
    from gradation.models import Certificate, User

_PROCESSES = {"postgres": 8, "sqlite": 2}


@dataclass
class Desk:
    """One line of amendments, and the process that works on it."""

    sample: int
    signatory: int
    told: Path
    issues: int
    started: int = 0
    process: subprocess.Popen[bytes] | None = field(default=None, repr=False)

    def said(self) -> list[str]:
        """List the numbers that were said to be issued, whole lines only."""
        text = self.told.read_text() if self.told.exists() else ""
        return [line.strip() for line in text.splitlines(keepends=True) if line.endswith("\n")]

    def work(self) -> None:
        """Let a process go on with what is missing."""
        asked = (str(self.sample), str(self.signatory), str(self.told), str(self.issues))
        command = [sys.executable, "-m", "tests.load.numbers", "--desk", *asked]
        self.started += 1
        self.process = subprocess.Popen(command, cwd=served.ROOT, start_new_session=True)

    def is_at_work(self) -> bool:
        """Say whether its process lives."""
        return self.process is not None and self.process.poll() is None

    def kill(self) -> None:
        """Let the process die with the one that draws its files, without a chance to say more."""
        assert self.process is not None
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()


def amend_until_done(sample: int, signatory: int, told: Path, issues: int) -> None:
    """In a process of its own: amend and issue, and write each number down once it is issued."""
    import django

    django.setup()
    from gradation.errors import Unavailable
    from gradation.models import User

    actor = User.objects.get(pk=signatory)
    with told.open("a+") as list_of_numbers:
        list_of_numbers.seek(0)
        missing = issues - len(list_of_numbers.readlines())
        while missing > 0:
            try:
                issued = issue_next(actor, sample)
            except Unavailable:  # the machine was too busy to draw it in time; as a person would
                continue
            missing -= 1
            list_of_numbers.write(f"{issued.number}\n")
            list_of_numbers.flush()
            os.fsync(list_of_numbers.fileno())


def issue_next(actor: User, sample: int) -> Certificate:
    """Go on with the newest certificate of the sample: amend it, sign the draft, keep its file."""
    from gradation.models import Certificate, CertificateSignature
    from gradation.services import certify

    newest = Certificate.objects.filter(sample=sample).order_by("id").last()
    assert newest is not None
    if newest.state != Certificate.State.DRAFT:
        drafting = certify.Drafting(runs=list(newest.runs.all()), remarks=f"After {newest.number}.")
        newest = certify.amend_certificate(
            actor=actor, certificate=newest, drafting=drafting, reason="Tried under kills."
        )
    if not CertificateSignature.objects.filter(certificate=newest).exists():
        newest = certify.sign_draft(actor=actor, certificate=newest)
    return certify.finish_certificate(actor=actor, certificate=newest)


def prepare(home: Path, count: int, issues: int) -> list[Desk]:
    """Make a sample with a first certificate for each process."""
    from django.contrib.auth.models import Group

    from gradation.policy import Role
    from tests import factories

    factories.make_laboratory()
    for role in Role:
        Group.objects.get_or_create(name=role.value)
    signatory = factories.signatory()
    made = [factories.make_certificate(actor=signatory) for _ in range(count)]
    return [
        Desk(each.sample_id, signatory.pk, home / f"desk-{n}.txt", issues)
        for n, each in enumerate(made)
    ]


def work_under_kills(desks: list[Desk], kills: int, chance: random.Random) -> int:
    """Let all desks work, kill one each time another part of the issues is done; give the kills."""
    for desk in desks:
        desk.work()
    killed, step = 0, sum(desk.issues for desk in desks) / (kills + 1)
    while any(desk.is_at_work() for desk in desks):
        time.sleep(0.05)
        done = sum(len(desk.said()) for desk in desks)
        at_work = [desk for desk in desks if desk.is_at_work()]
        if killed < kills and done >= (killed + 1) * step and at_work:
            desk = chance.choice(at_work)
            time.sleep(chance.random())  # in whatever it is doing then
            desk.kill()
            killed += 1
            desk.work()
    return killed


def faults(desks: list[Desk]) -> Iterator[str]:
    """Hold what the database holds against the series and against what was said."""
    from gradation.models import Certificate, CertificateSignature

    signed = sorted(CertificateSignature.objects.values_list("number", flat=True))
    given = [int(number.rpartition("-")[2]) for number in signed]
    if given != list(range(1, len(given) + 1)):
        yield f"numbers given: {given[:5]} … {given[-5:]}, {len(given)} in all"
    if len(signed) < sum(desk.issues for desk in desks) + len(desks):
        yield f"only {len(signed)} numbers were given"
    issued = dict(Certificate.objects.exclude(number="").values_list("number", "sample"))
    for number in set(signed) - issued.keys():
        yield f"{number} was signed and has no certificate"
    for desk in desks:
        said = desk.said()
        if len(set(said)) != len(said):
            yield f"desk {desk.told.name} was told a number twice"
        yield from (
            f"{each} was said and is gone" for each in said if issued.get(each) != desk.sample
        )
        standing = Certificate.objects.filter(sample=desk.sample, state=Certificate.State.ISSUED)
        if standing.count() != 1:
            yield f"{standing.count()} certificates stand for one sample"
    for kept in Certificate.objects.exclude(number="").iterator(chunk_size=50):
        if hashlib.sha256(bytes(kept.pdf or b"")).hexdigest() != kept.pdf_sha256:
            yield f"the file of {kept.number} is not the one that was issued"


def run(kind: str, issues: int, kills: int, processes: int) -> list[str]:
    """Do the whole of it; give the faults; what happened is printed."""
    with (
        tempfile.TemporaryDirectory(prefix="gradation-numbers-") as home,
        served.database(kind, Path(home)) as url,
    ):
        served.set_up(served.variables(url, served.free_port(), 1))
        from django.db import connections

        desks = prepare(Path(home), processes, issues)
        connections.close_all()
        began = time.monotonic()
        killed = work_under_kills(desks, kills, random.Random(2026))
        seconds = time.monotonic() - began
        found = list(faults(desks))
        connections.close_all()
    if killed < kills:
        found.append(f"only {killed} of {kills} processes were killed")
    print(
        f"{kind}: {processes} x {issues} certificates issued, {killed} processes killed in "
        f"{seconds:.0f} s\nfaults: {len(found)}"
    )
    return found


def main() -> None:
    """Print what happened; end with 1 when a number is missing, doubled or lost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--database", choices=tuple(_PROCESSES), default="postgres")
    parser.add_argument("--issues", type=int, default=200)
    parser.add_argument("--kills", type=int, default=15)
    parser.add_argument("--processes", type=int, default=0)
    parser.add_argument("--desk", nargs=4, default=None)
    asked = parser.parse_args()
    if asked.desk:
        sample, signatory, told, issues = asked.desk
        amend_until_done(int(sample), int(signatory), Path(told), int(issues))
        return
    system.provide_libraries()
    processes = asked.processes or _PROCESSES[asked.database]
    found = run(asked.database, asked.issues, asked.kills, processes)
    print("\n".join(found[:20]))
    sys.exit(bool(found))


if __name__ == "__main__":
    main()

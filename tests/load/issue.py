"""How fast certificates are issued, beside bare WeasyPrint and signing in the same run.

`python -m tests.load.issue [--rounds 20]` on an idle machine prints both ratios: one process, p95
of issue (sign and number, draw, sign the file, store) against drawing the same HTML and signing it;
and two processes, certificates a minute against documents a minute. On a throw-away PostgreSQL,
because one process writes SQLite.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import quantiles

SLOWEST, LEAST_SHARE = 1.5, 0.85
ROOT = Path(__file__).resolve().parents[2]


def _drafts(count):
    from django.contrib.auth.models import Group

    from gradation.policy import Role
    from gradation.services import certify
    from tests import factories

    for role in Role:
        Group.objects.get_or_create(name=role.value)
    signatory = factories.signatory()
    drafts = []
    for _ in range(count):
        run = factories.make_accepted_run()
        drafting = certify.Drafting(runs=[run])
        sample = run.portion.sample
        drafts.append(certify.draft_certificate(actor=signatory, sample=sample, drafting=drafting))
    return signatory, drafts


def _bare(contents, key):
    """Draw and sign each content with nothing around it; return the seconds of each."""
    from gradation.documents.certificate import certificate_csv, certificate_html, page_css_of
    from gradation.documents.pdf_signature import signed_pdf
    from gradation.documents.printing.press import Press
    from gradation.documents.printing.terms import EmbeddedFile, Order

    press = Press()
    press.print(Order('<html lang="en"><p>warm</p>'))
    took = []
    for content in contents:
        files = [
            EmbeddedFile("certificate.json", content.to_json(), "d"),
            EmbeddedFile("certificate.csv", certificate_csv(content), "d"),
        ]
        order = Order(certificate_html(content), page_css_of(content), files)
        began = time.perf_counter()
        signed_pdf(press.print(order), key, reason="bare")
        took.append(time.perf_counter() - began)
    return took


def _worker(task, rounds, start):
    """In a process of its own: issue, or draw bare, and print when each was done."""
    import django

    django.setup()
    from gradation.documents.certificate_content import CertificateContent
    from gradation.models import Certificate, User
    from gradation.services import certify, signing_keys

    key = signing_keys.laboratory_key()
    mine = Certificate.objects.filter(remarks=task).order_by("id")
    signatory = User.objects.get(pk=int(os.environ["SIGNATORY"]))
    if task.startswith("issue"):
        warm, *drafts = mine
        _issue(certify, signatory, warm)
        _wait(start)
        began = time.perf_counter()
        took = [_issue(certify, signatory, draft) for draft in drafts]
    else:
        first = Certificate.objects.exclude(state="draft").first()
        content = CertificateContent.from_json(json.dumps(first.content))
        _bare([content], key)
        _wait(start)
        began = time.perf_counter()
        took = _bare([content] * rounds, key)
    print(json.dumps({"whole": time.perf_counter() - began, "each": took}))


def _issue(certify, signatory, draft):
    began = time.perf_counter()
    certify.finish_certificate(
        actor=signatory, certificate=certify.sign_draft(actor=signatory, certificate=draft)
    )
    return time.perf_counter() - began


def _wait(start):
    """Say ready, and begin when the file of the start is there."""
    Path(f"{start}.{os.getpid()}").touch()
    while not Path(start).exists():
        time.sleep(0.01)


def _run_workers(tasks, rounds, environment, folder):
    start = folder / f"start-{tasks[0]}"
    workers = [
        subprocess.Popen(
            [
                *(sys.executable, "-m", "tests.load.issue", "--worker", task),
                *("--rounds", str(rounds), "--start", str(start)),
            ],
            cwd=ROOT,
            env=environment,
            stdout=subprocess.PIPE,
        )
        for task in tasks
    ]
    while len(list(folder.glob(f"{start.name}.*"))) < len(workers):
        if any(worker.poll() is not None for worker in workers):
            sys.exit("A worker ended before its start.")
        time.sleep(0.05)
    start.touch()
    return [json.loads(worker.communicate()[0]) for worker in workers]


def _p95(seconds):
    return quantiles(seconds, n=20)[-1]


def _measure(url, rounds, folder):
    environment = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "labsite.settings.test",
        "TEST_DATABASE_URL": url,
        "GRADATION_TEST_SIGNING_KEY": str(folder / "key.pem"),
    }
    os.environ.update(environment)
    import django

    django.setup()
    from django.core.management import call_command

    from gradation.models import Certificate
    from gradation.services import signing_keys
    from tests import factories

    call_command("migrate", verbosity=0)
    signing_keys.make_key_once(folder / "key.pem", factories.make_laboratory())
    signatory, drafts = _drafts(3 * (rounds + 1))
    tasks = ["issue-alone", "issue-one", "issue-two"]
    for number, draft in enumerate(drafts):
        Certificate.objects.filter(pk=draft.pk).update(remarks=tasks[number // (rounds + 1)])
    environment["SIGNATORY"] = str(signatory.pk)
    (alone,) = _run_workers(["issue-alone"], rounds, environment, folder)
    (bare,) = _run_workers(["bare-alone"], rounds, environment, folder)
    both = _run_workers(["issue-one", "issue-two"], rounds, environment, folder)
    bare_both = _run_workers(["bare-one", "bare-two"], rounds, environment, folder)
    return alone, bare, both, bare_both


def _a_minute(workers, rounds):
    return sum(60 * rounds / worker["whole"] for worker in workers)


def _main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--worker", default="")
    parser.add_argument("--start", default="")
    asked = parser.parse_args()
    if asked.worker:
        _worker(asked.worker, asked.rounds, asked.start)
        return
    from labsite.bootstrap import postgres

    with tempfile.TemporaryDirectory() as folder, postgres.throwaway_cluster() as cluster:
        alone, bare, both, bare_both = _measure(cluster.url, asked.rounds, Path(folder))
    slower = _p95(alone["each"]) / _p95(bare["each"])
    share = _a_minute(both, asked.rounds) / _a_minute(bare_both, asked.rounds)
    print(f"issue p95 {_p95(alone['each']):.2f} s, bare p95 {_p95(bare['each']):.2f} s")
    print(f"issue takes {slower:.2f} times bare drawing and signing (at most {SLOWEST})")
    print(f"two processes: {_a_minute(both, asked.rounds):.0f} certificates a minute,")
    print(f"bare {_a_minute(bare_both, asked.rounds):.0f}: {share:.2f} (at least {LEAST_SHARE})")
    sys.exit(0 if slower <= SLOWEST and share >= LEAST_SHARE else 1)


if __name__ == "__main__":
    _main()

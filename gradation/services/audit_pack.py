"""The audit pack of a certificate: everything behind it in one archive that proves itself."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import dataclass
from hashlib import sha256
from importlib.resources import files

from django.db import transaction

from gradation.errors import Conflict
from gradation.models import Certificate, LedgerEntry, Scan, User
from gradation.policy import Action, require
from gradation.queries.audit_pack import (
    chains_behind,
    entry_data,
    proofs_of,
    record_of,
    scans_behind,
)
from gradation.queries.seals import anchor_of
from gradation.services import ledger, seals
from gradation.services.kept_files import ENDINGS

__all__ = ["AuditPack", "pack_certificate"]

_PROVERS = ("__init__.py", "entries.py", "tree.py", "pack.py")
_VERIFY = '''"""Proves this pack: python verify.py"""

import sys

from gradation.proofs.pack import main

sys.exit(main())
'''
_READ_ME = """Audit pack of certificate {number}

certificate.pdf   the document as it was issued
certificate.json  its content as it was frozen
record.json       the rows behind it: sample, portions, runs, readings, results, equipment, checks
ledger.jsonl      the ledger of the sample and of each item used, one entry a line
seal.json         the seal over them, and the path from each chain to its root
scans/            the paper that runs were typed from, named by the key of each row under scans
schema.json       what the fields of these files mean
files.json        the SHA-256 of every file

python verify.py proves all of it with nothing but Python 3.11 or later. With --root and the root
of the seal as it was kept outside the laboratory, it also proves that nothing was rewritten since.
"""


@dataclass(frozen=True)
class AuditPack:
    """The archive with its name."""

    name: str
    content: bytes


def pack_certificate(*, actor: User, certificate: Certificate) -> AuditPack:
    """Pack everything behind an issued certificate.

    Auditors and quality managers may. The records are sealed first, so that the pack's own entry
    is under its seal. Refuses (`Conflict`) a draft. Ledger: audit pack made; records sealed.
    """
    require(actor, Action.EXPORT_RECORDS)
    if certificate.state == Certificate.State.DRAFT:
        msg = "A draft has no audit pack yet. Issue the certificate first."
        raise Conflict(msg)
    with transaction.atomic():
        after = {"certificate": certificate.number, "pdf_sha256": certificate.pdf_sha256}
        ledger.write(actor=actor, action="audit pack made", subject=certificate, after=after)
        about = f"audit pack of {certificate.number}"
        seal = seals.seal_now(actor=actor, occasion=seals.Occasion.ASKED, about=about)
        chains = _whole(chains_behind(certificate))
        parts = {
            "certificate.pdf": bytes(certificate.pdf or b""),
            "certificate.json": _json(certificate.content),
            "record.json": _json(record_of(certificate)),
            "ledger.jsonl": "".join(
                json.dumps(entry, ensure_ascii=False) + "\n" for entry in entry_data(chains)
            ).encode(),
            "seal.json": _json(
                {"seal": json.loads(anchor_of(seal).to_json()), "proofs": proofs_of(chains, seal)}
            ),
            "schema.json": (files("gradation.services") / "audit_pack.schema.json").read_bytes(),
            **{_scan_name(scan): bytes(scan.file) for scan in scans_behind(certificate)},
            "README.txt": _READ_ME.format(number=certificate.number).encode(),
        }
    return AuditPack(f"audit-pack-{certificate.number}.zip", _zipped(parts))


def _scan_name(scan: Scan) -> str:
    """Name a scan by its key and kind: its own name is what somebody typed."""
    return f"scans/{scan.pk}{ENDINGS[scan.media_type][0]}"


def _whole(chains: list[str]) -> list[str]:
    """Leave out chains that nobody wrote to, such as those of items registered elsewhere."""
    there = set(LedgerEntry.objects.filter(chain__in=chains).values_list("chain", flat=True))
    return [chain for chain in chains if chain in there]


def _json(value: object) -> bytes:
    return (json.dumps(value, ensure_ascii=False, indent=1) + "\n").encode()


def _zipped(parts: dict[str, bytes]) -> bytes:
    provers = files("gradation.proofs")
    parts = {
        **parts,
        "verify.py": _VERIFY.encode(),
        "gradation/__init__.py": b"",
        **{f"gradation/proofs/{name}": (provers / name).read_bytes() for name in _PROVERS},
    }
    digests = {name: sha256(content).hexdigest() for name, content in parts.items()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in {**parts, "files.json": _json(digests)}.items():
            archive.writestr(name, content)
    return out.getvalue()

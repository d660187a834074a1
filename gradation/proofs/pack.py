"""Proves an audit pack, wherever it is: `python verify.py` in its folder, with any Python 3.11.

What is proven: every file has the digest that the list of files names; every chain of the ledger
is whole, from its first entry to the last; the last one is under the seal; the certificate and its
content are those that were issued; each result stands on the readings that the ledger names.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from decimal import Decimal
from hashlib import sha256
from pathlib import Path
from typing import Any

from gradation.proofs.entries import Entry, canonical_json, digest_of
from gradation.proofs.tree import holds_leaf, sealed_head_hash

__all__ = ["FIELDS", "faults_of", "main"]

#: The fields of an entry in ledger.jsonl, beside its own digest.
FIELDS = Entry._fields


def faults_of(folder: Path, root: str = "") -> Iterator[str]:
    """Name everything in an unpacked audit pack that does not hold; `root` is a seal kept apart."""
    files = list(_files(folder))
    yield from files
    if any(fault.endswith("is missing") for fault in files):
        return
    chains = _chains(folder)
    for chain, entries in chains.items():
        yield from _links(chain, entries)
    yield from _proofs(folder, chains, root)
    yield from _certificate(folder, chains)
    yield from _readings(folder, chains)
    yield from _results(folder, chains)


def _read(folder: Path, name: str) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((folder / name).read_text(encoding="utf-8"))
    return data


def _files(folder: Path) -> Iterator[str]:
    for name, digest in _read(folder, "files.json").items():
        file = folder / name
        if not file.is_file():
            yield f"{name} is missing"
        elif sha256(file.read_bytes()).hexdigest() != digest:
            yield f"{name} is not the file that was packed"


def _chains(folder: Path) -> dict[str, list[dict[str, Any]]]:
    chains: dict[str, list[dict[str, Any]]] = {}
    for line in (folder / "ledger.jsonl").read_text(encoding="utf-8").splitlines():
        entry = json.loads(line)
        chains.setdefault(entry["chain"], []).append(entry)
    return chains


def _links(chain: str, entries: list[dict[str, Any]]) -> Iterator[str]:
    previous = ""
    for number, entry in enumerate(entries, start=1):
        where = f"chain {chain}, entry {number}"
        if entry["sequence"] != number or entry["previous_digest"] != previous:
            yield f"{where}: it does not follow the entry before it"
            return
        if _digest(entry) != entry["digest"]:
            yield f"{where}: its content does not give its digest"
            return
        previous = entry["digest"]


def _digest(entry: dict[str, Any]) -> str:
    states = {name: canonical_json(entry[name]) for name in ("before", "after")}
    return digest_of(Entry(**{**{name: entry[name] for name in FIELDS}, **states}))


def _proofs(folder: Path, chains: dict[str, list[dict[str, Any]]], root: str) -> Iterator[str]:
    proven = {proof["chain"]: proof for proof in _read(folder, "seal.json")["proofs"]}
    for chain, entries in chains.items():
        proof, last = proven.get(chain), entries[-1]
        if proof is None:
            yield f"chain {chain} is under no seal"
        elif (proof["sequence"], proof["digest"]) != (last["sequence"], last["digest"]):
            yield f"chain {chain}: its last entry is not the sealed one"
        elif not _is_held(proof):
            yield f"chain {chain}: the path does not lead to the root of the seal"
        elif root and proof["root"] != root:
            yield f"chain {chain}: the seal is not the one kept outside"


def _is_held(proof: dict[str, Any]) -> bool:
    leaf = sealed_head_hash(proof["chain"], proof["sequence"], proof["digest"])
    path = [bytes.fromhex(each) for each in proof["path"]]
    return holds_leaf(leaf, proof["place"], proof["size"], path, bytes.fromhex(proof["root"]))


def _certificate(folder: Path, chains: dict[str, list[dict[str, Any]]]) -> Iterator[str]:
    record = _read(folder, "record.json")
    named = record["certificate"]
    issued = [
        entry["after"]
        for entry in chains.get(f"sample/{record['sample']['number']}", [])
        if entry["action"] == "certificate issued" and entry["subject_id"] == named["id"]
    ]
    if not issued:
        yield "no entry says that the certificate was issued"
        return
    pdf = sha256((folder / "certificate.pdf").read_bytes()).hexdigest()
    if pdf != issued[-1]["pdf_sha256"]:
        yield "certificate.pdf is not the file that was issued"
    content = sha256(canonical_json(_read(folder, "certificate.json")).encode()).hexdigest()
    if content != issued[-1].get("content_sha256", content):
        yield "certificate.json is not the content that was issued"


def _readings(folder: Path, chains: dict[str, list[dict[str, Any]]]) -> Iterator[str]:
    """Hold each reading against its entry; a correction's entry names only what it changed."""
    told = {
        entry["subject_id"]: (entry["after"] or {}).get("mass_g")
        for entries in chains.values()
        for entry in entries
        if entry["subject_type"] == "weighing"
    }
    for reading in _read(folder, "record.json")["readings"]:
        mass = told.get(reading["id"])
        if mass is not None and Decimal(mass) != Decimal(reading["mass_g"]):
            yield f"reading {reading['id']}: {reading['mass_g']} g, recorded as {mass} g"


def _results(folder: Path, chains: dict[str, list[dict[str, Any]]]) -> Iterator[str]:
    told = {
        entry["after"]["inputs_digest"]
        for entries in chains.values()
        for entry in entries
        if "inputs_digest" in (entry["after"] or {})
    }
    for result in _read(folder, "record.json")["results"]:
        digest = sha256(canonical_json(result["inputs"]).encode()).hexdigest()
        if digest != result["inputs_digest"] or (told and digest not in told):
            yield f"result {result['version']} of run {result['run_id']}: not what was recorded"


def main(arguments: list[str] | None = None) -> int:
    """Prove the pack in the folder of this script; give 0 when everything holds."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=Path())
    parser.add_argument("--root", default="", help="root of the seal, as it was kept outside")
    asked = parser.parse_args(arguments)
    faults = list(faults_of(asked.folder, asked.root))
    sys.stdout.write("".join(f"{fault}\n" for fault in faults or ["Everything holds."]))
    return 1 if faults else 0
